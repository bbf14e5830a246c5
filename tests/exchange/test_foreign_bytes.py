"""Bytes of others (packages, backups, origins, servers) are read within bounds and refused in one plain line.

The measured part runs the command in a process of its own and compares its peak memory with a bound.
"""

import copy
import gzip
import hashlib
import json
import os
import resource
import socket
import struct
import subprocess
import sys
import threading
import time
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.errors import Refusal
from app.exchange.mirror import follow
from app.exchange.origin import Origin
from app.foreign import ForeignFault, escaped, fetch, one_request_each, open_zip, read_json
from tests.conftest import Fresh

MOST_MEMORY_KB = 300_000
ESC = "\x1b]0;title\x07\x1b[31m\x9b2J\u202e"

ROW = b'["makers","a","id","a"]\n["makers","a","name","Maker a"]\n'
HASH = hashlib.sha256(ROW).hexdigest()
"""By the documented definition of the content hash, which test_mirror.py compares with the standard tools."""

Reply = dict[str, Any]


def honest() -> dict[str, Reply]:
    """The answers of an origin with one maker in one revision."""
    return {
        "/v1/changes": {
            "revision": 1,
            "after": 0,
            "total": 1,
            "cautions": [],
            "changes": [
                {
                    "revision": 1,
                    "recorded_at": "2024-05-01T10:00:00.000Z",
                    "table": "makers",
                    "op": "put",
                    "id": "a",
                    "row": {"id": "a", "name": "Maker a"},
                    "reason": "the first row",
                    "who": "bench",
                }
            ],
        },
        "/v1/revisions/1": {
            "revision": 1,
            "recorded": {
                "number": 1,
                "recorded_at": "2024-05-01T10:00:00.000Z",
                "reason": "the first row",
                "who": "bench",
                "added": 1,
                "changed": 0,
                "withdrawn": 0,
            },
        },
        "/v1/content-hash": {"content_hash": HASH, "hash_version": 2},
    }


def origin_of(answers: dict[str, Any]) -> Origin:
    """An origin that answers this, as JSON or as the bytes given; the later pages are empty."""

    def answer(request: httpx.Request) -> httpx.Response:
        if request.url.path == "/v1/changes" and "after=0" not in str(request.url) and "ever" not in answers:
            found: Any = {"changes": []}
        else:
            found = answers[request.url.path]
        return httpx.Response(
            200, stream=httpx.ByteStream(found if isinstance(found, bytes) else json.dumps(found).encode())
        )

    client = httpx.Client(transport=httpx.MockTransport(answer), base_url="http://origin.test")
    return Origin(client, tries=2, pause=lambda seconds: None)


def _change(**more: Any) -> Callable[[dict[str, Any]], None]:
    return lambda answers: answers["/v1/changes"]["changes"][0].update(more)


def _page(**more: Any) -> Callable[[dict[str, Any]], None]:
    return lambda answers: answers["/v1/changes"].update(more)


def _without(name: str) -> Callable[[dict[str, Any]], None]:
    return lambda answers: answers["/v1/changes"]["changes"][0].pop(name)


def _is(path: str, answer: Any) -> Callable[[dict[str, Any]], None]:
    return lambda answers: answers.__setitem__(path, answer)


def _again(answers: dict[str, Any]) -> None:
    answers["ever"] = True
    answers["/v1/changes"]["next"] = "/v1/changes?after=0&cursor=x"


def _empty_for_ever(answers: dict[str, Any]) -> None:
    answers["ever"] = True
    answers["/v1/changes"].update(changes=[], next="/v1/changes?cursor=x")


def _recorded(**more: Any) -> Callable[[dict[str, Any]], None]:
    return lambda answers: answers["/v1/revisions/1"]["recorded"].update(more)


