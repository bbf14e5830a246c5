"""Commands with unusable input: missing files, garbage, folders, unreadable files, ports in use, no space.

Each ends with a plain line and an exit code, never with a traceback."""

import os
import shutil
import socket
import stat
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
import typer.main

from app.cli import cli
from app.database.connections import Database
from tests.conftest import SEED_DATA
from tests.operate.conftest import Called
from tests.operate.test_full_disk import fill, small

__all__ = ["small"]
LISTENING = 3


def missing(folder: Path) -> Path:
    return folder / "missing"


def empty(folder: Path) -> Path:
    (folder / "empty").touch()
    return folder / "empty"


def garbage(folder: Path) -> Path:
    (folder / "garbage.zip").write_bytes(bytes(range(256)) * 40)
    return folder / "garbage.zip"


def empty_folder(folder: Path) -> Path:
    (folder / "nothing").mkdir()
    return folder / "nothing"


def below_a_file(folder: Path) -> Path:
    return empty(folder) / "below"


def loop(folder: Path) -> Path:
    (folder / "loop").symlink_to(folder / "loop")
    return folder / "loop"


def unreadable(folder: Path) -> Path:
    """Reading it fails for everybody, even for root, who may read files that nobody else may."""
    return Path("/proc/self/mem")


def too_long(folder: Path) -> Path:
    return folder / ("x" * 300)


def torn_zip(folder: Path) -> Path:
    whole = folder / "whole.zip"
    with zipfile.ZipFile(whole, "w") as archive:
        for path in SEED_DATA.iterdir():
            archive.write(path, path.name)
    (folder / "torn.zip").write_bytes(whole.read_bytes()[:-500])
    return folder / "torn.zip"


def garbage_in_a_package(folder: Path) -> Path:
    package = folder / "package"
    shutil.copytree(SEED_DATA, package)
    (package / "datapackage.json").write_bytes(b"\xff{")
    return package


PLACES: list[Callable[[Path], Path]] = [
    missing, empty, garbage, empty_folder, below_a_file, loop, unreadable, too_long, torn_zip,
    garbage_in_a_package,
]  # fmt: skip

COMMANDS: dict[str, list[str]] = {
    "load": ["load", "PLACE"],
    "check": ["check", "PLACE"],
    "restore": ["restore", "PLACE"],
    "export": ["export", "PLACE"],
    "export.sqlite": ["export", "PLACE.sqlite"],
    "template": ["template", "PLACE"],
    "template.xlsx": ["template", "PLACE.xlsx"],
    "read": ["read", "PLACE"],
    "backup": ["backup", "PLACE"],
}
"""Commands that take a path. The others take a database by path, below."""
TAKES = {"missing", "empty_folder"}
"""Targets for a command that writes: nothing is there yet."""
WRITES = {"export", "export.sqlite", "template", "template.xlsx", "backup"}
ON_A_DATABASE: dict[str, list[str]] = {
    "load": ["load", str(SEED_DATA)],
    "check": ["check", str(SEED_DATA)],
    "read": ["read", str(SEED_DATA / "makers.csv")],
    "export": ["export", "OUT"],
    "content-hash": ["content-hash"],
    "orders": ["orders"],
    "migrate": ["migrate"],
    "ask": ["ask", "makers"],
    "mirror": ["mirror", "http://127.0.0.1:9", "--once"],
    "keys add": ["keys", "add", "bench", "--scope", "bench"],
    "keys list": ["keys", "list"],
    "keys revoke": ["keys", "revoke", "x"],
    "sessions list": ["sessions", "list"],
    "sessions end": ["sessions", "end", "x"],
    "audit": ["audit"],
    "backup": ["backup", "OUT"],
    "restore": ["restore", "OUT"],
    "doctor": ["doctor"],
    "serve": ["serve", "--port", "0"],
}
NO_FILE = {"settings", "template"}


def is_plain(code: int, out: str, err: str, most: int = 3) -> None:
    assert code in (0, 1, 2, LISTENING)
    assert "Traceback" not in out + err
    if code != 0:
        assert (out + err).strip(), "it failed without a word"
        assert len(err.splitlines()) <= most, err


