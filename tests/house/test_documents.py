"""The Markdown files: every file they name exists, they are short enough, and the commands for developers run.

A name in backticks counts as a file of this repository if it ends in a known way and has no placeholder. A name without
a folder counts if a file of that name is anywhere.
"""

import re
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOOLS = Path(sys.executable).parent
NAMED = re.compile(
    r"`([\w./-]+\.(?:py|md|json|csv|toml|lock|conf|html|css|js|gz)|(?:app|tests|migrations|seed_data)/[\w/]*)`"
)
LINKED = re.compile(r"\]\((?!https?:|#|/)([^)#]+)\)")
MADE_AT_RUN_TIME = {"manifest.json"}
"""Files of a backup, which the repository does not hold."""


@cache
def files() -> frozenset[str]:
    """The files of the repository: tracked, or new and not ignored."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return frozenset(listed.stdout.splitlines())


def pages() -> list[str]:
    return sorted(name for name in files() if name.endswith(".md") and (ROOT / name).exists())


def missing(page: str, text: str) -> list[str]:
    """The files that a page names and the repository lacks."""
    folder = (ROOT / page).parent
    named = {name for name in NAMED.findall(text) if name not in MADE_AT_RUN_TIME and not name.startswith("/")}
    lost = [
        name
        for name in named
        if not (ROOT / name).exists() and not (folder / name).exists() and not _is_somewhere(name)
    ]
    return sorted([*lost, *(name for name in LINKED.findall(text) if not (folder / name).exists())])


def _is_somewhere(name: str) -> bool:
    """Whether a file of that name, given without a folder, is anywhere."""
    return "/" not in name and any(each.rpartition("/")[2] == name for each in files())


@pytest.mark.parametrize("page", pages())
def test_every_file_that_a_page_names_exists(page: str) -> None:
    assert missing(page, (ROOT / page).read_text()) == []


def test_a_file_that_does_not_exist_is_seen() -> None:
    text = "`app/nowhere.py` `nowhere.py` `app/main.py` `main.py` [a](app/lost.md) [b](README.md) `app/lost/`"
    assert missing("README.md", text) == ["app/lost.md", "app/lost/", "app/nowhere.py", "nowhere.py"]


@pytest.mark.parametrize(("page", "most"), [("README.md", 150), ("DEVELOPERS.md", 250)])
def test_the_pages_stay_short(page: str, most: int) -> None:
    assert len((ROOT / page).read_text().splitlines()) <= most


COMMANDS = {
    ".venv/bin/ruff check . && .venv/bin/ruff format . && .venv/bin/mypy && .venv/bin/lint-imports": ["ruff format ."],
    ".venv/bin/python -m app.exchange.descriptor": ["python -m app.exchange.descriptor"],
    ".venv/bin/python -m app.units.factors": ["python -m app.units.factors"],
    '.venv/bin/python -m app.database.new_migration catalogue "the reason"': [],
    ".venv/bin/python -m tests.api.document": ["python -m tests.api.document"],
}
"""Commands of DEVELOPERS.md, with what of each runs here; style and types have tests of their own, and the command that
writes a migration has one in tests/catalogue."""


@pytest.mark.parametrize("command", COMMANDS)
def test_the_commands_for_developers_leave_a_clean_clone_clean(command: str, tmp_path: Path) -> None:
    assert command in (ROOT / "DEVELOPERS.md").read_text()
    for each in COMMANDS[command]:
        _copy(tmp_path)
        words = each.split()
        done = subprocess.run(
            [str(TOOLS / words[0]), *words[1:]], cwd=tmp_path, capture_output=True, text=True, timeout=240,
            env={"PATH": str(TOOLS), "PYTHONPATH": str(tmp_path), "HOME": str(tmp_path)},
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        changed = [name for name in files() if (ROOT / name).exists() and _differs(name, tmp_path)]
        assert changed == []


def _copy(folder: Path) -> None:
    for name in files():
        if (ROOT / name).exists():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(ROOT / name, folder / name)


def _differs(name: str, folder: Path) -> bool:
    return (folder / name).read_bytes() != (ROOT / name).read_bytes()
