"""kill -9 while drafts are loaded: the catalogue is the old or the new one, and each draft knows which.

LEGWORK_TEST_KILLS sets how often."""

import contextlib
import random
import threading
import time
from pathlib import Path

import httpx
import pytest

from app.access import keys
from app.access.keys import Caller
from app.database.connections import Database
from app.drafts import kept, load
from app.drafts.delimited import read_pasted
from app.drafts.kept import DraftChange
from tests.conftest import Fresh
from tests.drafts.drafting import CITED, hash_of
from tests.killed import Served, kills, served

ALONE = {"LEGWORK_SECOND_READER": "false"}


def torque(number: int) -> str:
    """A table with one torque that differs from draft to draft."""
    return f"Bolt;Torque (in-lb)\nAxle;{90 + number % 40}"


def new_draft(service: Served, number: int) -> tuple[str, str]:
    """A draft that is ready to be loaded: its id and tag."""
    started = service.client.post("/v1/drafts", json={"answers": {**CITED, "page": "12"}})
    id, tag = started.json()["draft"]["id"], started.headers["etag"]
    answer = service.client.post(
        f"/v1/drafts/{id}/grids", content=torque(number), headers={"If-Match": tag, "Content-Type": "text/plain"}
    )
    assert answer.json()["open"] == [], answer.text
    return id, answer.headers["etag"]


def settled(service: Served) -> int:
    """Waits until interrupted drafts are settled, right after the start; returns the number of loaded drafts."""
    deadline = time.monotonic() + 10
    while True:
        latest = service.client.get("/v1/revisions/latest").json()["revision"]
        drafts = service.client.get("/v1/drafts").json()["drafts"]
        loaded = sorted(each["loaded"] for each in drafts if "loaded" in each)
        if loaded == list(range(2, latest + 1)):
            return len(loaded)
        assert time.monotonic() < deadline, f"revision {latest}, but the drafts are loaded as {loaded}"
        time.sleep(0.1)


@pytest.mark.timeout(120 + 90 * kills(1))
def test_a_draft_that_was_being_loaded_knows_whether_it_was(
    fresh_database: Fresh, shop: Database, tmp_path: Path
) -> None:
    """There is one draft for each revision after the demo: none is lost, and none was loaded in part or twice."""
    chance = random.Random(9)
    token = str(keys.add(shop, "office", ["edit"]).token)
    shop_url = shop.url.render_as_string(hide_password=False)
    number, acknowledged, took = 0, 0, 0.5
    with fresh_database("sqlite", True) as url:
        for kill in range(kills(1) + 1):
            with served(url, shop_url, token, **ALONE) as service:
                assert settled(service) >= acknowledged
                number += 1
                id, tag = new_draft(service, number)
                if kill == 0:  # how long it takes when nothing is killed
                    begun = time.monotonic()
                    acknowledged += load_it(service, id, tag)
                    took = time.monotonic() - begun
                    number += 1
                    id, tag = new_draft(service, number)
                if kill == kills(1):
                    acknowledged += load_it(service, id, tag)
                    break
                killer = threading.Timer(chance.uniform(0, took), service.kill)
                killer.start()
                with contextlib.suppress(httpx.TransportError):
                    acknowledged += load_it(service, id, tag)
                killer.join()
        assert acknowledged >= 2
    print(f"{kills(1)} kills, {number} drafts, {acknowledged} acknowledged")


def load_it(service: Served, id: str, tag: str) -> int:
    """Load a draft; 1 if that was acknowledged."""
    done = service.client.post(f"/v1/drafts/{id}/load", json={}, headers={"If-Match": tag})
    assert done.status_code == 201, done.text
    return 1


class Killed(BaseException):
    """Stands for the end of the process."""


def test_a_kill_between_the_two_databases_is_found_at_the_start(
    fresh_database: Fresh, shop: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    office = Caller("0123456789ab", "office", frozenset(["edit"]), "left")
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        before = hash_of(database)
        draft, _ = kept.open_draft(shop, office, "torques", {"kind": "empty"}, {**CITED, "page": "12"})
        wanted = DraftChange(grids=(read_pasted(torque(1), "table"),))
        draft, _ = kept.change(shop, office, draft.id, wanted, {1}, lambda grids, content: {})

        def killed(*_: object) -> None:
            raise Killed

        monkeypatch.setattr(kept, "end_loading", killed)
        with pytest.raises(Killed):
            load.load_draft(shop, database, "left", draft.id, {2}, "torques", "office", second_reader=False)
        monkeypatch.undo()
        assert hash_of(database) != before
        left = kept.held(shop, "left", draft.id)
        assert (left.loaded, left.loading_at is not None) == (None, True)
        load.settle_interrupted(shop, database)
        assert kept.held(shop, "left", draft.id).loaded == 2
        again = load.load_draft(shop, database, "left", draft.id, {2}, "torques", "office", second_reader=False)
        assert (again.head.number, again.replayed) == (2, True)
        database.close()
