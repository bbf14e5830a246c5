"""A service killed at any moment keeps every job and every change of a work order that it acknowledged, and no partial
one.

LEGWORK_TEST_KILLS sets how often."""

import contextlib
import random
import threading
from pathlib import Path
from typing import Any

import httpx
import pytest

from app.access import keys
from tests.api.writing import shop_beside
from tests.bench.working import CHASSIS, FORK
from tests.conftest import Fresh
from tests.killed import Served, kills, served

LIMIT = 120 + 90 * kills(6)


@pytest.mark.timeout(LIMIT)
@pytest.mark.parametrize(("engine", "few"), [("sqlite", 5), ("postgresql", 1)])
def test_what_was_acknowledged_is_there_after_a_kill(
    fresh_database: Fresh, tmp_path: Path, engine: str, few: int
) -> None:
    times = kills(few)
    chance = random.Random(9)
    acknowledged: dict[str, dict[str, Any]] = {}
    sent: set[str] = set()
    with fresh_database(engine, True) as url, shop_beside(url, tmp_path) as shop:
        shop_url = shop.url.render_as_string(hide_password=False)
        token = str(keys.add(shop, "bench", ["bench"]).token)
        with served(url, shop_url, token) as service:
            fork = service.client.post("/v1/forks", json=dict(FORK)).json()["fork"]["id"]
        for kill in range(times):
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
    print(f"{times} kills on {engine}: {len(sent)} jobs sent, {len(acknowledged)} acknowledged, {len(found)} there")
    assert len(acknowledged) >= times // 2, "too few were recorded to tell"
    assert {note: there.get(note) for note in acknowledged} == acknowledged
    assert there.keys() <= sent
    assert [service["number"] for service in found] == list(range(1, len(found) + 1))
    assert present == found[-1]["configuration"], "a job was recorded and the fork not changed by it, or the reverse"


class Orders:
    """Work orders that are started, ticked and recorded one after another, and their state as last acknowledged."""

    def __init__(self, fork: str) -> None:
        self.card = {"chassis": CHASSIS, "job": "lower-leg-service", "fork": fork}
        self.acknowledged: dict[str, dict[str, Any]] = {}
        self.services: set[int] = set()
        self.under_way: str | None = None
        self.answers = 0

    def one(self, service: Served, name: str) -> None:
        """Start an order, tick two steps of it, and record every second one."""
        self.under_way = None
        id = self._keep(service, "POST", "/v1/work-orders", {"card": self.card, "order_number": name})
        for step in ("1", "2"):
            self._keep(service, "PATCH", f"/v1/work-orders/{id}", {"ticks": {step: True}})
        if len(self.acknowledged) % 2:
            answer = service.client.post(f"/v1/work-orders/{id}/record", json={})
            assert answer.status_code == 201, answer.text
            self.services.add(answer.json()["service"]["number"])
            self.answers += 1

    def _keep(self, service: Served, method: str, path: str, body: dict[str, Any]) -> str:
        answer = service.client.request(method, path, json=body)
        assert answer.status_code in (200, 201), answer.text
        order = answer.json()["order"]
        self.acknowledged[order["id"]] = order
        self.under_way = str(order["id"])
        self.answers += 1
        return self.under_way


@pytest.mark.timeout(LIMIT)
@pytest.mark.parametrize(("engine", "few"), [("sqlite", 2), ("postgresql", 1)])
def test_work_orders_are_as_acknowledged_after_a_kill(
    fresh_database: Fresh, tmp_path: Path, engine: str, few: int
) -> None:
    times = kills(few)
    chance = random.Random(4)
    may_be_further: set[str] = set()
    with fresh_database(engine, True) as url, shop_beside(url, tmp_path) as shop:
        shop_url = shop.url.render_as_string(hide_password=False)
        token = str(keys.add(shop, "bench", ["bench"]).token)
        with served(url, shop_url, token) as service:
            orders = Orders(service.client.post("/v1/forks", json=dict(FORK)).json()["fork"]["id"])
        for kill in range(times):
            with served(url, shop_url, token) as service:
                orders.one(service, f"{kill}-first")  # however slow the machine is
                killer = threading.Timer(chance.uniform(0.0, 0.6), service.kill)
                killer.start()
                with contextlib.suppress(httpx.TransportError):  # the service is gone
                    for number in range(1_000):
                        orders.one(service, f"{kill}-{number}")
                may_be_further |= {orders.under_way} if orders.under_way else set()
        with served(url, shop_url, token) as service:
            there = {
                id: service.client.get(f"/v1/work-orders/{id}").json()["order"] for id in orders.acknowledged
            }  # fmt: skip
            jobs = service.client.get(f"/v1/forks/{orders.card['fork']}/services").json()["services"]
            total = service.client.get("/v1/work-orders").json()["total"]
    print(f"{times} kills on {engine}: {orders.answers} answers acknowledged, {len(there)} orders, {len(jobs)} jobs")
    for id, before in orders.acknowledged.items():
        beyond = there[id]["version"] - before["version"]
        assert beyond == 0 or (beyond == 1 and id in may_be_further), (before, there[id])
        assert set(before["ticks"]) <= set(there[id]["ticks"])
        assert there[id]["order_number"] == before["order_number"]
    recorded = [order["service"] for order in there.values() if "service" in order]
    assert sorted(recorded) == [job["number"] for job in jobs], "a job without its order, or the reverse"
    assert orders.services <= set(recorded)
    assert len(there) <= total <= len(there) + times
