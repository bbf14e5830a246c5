"""The house rules: layers, types, style, documented settings, and the commands that README promises."""

import json
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
    """`legwork settings` is the list; the pages name each of them, and no setting that does not exist."""
    done = run(str(TOOLS / "legwork"), "settings", "--json")
    listed = {each["name"]: each for each in json.loads(done.stdout)["settings"]}
    assert listed.keys() == {f"LEGWORK_{name.upper()}" for name in Settings.model_fields}
    assert [name for name, each in listed.items() if len(each["meaning"]) < 20] == []
    for page in ("README.md", "DEVELOPERS.md", "app/operating/README.md", "app/access/README.md"):
        named = set(re.findall(r"\bLEGWORK_(?!TEST_|SERVICE_)[A-Z_]+[A-Z]\b", (ROOT / page).read_text()))
        assert named <= listed.keys(), page
    assert "legwork settings" in (ROOT / "app/operating/README.md").read_text()


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