HOSTILE: dict[str, Callable[[dict[str, Any]], None]] = {
    "a list": _is("/v1/changes", []),
    "a number": _is("/v1/changes", 7),
    "null": _is("/v1/changes", None),
    "no changes": _is("/v1/changes", {}),
    "changes null": _page(changes=None),
    "changes a text": _page(changes="x"),
    "changes of texts": _page(changes=["x"]),
    "changes of nulls": _page(changes=[None]),
    "not JSON": _is("/v1/changes", b"{"),
    "not UTF-8": _is("/v1/changes", b'{"changes": ["\xff"]}'),
    "deep": _is("/v1/changes", b"[" * 100_000),
    "wide": _is("/v1/changes", b"[" + b"{}," * 3_000_000 + b"{}]"),
    "a huge number": _change(revision=10**25),
    "5,000 digits": _is("/v1/changes", b'{"changes": [' + b"9" * 5_000 + b"]}"),
    "an endless exponent": _is("/v1/changes", b'{"changes": [1e999999999]}'),
    "NaN": _is("/v1/changes", b'{"changes": [NaN]}'),
    "no revision": _without("revision"),
    "a text as revision": _change(revision="1"),
    "a revision ahead": _change(revision=2),
    "a revision before": _change(revision=0),
    "no reason": _without("reason"),
    "a reason that is none": _change(reason=7),
    "escapes in the reason": _change(reason=ESC),
    "a long reason": _change(reason="x" * 100_000),
    "escapes in who": _change(who=ESC),
    "who is a list": _change(who=[]),
    "no time": _without("recorded_at"),
    "a time that is none": _change(recorded_at="2024-13-99T99:00:00Z"),
    "a time of escapes": _change(recorded_at=ESC),
    "another table": _change(table=ESC),
    "a table that is a list": _change(table=[]),
    "another operation": _change(op="drop"),
    "no row": _without("row"),
    "a row that is a list": _change(row=[]),
    "the row of another": _change(id="b"),
    "an id that is none": _change(id={}),
    "columns unknown": _change(row={"id": "a", "name": "a", "x": ESC}),
    "nested values": _change(row={"id": "a", "name": {"x": []}}),
    "half a pair": _change(row={"id": "a", "name": "\ud800"}),
    "NUL": _change(row={"id": "a", "name": "\x00"}),
    "next is a number": _page(next=7),
    "next is elsewhere": _page(next="//x"),
    "the same page for ever": _again,
    "empty pages for ever": _empty_for_ever,
    "another hash": _is("/v1/content-hash", {"content_hash": "0" * 64, "hash_version": 2}),
    "no hash": _is("/v1/content-hash", {}),
    "a hash that is none": _is("/v1/content-hash", {"content_hash": [ESC], "hash_version": 2}),
    "another record": _recorded(added=2),
    "no record": _is("/v1/revisions/1", {"revision": 1}),
    "a record that is none": _is("/v1/revisions/1", {"recorded": [1]}),
}


@pytest.mark.timeout(60)
@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_origin_is_refused_in_a_line_and_stores_nothing(name: str, fresh_database: Fresh) -> None:
    answers = copy.deepcopy(honest())
    HOSTILE[name](answers)
    with fresh_database("sqlite", False) as url:
        database = Database(url)
        begun = time.monotonic()
        with pytest.raises(Refusal) as refused:
            follow(database, origin_of(answers))
        assert time.monotonic() - begun < 20
        assert len(escaped(refused.value.detail).splitlines()) == 1
        with Catalogue(database).snapshot() as snapshot:
            assert snapshot.revision == 0
        database.close()


def test_the_answers_that_are_made_hostile_are_taken_as_they_are(fresh_database: Fresh) -> None:
    answers = honest()
    with fresh_database("sqlite", False) as url:
        database = Database(url)
        assert follow(database, origin_of(answers)) == 1
        database.close()


@contextmanager
def raw_server(*parts: bytes, pause_s: float = 0.0, endless: bytes = b"") -> Iterator[str]:
    """A server that sends these bytes to whoever connects, with pauses, then `endless` again and again."""
    listening = socket.create_server(("127.0.0.1", 0))
    over = threading.Event()

    def answer() -> None:
        with suppress(OSError):
            while not over.is_set():
                line, _ = listening.accept()
                with suppress(OSError), line:
                    line.recv(65_536)
                    for part in parts:
                        line.sendall(part)
                        time.sleep(pause_s)
                    while endless and not over.is_set():
                        line.sendall(endless)
                        time.sleep(pause_s)

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    over.set()
    listening.close()


def run(*arguments: str, cwd: Path) -> tuple[subprocess.CompletedProcess[str], int]:
    """The command in a process of its own, and its peak memory in kB."""
    measured = (
        "import resource, subprocess, sys; done = subprocess.run([sys.executable, '-m', 'app', *sys.argv[1:]]); "
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss, file=sys.stderr); sys.exit(done.returncode)"
    )
    environment = {name: value for name, value in os.environ.items() if not name.startswith("LEGWORK_")}
    stored = {"LEGWORK_DATABASE_URL": f"sqlite:///{cwd}/a.db", "LEGWORK_SHOP_DATABASE_URL": f"sqlite:///{cwd}/b.db"}
    done = subprocess.run(
        [sys.executable, "-c", measured, *arguments], env={**environment, **stored}, capture_output=True, text=True,
        timeout=120, errors="replace",
    )  # fmt: skip
    *lines, peak = done.stderr.splitlines()
    done.stderr = "\n".join(lines)
    return done, int(peak)


