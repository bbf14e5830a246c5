"""A service killed at any moment keeps every job that it acknowledged, and no partial job.

LEGWORK_TEST_KILLS sets how often."""

import contextlib
import random
import threading
from pathlib import Path
from typing import Any

import httpx
import pytest

from app.access import keys
from app.database.connections import Database
from app.database.migrating import migrate
from tests.bench.working import FORK
from tests.conftest import Fresh
from tests.killed import kills, served

KILLS = kills(8)


@pytest.mark.timeout(120 + 90 * KILLS)
def test_what_was_acknowledged_is_there_after_a_kill(fresh_database: Fresh, tmp_path: Path) -> None:
    shop_url = f"sqlite:///{tmp_path / 'shop.db'}"
    shop = Database(shop_url)
    migrate(shop, "shop")
    token = str(keys.add(shop, "bench", ["bench"]).token)
    shop.close()
    chance = random.Random(9)
    acknowledged: dict[str, dict[str, Any]] = {}
    sent: set[str] = set()
    with fresh_database("sqlite", True) as url:
        with served(url, shop_url, token) as service:
            fork = service.client.post("/v1/forks", json=dict(FORK)).json()["fork"]["id"]
        for kill in range(KILLS):
            with served(url, shop_url, token) as service:
                killer = threading.Timer(chance.uniform(0.0, 0.6), service.kill)
                if kill % 2:  # in the first write, or before it
                    killer.start()
                with contextlib.suppress(httpx.TransportError):  # the service is gone
                    for number in range(10_000):
                        note = f"{kill}-{number}"
                        sent.add(note)
                        body = {"job": "lower-leg-service", "note": note, "fitted": {"spacers": number % 4}}
                        answer = service.client.post(f"/v1/forks/{fork}/services", json=body)
                        assert answer.status_code == 201, answer.text
                        acknowledged[note] = answer.json()["service"]
                        if number == 0 and kill % 2 == 0:  # or once one is recorded, however slow the machine is
                            killer.start()
        with served(url, shop_url, token) as service:
            found = service.client.get(f"/v1/forks/{fork}/services").json()["services"]
            present = service.client.get(f"/v1/forks/{fork}").json()["fork"]["configuration"]
    there = {service["note"]: service for service in found}
    print(f"{KILLS} kills, {len(sent)} jobs sent, {len(acknowledged)} acknowledged, {len(found)} there")
    assert len(acknowledged) >= KILLS // 2, "too few were recorded to tell"
    assert {note: there.get(note) for note in acknowledged} == acknowledged
    assert there.keys() <= sent
    assert [service["number"] for service in found] == list(range(1, len(found) + 1))
    assert present == found[-1]["configuration"], "a job was recorded and the fork not changed by it, or the reverse"
