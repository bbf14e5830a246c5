"""kill -9 at random moments of a service that takes edits or packages: every acknowledged write is there, and none in
part.

LEGWORK_TEST_KILLS sets how often."""

import io
import random
import sqlite3
import threading
import time
import zipfile
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx
import pytest

from app.access import keys
from app.catalogue.catalogue import Catalogue
from app.catalogue.history import recorded
from app.catalogue.tables import Maker
from app.database.connections import Database
from tests.api.writing import shop_beside
from tests.conftest import Fresh
from tests.killed import Served, kills, served

ROWS = {"edits": 4, "packages": 1_000}
"""Rows of one write: all of them or none."""


def write(service: Served, what: str, number: int) -> int:
    """One write of rows that contain `number`; returns the acknowledged revision."""
    rows = [{"id": f"maker-{place:04}", "name": f"write {number}"} for place in range(ROWS[what])]
    again = {"Idempotency-Key": f"write-{number:06}"}
    if what == "edits":
        body = {"changes": [{"table": "makers", "op": "put", "row": row} for row in rows], "reason": f"write {number}"}
        answer = service.client.post("/v1/imports", json=body, headers=again)
    else:
        content = io.BytesIO()
        with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as package:
            lines = "".join(f"{row['id']},{row['name']}\n" for row in rows)
            package.writestr(zipfile.ZipInfo("makers.csv"), f"id,name\n{lines}")  # a repeated request has equal bytes
        answer = service.client.post(
            f"/v1/imports?reason=write {number}", content=content.getvalue(),
            headers={**again, "Content-Type": "application/zip"},
        )  # fmt: skip
    assert answer.status_code == 201, answer.text
    return int(answer.json()["revision"])


@pytest.mark.parametrize(
    ("what", "engine", "times"),
    [("edits", "sqlite", 6), ("packages", "sqlite", 3), ("edits", "postgresql", 1), ("packages", "postgresql", 2)],
)
@pytest.mark.timeout(120 + 90 * kills(6))
def test_what_was_acknowledged_survives_a_kill_and_nothing_is_half_there(
    fresh_database: Fresh, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, what: str, engine: str, times: int
) -> None:
    """Every other time only the service process is killed: an import that it started runs to its end or is
    rolled back."""
    monkeypatch.setenv("TMPDIR", str(tmp_path))  # the folder for incoming packages
    chance = random.Random(9)
    times = kills(times)
    acknowledged: dict[int, int] = {}  # write → revision
    number, took = 0, 0.1
    with fresh_database(engine, True) as url, shop_beside(url, tmp_path) as shop:
        token = str(keys.add(shop, "bench 1", ["edit"]).token)
        shop_url = shop.url.render_as_string(hide_password=False)
        database = Database(url)
        for kill in range(times):
            with served(url, shop_url, token) as service:
                begun = time.monotonic()  # sent again after the kill: done exactly once
                number = max(number, 1)
                acknowledged[number] = write(service, what, number)
                took = max(took, time.monotonic() - begun) if kill == 0 else took
                timer = threading.Timer(
                    chance.uniform(0, 1.5 * took), service.kill, kwargs={"children": what == "packages" and kill % 2}
                )
                timer.start()
                try:
                    while True:
                        number += 1
                        acknowledged[number] = write(service, what, number)
                except httpx.TransportError:
                    timer.join()
            assert_whole(database, acknowledged, number, ROWS[what])
        with served(url, shop_url, token) as service:
            acknowledged[number] = write(service, what, number)
            last = assert_whole(database, acknowledged, number, ROWS[what])
            assert last == number + 1
            if what == "edits":
                assert_feed(service.client, acknowledged)
            service.process.terminate()
            service.process.join(30)
            assert service.process.exitcode == 0
        with shop.read() as connection:
            done = connection.exec_driver_sql("SELECT revision FROM audit WHERE done").scalars().all()
            begun_only = connection.exec_driver_sql("SELECT count(*) FROM audit WHERE status = 0").scalar_one()
        assert set(acknowledged.values()) <= set(done)
        assert begun_only <= times
        database.close()
    print(f"{times} kills, {what} on {engine}: {number} writes, {len(acknowledged)} acknowledged")
    assert len(acknowledged) >= times // 2, "too few were acknowledged to tell"


def assert_whole(database: Database, acknowledged: dict[int, int], tried: int, rows: int) -> int:
    """Inspects the database as the kill left it, before any server starts on it again; returns the latest revision."""
    if database.path is not None:
        with closing(sqlite3.connect(database.path)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    with Catalogue(database).snapshot() as snapshot:
        last = snapshot.revision
        assert max(acknowledged.values(), default=1) <= last <= tried + 1
        revisions = recorded(snapshot, range(1, last + 1))
        assert sorted(revisions) == list(range(1, last + 1))
        assert all(revisions[revision].reason == f"write {number}" for number, revision in acknowledged.items())
        touched = snapshot.connection.exec_driver_sql(
            "SELECT revision_from, count(*), count(DISTINCT name), max(name) FROM makers WHERE id LIKE 'maker-____'"
            f" AND revision_from <= {last} GROUP BY revision_from ORDER BY revision_from"
        ).all()
        assert sum(maker.id.startswith("maker-") for maker in snapshot.all(Maker)) == (rows if last > 1 else 0)
    assert [tuple(row) for row in touched] == [(n, rows, 1, revisions[n].reason) for n in range(2, last + 1)]
    return last


def assert_feed(client: httpx.Client, acknowledged: dict[int, int]) -> None:
    """The feed has no hole, and contains every write as a whole."""
    page = client.get("/v1/changes?limit=1000").json()
    changes: list[dict[str, Any]] = page["changes"]
    while "next" in page:
        page = client.get(page["next"]).json()
        changes += page["changes"]
    numbers = sorted({change["revision"] for change in changes})
    assert numbers == list(range(1, len(numbers) + 1))
    for number, revision in acknowledged.items():
        said = [change["row"]["name"] for change in changes if change["revision"] == revision]
        assert said == [f"write {number}"] * ROWS["edits"]
