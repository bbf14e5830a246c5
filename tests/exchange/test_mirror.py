"""A copy made from the feed equals its origin row for row, and its answers byte for byte, whatever happened between.

The copy is on the other engine than its origin. LEGWORK_TEST_EDITS sets how many edits: 500 is the promise."""

import asyncio
import csv
import io
import os
import random
import re
import subprocess
import sys
import textwrap
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import select, update

from app.access import keys
from app.catalogue import content_hash as content_hash_module
from app.catalogue.catalogue import Catalogue, Pin
from app.catalogue.content_hash import content_hash
from app.catalogue.stored import FINDINGS, REVISIONS, SQL
from app.catalogue.tables import TABLES, Maker
from app.database.connections import Database
from app.errors import Conflict, Unavailable
from app.exchange import mirror, origin
from app.exchange.mirror import follow, verify
from app.exchange.origin import Origin, client_of
from app.exchange.writer import zipped
from tests.api.asking import asking
from tests.conftest import ENGINES, Fresh
from tests.exchange.random_edits import RandomEdits
from tests.exchange.serving import CutWire, serving
from tests.questions.storing import store

EDITS = int(os.environ.get("LEGWORK_TEST_EDITS", "10"))
PRIVATE = {"idempotency_key", "request_digest"}


@contextmanager
def of(url: str, *, tries: int | None = 4, key: str | None = None) -> Iterator[Origin]:
    """The origin at an address, polled without pauses."""
    with client_of(url, key) as client:
        yield Origin(client, tries=tries, pause=lambda seconds: None)


def stored(database: Database) -> dict[str, list[tuple[Any, ...]]]:
    """Everything in the catalogue's tables, except data private to the requests of one service."""
    found = {}
    with database.read() as connection:
        for table in (*SQL.values(), REVISIONS, FINDINGS):
            columns = [column for column in table.c if column.name not in PRIVATE]
            rows = connection.execute(select(*columns).order_by(*table.primary_key.columns))
            found[table.name] = [tuple(row) for row in rows]
    return found


def addresses(edits: RandomEdits, latest: int, chance: random.Random) -> list[str]:
    """Lists, rows, histories, feeds and questions, at the newest and at past revisions; more after more edits."""
    share = 0.1 if latest < 100 else 0.5
    pins = ["", *(f"revision={chance.randint(1, latest)}" for _ in range(4))]
    chassis = sorted(id for name, id in edits.rows if name == "chassis")
    asked = [f"/v1/{name}?limit=1000" for name in TABLES]
    asked += [
        "/v1/findings?limit=1000",
        "/v1/revisions?limit=1000",
        "/v1/changes?limit=1000&after=1",
        "/v1/changes?limit=7",
    ]
    asked += [f"/v1/chassis/{id}/{question}" for id in chassis for question in ("fits", "sheet")]
    pinned = [
        f"{address}{'&' if '?' in address else '?'}{pin}"
        for address in asked
        for pin in pins
        if chance.random() < share
    ]
    changed = {(row.table, row.id) for row in edits.gone} | set(chance.sample(sorted(edits.rows), int(100 * share)))
    pinned += [f"/v1/{table}/{id}" for table, id in sorted(changed)]
    pinned += [f"/v1/statements/{id}/history" for _, id in sorted(changed)]
    return pinned + [f"/v1/revisions/{number}" for number in range(1, latest + 1, 7)]


def assert_answers_alike(first: Database, second: Database, asked: list[str]) -> None:
    async def compare() -> None:
        same = {"X-Request-ID": "same-for-both"}
        async with asking(first) as one, asking(second) as other:
            for address in asked:
                ours, theirs = await one.get(address, headers=same), await other.get(address, headers=same)
                assert ours.status_code == theirs.status_code
                assert ours.content == theirs.content, address
                assert ours.headers.get("etag") == theirs.headers.get("etag")
                assert ours.status_code < 500

    asyncio.run(compare())


