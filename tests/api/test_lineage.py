"""Two histories are never taken for one: in the feed, cursors, tags of edits, the answer cache, exports and copies.

The lineage is computed here a second time, as its description says: SHA-256 (FIPS 180-4, from the standard library)
over the JSON of the lineage before and the record.
"""

import hashlib
import json
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import text

from app.catalogue.catalogue import Catalogue
from app.catalogue.content_hash import content_hash
from app.catalogue.tables import Interval, Maker, Row
from app.database.connections import Database
from app.database.migrating import bring_down, migrate
from tests.api.asking import asking
from tests.api.writing import writing
from tests.problems import assert_problem
from tests.questions.storing import store

pytestmark = pytest.mark.anyio

BEGINNING = "0" * 16


def again(records: list[dict[str, Any]]) -> list[str]:
    """The lineages of revisions 1, 2, 3 … from their records."""
    lineage, found = BEGINNING, []
    for each in records:
        given = [lineage, each["number"], each["recorded_at"], each["reason"], each["who"]]
        line = json.dumps(given, ensure_ascii=False, separators=(",", ":"))
        lineage = hashlib.sha256(line.encode()).hexdigest()[:16]
        found.append(lineage)
    return found


def maker(number: int, name: str) -> Row:
    return Maker.checked(id=f"m{number}", name=name)


def roll_back(database: Database, to: int) -> None:
    """Leave a catalogue as a restored backup does: without anything that came after that revision."""
    tables = [Maker.table, Interval.table]
    with database.write() as connection:
        for table in tables:
            connection.execute(text(f"DELETE FROM {table} WHERE revision_from > {to}"))
            connection.execute(text(f"UPDATE {table} SET revision_to = 2147483647 WHERE revision_to > {to}"))
        connection.execute(text(f"DELETE FROM revisions WHERE number > {to}"))


async def lineages(client: httpx.AsyncClient) -> tuple[list[str], list[dict[str, Any]]]:
    records = (await client.get("/v1/revisions")).json()["revisions"][::-1]
    return [each["lineage"] for each in records], records


async def test_it_is_chained_over_the_records_and_is_in_the_feed(database: Database) -> None:
    async with asking(database) as client:
        assert (await client.get("/v1/changes")).json()["lineage"] == BEGINNING
        for number in range(1, 4):
            store(database, [maker(number, f"Maker „{number}“")])
        given, records = await lineages(client)
        assert given == again(records)
        assert len(set(given)) == 3
        feed = (await client.get("/v1/changes?after=2")).json()
        assert (feed["revision"], feed["lineage"]) == (3, given[2])
        latest = (await client.get("/v1/revisions/latest")).json()["recorded"]
        assert (latest["number"], latest["lineage"]) == (3, given[2])


async def test_a_schema_without_it_gets_it_for_every_revision(database: Database) -> None:
    for number in range(1, 5):
        store(database, [maker(number, f"Maker {number}")])
    async with asking(database) as client:
        before, records = await lineages(client)
    bring_down(database, "catalogue", "0004")
    migrate(database, "catalogue")
    async with asking(database) as client:
        assert await lineages(client) == (before, records)


async def test_a_copy_that_has_seen_another_history_is_told_to_start_again(database: Database) -> None:
    async with asking(database) as client:
        for number in range(1, 4):
            store(database, [maker(number, f"Maker {number}")])
        feed = (await client.get("/v1/changes?limit=1")).json()
        kept = {"after": feed["revision"], "lineage": feed["lineage"]}
        assert (await client.get("/v1/changes", params=kept)).json()["changes"] == []
        roll_back(database, 1)
        for params in (kept, {"after": 3}):
            refused = assert_problem(await client.get("/v1/changes", params=params), 409, code="lineage-unknown")
            assert "start again" in refused["detail"]
        for number in (4, 5):
            store(database, [maker(number, f"Maker {number}")])
        assert_problem(await client.get("/v1/changes", params=kept), 409, code="lineage-unknown")
        assert_problem(await client.get(feed["next"]), 409, code="lineage-unknown")
        given, _ = await lineages(client)
        shared = {"after": 1, "lineage": given[0]}
        assert [each["id"] for each in (await client.get("/v1/changes", params=shared)).json()["changes"]] == [
            "m4",
            "m5",
        ]
        pinned = {"after": 3, "revision": 1}
        assert (await client.get("/v1/changes", params=pinned)).json()["changes"] == []
        for wrong in ("x", "0" * 15, "G" * 16):
            assert_problem(await client.get("/v1/changes", params={"after": 1, "lineage": wrong}), 422)


