"""The whole catalogue on the wire: a package, a SQLite file, one hash; each the same for the same revision."""

import csv
import hashlib
import io
import json
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import TABLES, Maker
from app.database.connections import Database
from app.database.migrating import migrate
from app.exchange import child
from app.exchange.content_hash import content_hash
from app.exchange.loading import Entry, load
from app.web.routes import exports
from tests.api.asking import asking
from tests.api.writing import writing
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
        monkeypatch.setattr(exports, "format_tag", lambda: "01234567")  # a build with another column
        other = await service.client.get("/v1/export?revision=1", headers=known)
        assert (other.status_code, other.headers["etag"]) == (200, '"export.01234567.1.zip"')
        part = await service.client.get("/v1/export?revision=1", headers={"Range": "bytes=1000-1999"})
        assert (part.status_code, part.content) == (206, first.content[1000:2000])  # a cut download goes on
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


async def test_a_sqlite_file_answers_as_the_catalogue_does_at_that_revision(demo: Database, tmp_path: Path) -> None:
    store(demo, [Maker(id="brand-new", name="Brand New")])
    async with writing(demo, tmp_path) as service:
        sent = await service.client.get("/v1/export.sqlite")
        assert sent.headers["content-type"] == "application/vnd.sqlite3"
        path = tmp_path / "offline.sqlite"
        path.write_bytes(sent.content)
        with closing(sqlite3.connect(path)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert connection.execute("SELECT name FROM makers WHERE id = 'brand-new'").fetchall() == [("Brand New",)]
        offline = Database(f"sqlite:///{path}")
        async with asking(offline) as client:
            for address in ("/v1/revisions/latest", "/v1/torques?limit=1000", "/v1/chassis?q=crock"):
                theirs, ours = (await service.client.get(address)).json(), (await client.get(address)).json()
                for answer in (theirs, ours):
                    answer.get("recorded", {}).pop("added", None)  # of a copy: all that it holds
                assert ours == theirs
            findings = [(await each.get("/v1/findings?limit=1000")).json() for each in (client, service.client)]
        assert findings[0]["total"] == findings[1]["total"] > 0
        offline.close()
        assert_problem(await service.client.get("/v1/export.sqlite?revision=9"), 422)
        empty = await service.client.get("/v1/export.sqlite?revision=0")
        (tmp_path / "empty.sqlite").write_bytes(empty.content)
        with closing(sqlite3.connect(tmp_path / "empty.sqlite")) as connection:
            counts = [connection.execute(f"SELECT count(*) FROM {name}").fetchone() for name in ("revisions", *TABLES)]
        assert set(counts) == {(0,)}


async def test_only_so_many_children_work_at_once(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(child, "MOST_AT_ONCE", 0)
    async with writing(demo, tmp_path) as service:
        for address in ("/v1/export", "/v1/export.sqlite", "/v1/content-hash"):
            refused = await service.client.get(address)
            assert_problem(refused, 503)
            assert refused.headers["retry-after"] == "5"
