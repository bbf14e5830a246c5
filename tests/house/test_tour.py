"""What README shows is what happens."""

import shutil
from pathlib import Path

import pytest

from tests.house.tour import BLOCK, README, demo_server, run, steps, write_files


@pytest.mark.skipif(shutil.which("curl") is None, reason="README's tour uses curl")
def test_every_command_of_the_readme_prints_what_stands_there(tmp_path: Path) -> None:
    blocks = [steps(block) for block in BLOCK.findall(README.read_text())]
    commands = [step for block in blocks for step in block]
    assert sum("curl" in command for command, _ in commands) >= 10
    with demo_server() as port:
        write_files(README.read_text(), tmp_path, f"http://localhost:{port}")
        for command, output in commands:
            assert run(command, tmp_path, port) == output, command