def test_every_command_is_walked_here() -> None:
    names = typer.main.get_group(cli).commands.keys()
    assert names == {name.split()[0].split(".")[0] for name in {*COMMANDS, *ON_A_DATABASE}} | NO_FILE


@pytest.mark.parametrize("place", PLACES, ids=lambda each: each.__name__)
@pytest.mark.parametrize("command", COMMANDS)
def test_a_path_that_cannot_be_used_is_one_line(
    legwork: Called, fresh: tuple[Database, Database], tmp_path: Path, command: str, place: Callable[[Path], Path]
) -> None:
    catalogue, shop = fresh
    folder = tmp_path / "here"
    folder.mkdir()
    path = place(folder)
    arguments = [word.replace("PLACE", str(path)) for word in COMMANDS[command]]
    settings = {"database_url": str(catalogue.url), "shop_database_url": str(shop.url)}
    code, out, err = legwork(*arguments, **settings)
    is_plain(code, out, err)
    if command in WRITES and (place.__name__ in TAKES or "." in command):
        return
    assert code != 0, (out, err)


@pytest.mark.parametrize("place", [*PLACES[1:-1]], ids=lambda each: each.__name__)
@pytest.mark.parametrize("command", [each for each in ON_A_DATABASE if each != "serve"])
def test_a_database_that_cannot_be_used_is_one_line(
    legwork: Called, tmp_path: Path, command: str, place: Callable[[Path], Path]
) -> None:
    folder = tmp_path / "here"
    folder.mkdir()
    path = place(folder)
    arguments = [word.replace("OUT", str(tmp_path / "out")) for word in ON_A_DATABASE[command]]
    code, out, err = legwork(*arguments, database_url=f"sqlite:///{path}", shop_database_url=f"sqlite:///{path}")
    is_plain(code, out, err, most=20 if command == "ask" else 3)  # the text of a refusal, as over HTTP
    is_none_yet = command in ("check", "read") and place in (below_a_file, loop)  # checked against an empty catalogue
    assert code != 0 or place is empty or is_none_yet, (out, err)


def run(*arguments: str, stdout: int | None = None, **variables: str) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if not name.startswith("LEGWORK_")}
    return subprocess.run(
        [sys.executable, "-m", "app", *arguments], env={**environment, **variables}, timeout=120, text=True,
        stdout=subprocess.PIPE if stdout is None else stdout, stderr=subprocess.PIPE,
    )  # fmt: skip


def beside(folder: Path) -> dict[str, str]:
    return {
        "LEGWORK_DATABASE_URL": f"sqlite:///{folder}/legwork.db", "LEGWORK_SHOP_DATABASE_URL": f"sqlite:///{folder}/shop.db",
        "LEGWORK_BACKUP_FOLDER": str(folder / "backups"),
    }  # fmt: skip


def test_a_service_that_cannot_start_says_why_in_one_line(tmp_path: Path) -> None:
    for place in (garbage, empty_folder, below_a_file, loop, too_long):
        (tmp_path / place.__name__).mkdir()
        path = place(tmp_path / place.__name__)
        done = run("serve", "--port", "0", LEGWORK_DATABASE_URL=f"sqlite:///{path}",
                   LEGWORK_SHOP_DATABASE_URL=f"sqlite:///{tmp_path}/shop.db")  # fmt: skip
        assert done.returncode == 1, (place.__name__, done.stderr)
        assert len(done.stderr.splitlines()) == 1, done.stderr


