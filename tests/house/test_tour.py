"""Every command in the documents prints what they show."""

import shutil
from pathlib import Path

import pytest

from tests.house.tour import BLOCK, DOCUMENTS, GUIDE, demo_server, run, steps, write_files


@pytest.mark.skipif(shutil.which("curl") is None, reason="the documents use curl")
@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(path.parents[1])))
def test_every_command_prints_what_is_shown(document: Path, tmp_path: Path) -> None:
    commands = [step for block in BLOCK.findall(document.read_text()) for step in steps(block)]
    assert commands
    with demo_server() as port:
        write_files(document.read_text(), tmp_path, f"http://localhost:{port}")
        for command, output in commands:
            assert run(command, tmp_path, port) == output, command


def test_the_guide_asks_ten_questions() -> None:
    commands = [command for block in BLOCK.findall(GUIDE.read_text()) for command, _ in steps(block)]
    assert sum("curl" in command for command in commands) >= 10