def is_one_line(done: subprocess.CompletedProcess[str], peak: int) -> None:
    assert done.returncode == 1, (done.stdout[:500], done.stderr[:500])
    assert len((done.stdout + done.stderr).strip().splitlines()) <= 4, (done.stdout[:500], done.stderr[:500])
    assert "Traceback" not in done.stderr
    assert peak < MOST_MEMORY_KB, f"{peak} kB"


HEAD = b"HTTP/1.1 200 OK\r\nContent-Type: text/plain; charset=utf-8\r\nConnection: close\r\n"


def test_a_server_packs_no_bomb_and_sends_no_escapes(tmp_path: Path) -> None:
    bomb = gzip.compress(bytes(400_000_000), 9)
    assert len(bomb) < 500_000
    with raw_server(HEAD + b"Content-Encoding: gzip\r\n\r\n" + bomb) as url:
        is_one_line(*run("ask", "makers", "--server", url, cwd=tmp_path))
        is_one_line(*run("mirror", url, "--once", cwd=tmp_path))
    with raw_server(HEAD + b"\r\n", endless=b"x" * 1_000_000) as url:
        is_one_line(*run("ask", "makers", "--server", url, cwd=tmp_path))
    with raw_server(HEAD + b"\r\n" + f"Grüße\u00a0{ESC}\r over\n".encode()) as url:
        done, _ = run("ask", "makers", "--server", url, cwd=tmp_path)
    assert done.stdout == "Grüße\u00a0\\u001b]0;title\\u0007\\u001b[31m\\u009b2J\\u202e\\r over\n"


@pytest.mark.parametrize("parts", [(HEAD,), (HEAD + b"\r\n",)], ids=["head", "body"])
def test_a_server_that_drips_is_given_up(parts: tuple[bytes, ...]) -> None:
    with (
        raw_server(*parts, pause_s=0.05, endless=b"X") as url,
        httpx.Client(base_url=url, limits=one_request_each()) as client,
    ):
        begun = time.monotonic()
        with pytest.raises(ForeignFault, match="longer than 1 s"):
            fetch(client, client.build_request("GET", "/"), seconds=1)
        assert time.monotonic() - begun < 5


@pytest.mark.parametrize("command", ["load", "check", "restore"])
@pytest.mark.parametrize("place", ["/dev/full", "/dev/zero", "/dev/urandom"])
def test_a_file_that_never_ends_is_one_line(command: str, place: str, tmp_path: Path) -> None:
    link = tmp_path / "makers.csv"
    link.symlink_to(place)
    for path in (place, str(link)):
        done, peak = run(command, path, cwd=tmp_path)
        is_one_line(done, peak)


def test_a_backup_that_is_a_bomb_fills_no_disk(tmp_path: Path) -> None:
    bomb = tmp_path / "bomb.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("catalogue.db", "w") as member:
        for _ in range(300):
            member.write(bytes(1_000_000))
    assert bomb.stat().st_size < 400_000
    before = sum(each.stat().st_size for each in tmp_path.rglob("*"))
    done, peak = run("restore", str(bomb), cwd=tmp_path)
    is_one_line(done, peak)
    assert "unpacks from" in done.stderr
    assert sum(each.stat().st_size for each in tmp_path.rglob("*")) == before


def test_a_list_of_members_without_end_is_not_read(tmp_path: Path) -> None:
    """The sizes are those of the end record (APPNOTE 4.3.16) and, if they are larger, of Zip64's (4.3.14)."""
    path = tmp_path / "wide.zip"
    name = b"x" * 60_000
    member = (
        struct.pack("<4s4B4HL2L5H2L", b"PK\x01\x02", *[20] * 4, *[0] * 4, *[0] * 3, len(name), *[0] * 4, 0, 0) + name
    )
    with path.open("wb") as stream:
        for _ in range(60):
            stream.write(member)
        stream.write(struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 60, 60, 60 * len(member), 0, 0))
    with pytest.raises(ForeignFault, match="list of members"):
        open_zip(path)
    for command in ("load", "restore"):
        is_one_line(*run(command, str(path), cwd=tmp_path))


def test_json_is_bounded_in_depth_values_and_figures() -> None:
    assert read_json(b'{"a": [1, 2.50, "\\u00e9"]}', "it") == {"a": [1, pytest.approx(2.5), "é"]}
    for content in (b"[" * 41 + b"]" * 41, b"[" + b"0," * 500_001 + b"0]", b"1e999", b"NaN", b'"\\u0000"', b'"\\ud800"',
                    b"9" * 65, b'{"a": 1', b"\xff"):  # fmt: skip
        with pytest.raises(ForeignFault):
            read_json(content, "it")
    assert read_json(b'"\\\\u0000"', "it") == "\\u0000"


def test_the_memory_of_this_process_is_what_is_measured() -> None:
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss > 10_000  # kB on Linux, so that the bound above holds