def test_a_port_in_use_or_an_address_of_another_machine_is_one_line(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        for given in (["--port", port], ["--host", "192.0.2.77"], ["--host", "no such host"], ["--host", "::g"]):
            done = run("serve", "--port", port, *given, **beside(tmp_path))
            assert done.returncode == LISTENING
            assert len(done.stderr.splitlines()) == 1, done.stderr


@pytest.mark.parametrize(
    "command", [["settings"], ["doctor"], ["keys", "list"], ["content-hash"], ["settings", "--json"]]
)
def test_an_output_without_room_or_without_a_reader_is_no_traceback(tmp_path: Path, command: list[str]) -> None:
    with open("/dev/full", "w") as full:
        done = run(*command, stdout=full.fileno(), **beside(tmp_path))
    assert done.returncode != 0
    assert len(done.stderr.splitlines()) == 1, done.stderr
    read, write = os.pipe()
    os.close(read)
    done = run(*command, stdout=write, **beside(tmp_path))
    os.close(write)
    assert "Traceback" not in done.stderr
    assert len(done.stderr.splitlines()) <= 1, done.stderr


def test_a_disk_without_room_is_one_line(small: Path, legwork: Called, fresh: tuple[Database, Database]) -> None:
    catalogue, shop = fresh
    settings = {"database_url": str(catalogue.url), "shop_database_url": str(shop.url)}
    fill(small)
    for command in (["export", "PLACE"], ["export", "PLACE.zip"], ["export", "PLACE.sqlite"], ["backup", "PLACE"],
                    ["template", "PLACE"]):  # fmt: skip
        code, out, err = legwork(*(word.replace("PLACE", str(small / "out")) for word in command), **settings)
        assert code == 1, (command, out, err)
        assert len(err.splitlines()) == 1, err
    on_it = {"database_url": f"sqlite:///{small}/a.db", "shop_database_url": f"sqlite:///{small}/b.db"}
    for command in (["load", str(SEED_DATA)], ["migrate"], ["keys", "add", "bench", "--scope", "edit"]):
        code, out, err = legwork(*command, **on_it)
        assert code == 1, (command, out, err)
        assert len(err.splitlines()) == 1, err


def test_a_folder_that_may_not_be_written_is_one_line(tmp_path: Path) -> None:
    """As another user if root runs the tests, because root may write everywhere."""
    closed = tmp_path / "closed"
    closed.mkdir()
    closed.chmod(stat.S_IRUSR | stat.S_IXUSR)
    if os.geteuid() == 0:
        pytest.skip("root may write into any folder")
    for command in (["migrate"], ["keys", "list"], ["template", str(closed / "t")], ["serve", "--port", "0"]):
        done = run(*command, **beside(closed))
        assert done.returncode == 1
        assert len(done.stderr.splitlines()) == 1, done.stderr


@pytest.mark.parametrize(
    "words",
    [
        ["keys", "add", "x", "--scope", "everything"], ["keys", "revoke", "nobody"], ["ask", "nothing/of/the/kind"],
        ["ask", "makers", "no-equals-sign"], ["ask", "makers", "--server", "nonsense"],
        ["ask", "makers", "--server", "http://127.0.0.1:9"], ["ask", "makers", "--server", "http://[::"],
        ["mirror", "nonsense"], ["mirror", "http://127.0.0.1:9", "--once"], ["mirror", "http://[", "--once"],
        ["export", "OUT", "--revision", "999999"], ["content-hash", "--revision", "99999999999999999999"],
        ["export", "OUT", "--revision", "-1"], ["serve", "--port", "99999"], ["load"], ["nothing"],
        ["load", str(SEED_DATA), "--database", "http://x/y"], ["load", str(SEED_DATA), "--database", ""],
        ["keys", "add", "\x1b[31m\n", "--scope", "edit"],
    ],
)  # fmt: skip
def test_words_that_mean_nothing_are_refused_in_a_line(
    legwork: Called, fresh: tuple[Database, Database], tmp_path: Path, words: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.exchange.origin.LONGEST_WAIT_S", 0.05)  # an origin that is not there is tried six times
    catalogue, shop = fresh
    settings = {"database_url": str(catalogue.url), "shop_database_url": str(shop.url)}
    code, out, err = legwork(*(word.replace("OUT", str(tmp_path / "out")) for word in words), **settings)
    assert code in (1, 2), (out, err)
    assert "Traceback" not in out + err
    assert err.strip()
