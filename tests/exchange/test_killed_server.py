"""kill -9 of the server at random moments while it is edited: what was acknowledged is there, nothing is half there.

LEGWORK_TEST_KILLS sets how often: 50 is what is promised.
"""

import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx
import pytest

from app.access import keys
from app.catalogue.catalogue import Catalogue
from app.catalogue.history import recorded
from app.database.connections import Database
from app.database.migrating import migrate
from app.exchange.loading import Entry, load
from tests.conftest import SEED_DATA
from tests.exchange.test_mirror import latest

KILLS = int(os.environ.get("LEGWORK_TEST_KILLS", "4"))
ROWS = 4  # of one edit: all of them or none


class Served:
    """The server as a process; `client` asks it with the key of an editor."""

    def __init__(self, folder: Path, token: str) -> None:
        given = {
            "LEGWORK_DATABASE_URL": f"sqlite:///{folder / 'legwork.db'}",
            "LEGWORK_SHOP_DATABASE_URL": f"sqlite:///{folder / 'shop.db'}",
            "LEGWORK_WRITE_RATE": "100000/minute",
        }
        self.process = subprocess.Popen(
            [sys.executable, "-m", "app", "serve", "--port", "0"], env={**os.environ, **given}, text=True,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        )  # fmt: skip
        assert self.process.stderr is not None
        line = self.process.stderr.readline()
        assert "Legwork answers at" in line, line
        threading.Thread(target=self.process.stderr.read, daemon=True).start()
        headers = {"Authorization": f"Bearer {token}"}
        self.client = httpx.Client(base_url=line.split()[-1], headers=headers, timeout=60)

    def kill(self) -> None:
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.wait(20)

    def edit(self, number: int) -> int:
        """One edit of ROWS rows that say `number`; returns the revision that was acknowledged."""
        changes = [
            {"table": "makers", "op": "put", "row": {"id": f"maker-{place}", "name": f"edit {number}"}}
            for place in range(ROWS)
        ]
        body = {"changes": changes, "reason": f"edit {number}"}
        answer = self.client.post("/v1/imports", json=body, headers={"Idempotency-Key": f"edit-{number:06}"})
        assert answer.status_code == 201, answer.text
        return int(answer.json()["revision"])


@pytest.mark.timeout(120 + 90 * KILLS)
def test_what_was_acknowledged_survives_a_kill_and_nothing_is_half_there(tmp_path: Path) -> None:
    chance = random.Random(9)
    catalogue, shop = (Database(f"sqlite:///{tmp_path / name}") for name in ("legwork.db", "shop.db"))
    migrate(catalogue, "catalogue")
    migrate(shop, "shop")
    assert load(catalogue, SEED_DATA, Entry("the demo", "tests"))["accepted"]
    token = str(keys.add(shop, "bench 1", ["edit"]).token)
    catalogue.close()
    acknowledged: dict[int, int] = {}  # edit → revision
    number = 0
    for _ in range(KILLS):
        served = Served(tmp_path, token)
        if number:  # sent again after the kill: done once, whether it was or was not
            acknowledged[number] = served.edit(number)
        kill = threading.Timer(chance.uniform(0.05, 1.5), served.kill)
        kill.start()
        try:
            while True:
                number += 1
                acknowledged[number] = served.edit(number)
        except httpx.TransportError:
            pass
        kill.join()
        assert_whole(tmp_path, acknowledged, number)
    assert len(acknowledged) >= KILLS
    served = Served(tmp_path, token)
    acknowledged[number] = served.edit(number)
    feed = _feed(served.client)
    served.client.close()
    served.process.terminate()
    assert served.process.wait(30) == 0
    assert sorted({change["revision"] for change in feed}) == list(range(1, number + 2))
    for edit, revision in acknowledged.items():
        said = [change for change in feed if change["revision"] == revision]
        assert [change["row"]["name"] for change in said] == [f"edit {edit}"] * ROWS
    with shop.read() as connection:
        done = connection.exec_driver_sql("SELECT revision FROM audit WHERE done").scalars().all()
        begun = connection.exec_driver_sql("SELECT count(*) FROM audit WHERE status = 0").scalar()
    assert set(acknowledged.values()) <= set(done)
    assert begun is not None
    assert begun <= KILLS
    shop.close()


def assert_whole(folder: Path, acknowledged: dict[int, int], tried: int) -> None:
    """Looked at as the kill left it, before any server is started on it again."""
    with closing(sqlite3.connect(folder / "legwork.db")) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    database = Database(f"sqlite:///{folder / 'legwork.db'}")
    last = latest(database)
    assert max(acknowledged.values(), default=1) <= last <= tried + 1
    with Catalogue(database).at() as at:
        revisions = recorded(at, range(1, last + 1))
        assert sorted(revisions) == list(range(1, last + 1))
        assert all(revisions[revision].reason == f"edit {edit}" for edit, revision in acknowledged.items())
        touched = at.connection.exec_driver_sql(
            "SELECT revision_from, count(*), count(DISTINCT name), max(name) FROM makers WHERE id LIKE 'maker-_'"
            " GROUP BY revision_from"
        ).all()
    assert [tuple(row) for row in touched] == [(n, ROWS, 1, revisions[n].reason) for n in range(2, last + 1)]
    database.close()


def _feed(client: httpx.Client) -> list[dict[str, Any]]:
    page = client.get("/v1/changes?limit=1000").json()
    changes: list[dict[str, Any]] = page["changes"]
    while "next" in page:
        page = client.get(page["next"]).json()
        changes += page["changes"]
    return changes
