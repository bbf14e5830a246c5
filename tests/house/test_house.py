"""The house itself: layers, types, style, documented settings, and the commands that README promises."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from app.settings import Settings

ROOT = Path(__file__).parents[2]
TOOLS = Path(sys.executable).parent


def run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=280)


def test_imports_go_one_way() -> None:
    done = run(str(TOOLS / "lint-imports"), "--no-cache")
    assert done.returncode == 0, done.stdout


def test_types_hold_strictly() -> None:
    done = run(str(TOOLS / "mypy"))
    assert done.returncode == 0, done.stdout


def test_style_holds() -> None:
    done = run(str(TOOLS / "ruff"), "check", ".")
    assert done.returncode == 0, done.stdout


def test_every_setting_is_documented() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text()
    missing = [name for name in Settings.model_fields if f"`LEGWORK_{name.upper()}`" not in text]
    assert missing == []


@pytest.mark.parametrize("heading", ["Run", "Test"])
def test_readme_opens_each_command_with_one_line(heading: str) -> None:
    section = re.search(rf"^## {heading}\s*\n.*?```\w*\n(.*?)```", (ROOT / "README.md").read_text(), re.S | re.M)
    assert section is not None
    assert len(section[1].strip().splitlines()) == 1


def test_ci_runs_the_test_command_of_the_readme() -> None:
    section = re.search(r"^## Test\s*\n.*?```\w*\n(.*?)```", (ROOT / "README.md").read_text(), re.S | re.M)
    assert section is not None
    assert section[1].strip() in (ROOT / ".ci" / "run").read_text() or "README.md" in (ROOT / ".ci" / "run").read_text()


def test_the_dockerfile_takes_the_steps_of_the_readme() -> None:
    text = (ROOT / "Dockerfile").read_text()
    assert "uv sync" in text
    assert "--frozen" in text
    assert "USER " in text


def test_files_stay_readable() -> None:
    long = {}
    for path in (ROOT / "app").rglob("*.py"):
        lines = len(path.read_text().splitlines())
        if lines > 400:
            long[str(path.relative_to(ROOT))] = lines
    assert long == {}