@pytest.mark.timeout(300 + 5 * EDITS)
@pytest.mark.parametrize("engine", ENGINES)
def test_a_copy_equals_its_origin_after_random_edits_and_cut_connections(
    engine: str, fresh_database: Fresh, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(origin, "LIMIT", 60)  # pages end inside revisions
    monkeypatch.setattr(mirror, "AT_ONCE", 64)
    other = next(each for each in ENGINES if each != engine)
    with fresh_database(engine, True) as url, fresh_database(other, False) as copy_url:
        source, copy = Database(url), Database(copy_url)
        edits = RandomEdits(source, seed=11)
        with serving(source, tmp_path) as (address, _):
            wire = CutWire(address, seed=6)
            with of(wire.url, tries=50) as patient:
                assert follow(copy, patient) == 1
            edits.accepted(EDITS // 2)
            ends = []
            for _ in range(200):  # each time it resumes at the cut
                try:
                    with of(wire.url, tries=2) as impatient:
                        follow(copy, impatient)
                    break
                except Unavailable:
                    ends.append(latest(copy))
            assert ends == sorted(ends)
            edits.accepted(EDITS - EDITS // 2)
            with of(wire.url, tries=50) as patient:
                assert follow(copy, patient) == latest(source)
            wire.close()
            with of(address) as direct:
                found = verify(copy, direct, latest(copy))
        assert wire.cuts >= 10
        assert len(set(ends)) > 1, "the copy never had to begin again in the middle"
        assert min(edits.kinds.values()) > 0, edits.kinds
        assert latest(copy) == EDITS + 1
        assert stored(copy) == stored(source)
        assert_answers_alike(source, copy, addresses(edits, EDITS + 1, random.Random(6)))
        with Catalogue(source).snapshot() as theirs, Catalogue(copy).snapshot() as ours:
            packages = [io.BytesIO(), io.BytesIO()]
            for snapshot, package in zip((theirs, ours), packages, strict=True):
                zipped(snapshot, snapshot.revision, package)
            assert packages[0].getvalue() == packages[1].getvalue()
            assert found == content_hash(theirs)
        source.close()
        copy.close()


def latest(database: Database) -> int:
    with Catalogue(database).snapshot() as snapshot:
        return snapshot.revision


def maker(id: str, name: str | None = None) -> Maker:
    return Maker.checked(id=id, name=name or f"Maker {id}")


def test_what_is_no_copy_of_this_origin_is_refused(database: Database, fresh_database: Fresh, tmp_path: Path) -> None:
    engine = "sqlite" if database.is_sqlite else "postgresql"
    with fresh_database(engine, False) as copy_url, serving(database, tmp_path) as (address, _), of(address) as source:
        copy = Database(copy_url)
        assert follow(copy, source) == 0
        store(database, [maker("a"), maker("b")])
        assert follow(copy, source) == 1
        assert follow(copy, source) == 1  # nothing new
        with copy.write() as connection:
            connection.execute(update(SQL[Maker]).where(SQL[Maker].c.id == "a").values(name="altered"))
        with pytest.raises(Conflict, match="not what the origin has"):
            verify(copy, source, 1)
        with copy.write() as connection:
            connection.execute(update(SQL[Maker]).where(SQL[Maker].c.id == "a").values(name="Maker a"))
        assert len(verify(copy, source, 1)) == 64
        store(copy, [maker("c")])  # written here: no longer a copy
        with pytest.raises(Conflict, match="make a new copy"):
            follow(copy, source)
        store(database, [maker("d")])
        with pytest.raises(Conflict, match="make a new copy"):
            follow(copy, source)
        copy.close()


def test_the_hash_is_that_of_the_standard_tools(demo: Database, tmp_path: Path) -> None:
    """The documented command: `sort` and `sha256sum` of GNU coreutils are the outside reference.

    Columns without any value are removed from the files first, as if a build had never had them: the hash stays
    equal."""
    store(demo, [Maker(id="a-maker", name="Grüße, “quoted”\n\tand \\ more", page="1;2")])
    with Catalogue(demo).snapshot() as snapshot:
        found = content_hash(snapshot)
        with (tmp_path / "package.zip").open("wb") as stream:
            zipped(snapshot, 2, stream)
    zipfile.ZipFile(tmp_path / "package.zip").extractall(tmp_path)
    dropped = 0
    for path in tmp_path.glob("*.csv"):
        with path.open(newline="", encoding="utf-8") as stream:
            header, *rows = csv.reader(stream)
        given = [at for at in range(len(header)) if any(row[at] for row in rows)]
        dropped += len(header) - len(given)
        with path.open("w", newline="", encoding="utf-8") as stream:
            csv.writer(stream).writerows([[line[at] for at in given] for line in (header, *rows)])
    assert dropped > 10
    command = re.search(r"    python3 -c .*sha256sum\n", str(content_hash_module.__doc__), re.DOTALL)
    assert command is not None
    done = subprocess.run(
        ["sh", "-c", textwrap.dedent(command[0])], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert done.stdout.split()[0] == found
    with Catalogue(demo).snapshot(Pin(0)) as snapshot:
        assert content_hash(snapshot) != found


def test_an_origin_that_hashes_otherwise_is_followed_but_not_compared(
    database: Database, fresh_database: Fresh, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store(database, [maker("a")])
    engine = "sqlite" if database.is_sqlite else "postgresql"
    with fresh_database(engine, False) as copy_url, serving(database, tmp_path) as (address, _), of(address) as source:
        copy = Database(copy_url)
        monkeypatch.setattr(source, "content_hash", lambda number: ("of whole files", 1))
        assert follow(copy, source) == 1
        monkeypatch.setattr(source, "content_hash", lambda number: ("of something else", 2))
        with pytest.raises(Conflict, match="not what the origin has"):
            verify(copy, source, 1)
        copy.close()


def test_a_closed_origin_is_copied_with_a_key_by_the_command(database: Database, tmp_path: Path) -> None:
    store(database, [maker("a"), maker("b")])
    store(database, [maker("a", "A")], [maker("b")])
    with serving(database, tmp_path, open_reads=False) as (address, shop):
        with of(address) as keyless, pytest.raises(Unavailable, match="401"):
            keyless.recorded(1)
        key = keys.add(shop, "copy", ["read"]).token
        command = [
            sys.executable,
            "-m",
            "app",
            "mirror",
            address,
            "--once",
            "--json",
            "--database",
            str(tmp_path / "copy.db"),
        ]
        told = {"LEGWORK_MIRROR_KEY": str(key), "LEGWORK_SHOP_DATABASE_URL": f"sqlite:///{tmp_path / 'copy-shop.db'}"}
        done = subprocess.run(command, env={**os.environ, **told}, capture_output=True, text=True, timeout=200)
    assert done.returncode == 0, done.stderr
    assert '"revision": 2' in done.stdout
    copy = Database(f"sqlite:///{tmp_path / 'copy.db'}")
    assert stored(copy) == stored(database)
    copy.close()


def test_what_is_no_such_service_is_said_plainly(tmp_path: Path) -> None:
    answers: dict[str, tuple[int, dict[str, str], bytes]] = {
        "/v1/changes": (200, {}, b'{"changes": [], "next": "http://elsewhere.test/v1/changes?after=0"}'),
        "/v1/revisions/1": (302, {"Location": "http://elsewhere.test/"}, b""),
        "/v1/content-hash": (200, {}, b"<html>"),
    }
    asked = []

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request.url.host)
        status, headers, content = answers[request.url.path]
        return httpx.Response(status, headers=headers, stream=httpx.ByteStream(content))

    pauses: list[float] = []
    with httpx.Client(transport=httpx.MockTransport(answer), base_url="http://origin.test") as client:
        source = Origin(client, tries=3, pause=pauses.append)
        with pytest.raises(Conflict, match="elsewhere"):
            list(source.changes(0))
        with pytest.raises(Unavailable, match="302"):
            source.recorded(1)
        with pytest.raises(Unavailable, match="not an answer from a service of this kind"):
            source.content_hash(1)
        assert pauses == []
        answers["/v1/content-hash"] = (503, {"Retry-After": "7"}, b"")
        with pytest.raises(Unavailable, match="503"):
            source.content_hash(1)
    assert pauses == [7.0, 7.0]
    assert set(asked) == {"origin.test"}
