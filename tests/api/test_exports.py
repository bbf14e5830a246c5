"""The whole catalogue over HTTP: a package, a SQLite file and a hash, each fixed for a revision."""

import asyncio
import csv
import hashlib
import io
import json
import os
import sqlite3
import time
import zipfile
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.content_hash import content_hash
from app.catalogue.tables import STATEMENTS, TABLES, Maker
from app.database.connections import Database
from app.database.migrating import migrate
from app.errors import Unavailable
from app.exchange import child, kept_exports, sqlite_export
from app.exchange.kept_exports import SharedWork
from app.exchange.loading import Entry, load
from app.settings import Settings
from tests.api.writing import writing
from tests.conftest import Fresh
from tests.problems import assert_problem
from tests.questions.storing import store

pytestmark = pytest.mark.anyio


async def test_a_package_of_a_revision_is_the_same_bytes_and_loads_elsewhere(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with writing(demo, tmp_path) as service:
        first = await service.client.get("/v1/export")
        assert (first.status_code, first.headers["content-type"]) == (200, "application/zip")
        assert first.headers["legwork-revision"] == "1"
        known = {"If-None-Match": first.headers["etag"]}
        assert (await service.client.get("/v1/export", headers=known)).status_code == 304
        store(demo, [Maker(id="brand-new", name="Brand New")])
        now = await service.client.get("/v1/export", headers=known)
        assert (now.status_code, now.headers["legwork-revision"]) == (200, "2")
        again = await service.client.get("/v1/export?revision=1")
        assert again.content == first.content
        monkeypatch.setattr(kept_exports, "format_tag", lambda: "01234567")  # a build with another column
        other = await service.client.get("/v1/export?revision=1", headers=known)
        assert other.status_code == 200
        assert other.headers["etag"].endswith('-f1-01234567.zip"')
        part = await service.client.get("/v1/export?revision=1", headers={"Range": "bytes=1000-1999"})
        assert (part.status_code, part.content) == (206, first.content[1000:2000])  # an interrupted download resumes
        found = (await service.client.get("/v1/content-hash?revision=1")).json()
        assert found["revision"] == 1
        with zipfile.ZipFile(io.BytesIO(first.content)) as package:
            lines = [
                json.dumps([name[:-4], row["id"], column, cell], ensure_ascii=False, separators=(",", ":")) + "\n"
                for name in package.namelist()
                if name.endswith(".csv")
                for row in csv.DictReader(io.TextIOWrapper(package.open(name), "utf-8", newline=""))
                for column, cell in row.items()
                if cell
            ]
        encoded = sorted(line.encode() for line in lines)
        assert (found["content_hash"], found["hash_version"]) == (hashlib.sha256(b"".join(encoded)).hexdigest(), 2)
        for address in ("/v1/export?revision=3", "/v1/content-hash?revision=3"):
            assert_problem(await service.client.get(address), 422, code="revision-unknown", parameter="revision")
    (tmp_path / "export.zip").write_bytes(first.content)
    elsewhere = Database(f"sqlite:///{tmp_path / 'elsewhere.db'}")
    migrate(elsewhere, "catalogue")
    assert load(elsewhere, tmp_path / "export.zip", Entry("from elsewhere", "tests"))["accepted"]
    with Catalogue(elsewhere).snapshot() as snapshot:
        assert content_hash(snapshot) == found["content_hash"]
    elsewhere.close()


async def test_a_sqlite_file_has_numbers_that_compare_as_those_in_json_do(demo: Database, tmp_path: Path) -> None:
    store(demo, [Maker(id="brand-new", name="Brand New")])
    compared = 0
    async with writing(demo, tmp_path) as service:
        sent = await service.client.get("/v1/export.sqlite")
        assert sent.headers["content-type"] == "application/vnd.sqlite3"
        path = tmp_path / "offline.sqlite"
        path.write_bytes(sent.content)
        with closing(sqlite3.connect(path)) as connection:
            ask = connection.execute
            assert ask("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert (ask("PRAGMA application_id").fetchone()[0].to_bytes(4), ask("PRAGMA user_version").fetchone()) == (
                b"LgwQ", (sqlite_export.FORMAT,),
            )  # fmt: skip
            for table in TABLES.values():
                rows = await _all_rows(service.client, table.table)
                assert ask(f"SELECT count(*) FROM {table.table}").fetchone() == (len(rows),)
                for name, column in table.columns().items():
                    if column.kind.field_type in ("number", "integer") and column.kind.items is None:
                        given = sorted(float(row[name]) for row in rows if name in row)
                        middle = given[len(given) // 2] if given else 0.0
                        asked = f'min("{name}"), max("{name}"), count(*) FILTER (WHERE "{name}" > ?)'
                        found = ask(f"SELECT {asked} FROM {table.table}", (middle,)).fetchone()
                        above = sum(each > middle for each in given)
                        assert found == (given[0] if given else None, given[-1] if given else None, above), name
                        compared += bool(given)
                    if column.kind.name == "figure as published":
                        texts = ask(f"SELECT id, {name}_text FROM {table.table} WHERE {name} IS NOT NULL").fetchall()
                        assert dict(texts) == {row["id"]: row[name] for row in rows if name in row}
            for name, view in sqlite_export.QUESTIONS.items():
                assert ask(f"SELECT count(*) FROM {view}").fetchone() == ask(f"SELECT count(*) FROM {name}").fetchone()
            assert set(sqlite_export.QUESTIONS) == {table.table for table in STATEMENTS} | {"steps"}
            named = ask("SELECT chassis_name, spring_name FROM which_springs_fit").fetchall()
            assert ("Tarnoch Raddle", "Raddle shaft 160") in named
            findings = ask("SELECT count(*) FROM findings").fetchone()[0]
        assert findings == (await service.client.get("/v1/findings")).json()["total"] > 0
        with pytest.raises(Unavailable, match="export for queries"):
            migrate(Database(f"sqlite:///{path}"), "catalogue")
        assert_problem(await service.client.get("/v1/export.sqlite?revision=9"), 422)
        empty = await service.client.get("/v1/export.sqlite?revision=0")
        (tmp_path / "empty.sqlite").write_bytes(empty.content)
        with closing(sqlite3.connect(tmp_path / "empty.sqlite")) as connection:
            counts = [connection.execute(f"SELECT count(*) FROM {name}").fetchone() for name in ("revisions", *TABLES)]
        assert set(counts) == {(0,)}
    assert compared > 50


async def _all_rows(client: httpx.AsyncClient, table: str) -> list[dict[str, Any]]:
    page = (await client.get(f"/v1/{table}?limit=1000")).json()
    rows = list(page["rows"])
    while "next" in page:
        page = (await client.get(page["next"])).json()
        rows += page["rows"]
    return rows


async def test_only_so_many_children_work_at_once(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(child.MOST_AT_ONCE, "export", 0)
    async with writing(demo, tmp_path) as service:
        for address in ("/v1/export", "/v1/export.sqlite", "/v1/content-hash"):
            refused = await service.client.get(address)
            assert_problem(refused, 503)
            assert refused.headers["retry-after"] == "5"


async def test_anonymous_exporters_do_not_keep_an_import_with_a_key_from_starting(
    demo: Database, tmp_path: Path
) -> None:
    """Eight readers request eight exports that do not exist yet; meanwhile a package is imported."""
    for number in range(3):
        store(demo, [Maker(id=f"brand-{number}", name=f"Brand {number}")])
    async with writing(demo, tmp_path) as service:
        transport = httpx.ASGITransport(service.app)
        async with httpx.AsyncClient(transport=transport, base_url="http://legwork.test") as nobody:
            addresses = [f"/v1/export{end}?revision={number}" for number in range(1, 5) for end in ("", ".sqlite")]
            readers = [asyncio.create_task(nobody.get(address, timeout=120)) for address in addresses]
            await asyncio.sleep(0.2)
            package = _package(tmp_path / "import.zip")
            imported = await service.client.post(
                "/v1/imports?reason=new", content=package, headers={"Content-Type": "application/zip"}, timeout=120
            )
            answers = await asyncio.gather(*readers)
        assert imported.status_code == 201, imported.text
        assert {answer.status_code for answer in answers} <= {200, 503}
        assert sum(answer.status_code == 200 for answer in answers) >= child.MOST_AT_ONCE["export"]


def _package(path: Path) -> bytes:
    with zipfile.ZipFile(path, "w") as package:
        package.writestr("makers.csv", "id,name\nbrand-imported,Brand Imported\n")
    return path.read_bytes()


async def test_an_export_is_made_once_for_all_who_ask_and_kept(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun: list[tuple[str, ...]] = []
    run = child.run

    async def counted(settings: Settings, *arguments: str, timeout_s: float) -> dict[str, Any]:
        begun.append(arguments)
        return await run(settings, *arguments, timeout_s=timeout_s)

    monkeypatch.setattr(child, "run", counted)
    async with writing(demo, tmp_path) as service:
        addresses = ["/v1/export"] * 6 + ["/v1/content-hash"] * 6
        first = await asyncio.gather(*(service.client.get(address) for address in addresses))
        assert [answer.status_code for answer in first] == [200] * 12, first[0].text
        assert len({answer.content for answer in first[:6]}) == 1
        assert sorted(arguments[0] for arguments in begun) == ["content-hash", "export"]
        again = await service.client.get("/v1/export")
        assert (again.content, again.headers["last-modified"]) == (first[0].content, first[0].headers["last-modified"])
        assert len(begun) == 2
    async with writing(demo, tmp_path / "restarted") as service:
        assert (await service.client.get("/v1/export")).content == first[0].content
    assert len(begun) == (2 if demo.is_sqlite else 3), "kept beside the database file, if there is one"
    if demo.is_sqlite:
        folder = Path(str(demo.url.database)).parent / "exports"
        assert [path.name for path in folder.iterdir()] == [first[0].headers["etag"].removeprefix('"export.')[:-1]]


async def test_an_export_that_cannot_be_stored_is_no_fault_of_the_client(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = child.run

    async def elsewhere(settings: Settings, command: str, path: str, *options: str, timeout_s: float) -> dict[str, Any]:
        return await run(settings, command, f"{path}/missing/{Path(path).name}", *options, timeout_s=timeout_s)

    async with writing(demo, tmp_path) as service:
        monkeypatch.setattr(child, "run", elsewhere)
        refused = await service.client.get("/v1/export")
        assert refused.status_code == 503, refused.text
        assert str(tmp_path) not in refused.text
        monkeypatch.setattr(child, "run", run)
        assert (await service.client.get("/v1/export")).status_code == 200


async def test_another_history_with_the_same_number_is_another_export(fresh_database: Fresh, tmp_path: Path) -> None:
    """A catalogue that was restored and then changed differently has other rows at the same revision number."""
    found = []
    with fresh_database("sqlite", False) as url:
        for name in ("One", "Other"):
            database = Database(url)
            store(database, [Maker(id="maker-a", name=name)])
            async with writing(database, tmp_path / name) as service:
                answer = await service.client.get("/v1/export")
                found.append((answer.headers["legwork-revision"], answer.headers["etag"], answer.content))
            database.close()
            Path(url.removeprefix("sqlite:///")).unlink()
            remade = Database(url)
            migrate(remade, "catalogue")
            remade.close()
    (one, etag, content), (other, its_etag, its_content) = found
    assert one == other == "1"
    assert etag != its_etag
    assert content != its_content


async def test_an_export_whose_readers_have_all_left_is_given_up(tmp_path: Path) -> None:
    work: SharedWork[int] = SharedWork()
    ended: list[str] = []

    async def slow() -> int:
        try:
            await asyncio.sleep(60)
        finally:
            ended.append("ended")
        return 1

    one, two = (asyncio.create_task(work.result("x", slow)) for _ in range(2))
    await asyncio.sleep(0.01)
    one.cancel()
    await asyncio.sleep(0.01)
    assert ended == []
    two.cancel()
    await asyncio.sleep(0.01)
    assert ended == ["ended"]

    async def quick() -> int:
        return 2

    assert await work.result("x", quick) == 2, "who comes then starts again"


def test_kept_exports_are_bounded_in_number_and_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    long_ago = time.time() - 7_200
    for number in range(12):
        path = tmp_path / f"r{number}-x-f1.zip"
        path.write_bytes(b"x" * 1_000)
        os.utime(path, (long_ago + number, long_ago))
    (tmp_path / "part-abandoned.zip").write_bytes(b"x")
    os.utime(tmp_path / "part-abandoned.zip", (long_ago, long_ago))
    (tmp_path / "part-new.zip").write_bytes(b"x")
    (tmp_path / "r12-x-f1.sqlite").write_bytes(b"x" * 9_000)  # requested just now, and larger than the whole allowance
    kept_exports.prune(tmp_path)
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {"part-new.zip", "r12-x-f1.sqlite", *(f"r{number}-x-f1.zip" for number in range(5, 12))}
    monkeypatch.setattr(kept_exports, "MOST_BYTES", 2_500)
    kept_exports.prune(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {"part-new.zip", "r12-x-f1.sqlite"}
