"""A Python client that openapi-python-client generates from the served description: strictly typed and complete."""

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.clients.serving import Workshop
from tests.house.tour import GUIDE, write_files

PROGRAM = Path(__file__).with_name("programs") / "workshop.py"
MADE_BY = Path(sys.executable).parent / "openapi-python-client"
CONFIG = """\
package_name_override: legwork_client
post_hooks: []
content_type_overrides:
  application/zip: application/octet-stream
  application/vnd.sqlite3: application/octet-stream
  application/vnd.openxmlformats-officedocument.spreadsheetml.sheet: application/octet-stream
  text/csv: application/octet-stream
  text/plain: application/octet-stream
  text/tab-separated-values: application/octet-stream
"""


@pytest.fixture(scope="module")
def folder(running: Workshop, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder with the client and the program that uses it."""
    folder = tmp_path_factory.mktemp("python")
    (folder / "config.yaml").write_text(CONFIG)
    wanted = ["--meta", "none", "--output-path", "legwork_client", "--config", "config.yaml", "--fail-on-warning"]
    ran([str(MADE_BY), "generate", "--url", f"{running.address}/openapi.json", *wanted], folder)
    (folder / "workshop.py").write_bytes(PROGRAM.read_bytes())
    return folder


def ran(command: list[str], folder: Path) -> str:
    """The output of a command; a command that fails shows its error."""
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=200)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    return done.stdout


def test_it_and_a_program_on_it_are_strictly_typed(folder: Path) -> None:
    said = ran([sys.executable, "-m", "mypy", "--strict", "--config-file=", "legwork_client", "workshop.py"], folder)
    assert "no issues found" in said
    assert sum(1 for _ in folder.rglob("*.py")) > 300
    assert [word for word in ("cast(", "# type:") if word in PROGRAM.read_text()] == []


def test_a_wrong_use_is_found_before_it_runs(folder: Path) -> None:
    wrong = PROGRAM.read_text().replace("setup.start_pressure.text", "setup.start_pressure.psi")
    (folder / "wrong.py").write_text(wrong)
    command = [sys.executable, "-m", "mypy", "--strict", "--config-file=", "wrong.py"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=200)
    assert '"Quantity" has no attribute "psi"' in done.stdout


def test_it_learns_what_a_plain_request_does(folder: Path, running: Workshop, plainly: dict[str, Any]) -> None:
    torque = "torque-raddle-37-axle"
    said = ran([sys.executable, "workshop.py", running.address, running.key, torque], folder)
    learnt = json.loads(said)
    edit = learnt.pop("edit")
    assert learnt == plainly
    assert edit["blind"][0] == 428
    assert edit["taken"][0] == 200
    status, tag = edit["stale"]
    assert status == 412
    assert re.fullmatch(rf'"r{edit["taken"][1]}-[0-9a-f]{{16}}\.present"', tag)


def test_the_ten_lines_of_the_readme_are_typed_and_run(folder: Path, running: Workshop) -> None:
    write_files(GUIDE.read_text(), folder, running.address)
    ran([sys.executable, "-m", "mypy", "--strict", "--config-file=", "ask.py"], folder)
    assert len((folder / "ask.py").read_text().strip().splitlines()) <= 10
    assert "Raddle shaft 160 160 mm" in ran([sys.executable, "ask.py"], folder).splitlines()