@pytest.mark.parametrize("address", ["/v1/makers?limit=1", "/v1/makers?limit=1&q=Maker", "/v1/revisions?limit=1"])
async def test_a_cursor_goes_on_only_in_its_own_history(database: Database, address: str) -> None:
    async with asking(database) as client:
        for number in range(1, 4):
            store(database, [maker(number, f"Maker {number}")])
        page = (await client.get(address)).json()
        roll_back(database, 2)
        store(database, [maker(9, "Maker 9")])
        assert_problem(await client.get(page["next"]), 409, code="lineage-unknown")


async def test_nothing_cached_outlives_a_roll_back_to_the_same_number(database: Database) -> None:
    """A torque wrench set to a figure that was rolled back would be the worst of it."""
    store(database, [maker(1, "Maker 1")])
    async with asking(database) as client:
        for name in ("Old", "New"):
            store(database, [maker(1, name), maker(2, name)])
            for address in ("/v1/makers/m1", "/v1/makers", f"/v1/makers?q={name}", "/v1/makers/m2"):
                for _ in range(2):
                    answer = await client.get(address)
                    assert name in answer.text, address
            tag = answer.headers["etag"]
            assert (await client.get("/v1/makers/m2", headers={"If-None-Match": tag})).status_code == 304
            roll_back(database, 1)
            Catalogue(database).look_again()
        store(database, [maker(1, "Third"), maker(2, "Third")])
        assert (await client.get("/v1/makers/m2", headers={"If-None-Match": tag})).status_code == 200


async def test_a_row_has_a_digest_over_its_lines_of_the_content_hash(database: Database) -> None:
    """A catalogue of one row: its digest is the content hash."""
    store(database, [Maker.checked(id="m", name="Größe ½", as_printed="„Größe“")])
    async with asking(database) as client:
        change = (await client.get("/v1/changes")).json()["changes"][0]
    with Catalogue(database).snapshot() as snapshot:
        assert change["digest"] == content_hash(snapshot)
    lines = "".join(
        json.dumps(["makers", "m", name, value], ensure_ascii=False, separators=(",", ":")) + "\n"
        for name, value in sorted(change["row"].items())
    )
    assert change["digest"] == hashlib.sha256(lines.encode()).hexdigest()


async def test_an_edit_names_a_version_of_its_own_history(demo: Database, tmp_path: Path) -> None:
    """A revision number of another history names another version, whatever it says."""
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        tag = tag.removeprefix("W/")  # weakened by compression
        address, lineage = f"/v1/statements/{row['id']}", tag[4:20]
        assert tag.startswith(f'"r1-{lineage}.')
        put = {"table": "torques", "op": "put", "row": {**row, "value": "136"}, "reason": "read again"}
        for stale in (tag.replace(lineage, "f" * 16), tag.replace(f"-{lineage}", "")):
            refused = await service.client.put(address, json=put, headers={"If-Match": stale})
            assert assert_problem(refused, 412)["current"] == f'"r1-{lineage}.present"'
        done = await service.client.put(address, json=put, headers={"If-Match": tag})
        assert done.headers["etag"] == f'"r2-{done.json()["lineage"]}.new"'
        exported = await service.client.get("/v1/export")
        assert done.json()["lineage"] in exported.headers["etag"]
