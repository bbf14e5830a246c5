"""A service that is killed at any moment has every job it said it had recorded, and none in part.

LEGWORK_TEST_KILLS sets how often: 50 is what is promised.
"""

import contextlib
import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import httpx
import pytest

from app.access import keys
from app.database.connections import Database
from app.database.migrating import migrate
from tests.bench.working import FORK
from tests.conftest import Fresh

KILLS = int(os.environ.get("LEGWORK_TEST_KILLS", "4"))
ROOT = Path(__file__).parents[2]


@pytest.mark.timeout(120 + 90 * KILLS)
def test_what_was_acknowledged_is_there_after_a_kill(fresh_database: Fresh, tmp_path: Path) -> None:
    shop_url = f"sqlite:///{tmp_path / 'shop.db'}"
    shop = Database(shop_url)
    migrate(shop, "shop")
    key = {"Authorization": f"Bearer {keys.add(shop, 'bench', ['bench']).token}"}
    shop.close()
    chance = random.Random(9)
    acknowledged: dict[str, dict[str, Any]] = {}
    sent: set[str] = set()
    with fresh_database("sqlite", True) as url:
        with running(url, shop_url) as (client, _):
            fork = client.post("/v1/forks", json=dict(FORK), headers=key).json()["fork"]["id"]
        for kill in range(KILLS):
            with running(url, shop_url) as (client, process):
                killer = threading.Timer(chance.uniform(0.0, 0.6), process.send_signal, [signal.SIGKILL])
                if kill % 2:  # in the first write, or before it
                    killer.start()
                with contextlib.suppress(httpx.TransportError):  # the service is gone
                    for number in range(10_000):
                        note = f"{kill}-{number}"
                        sent.add(note)
                        body = {"job": "lower-leg-service", "note": note, "fitted": {"spacers": number % 4}}
                        answer = client.post(f"/v1/forks/{fork}/services", json=body, headers=key)
                        assert answer.status_code == 201, answer.text
                        acknowledged[note] = answer.json()["service"]
                        if number == 0 and kill % 2 == 0:  # or once one is recorded, however slow the machine is
                            killer.start()
        with running(url, shop_url) as (client, _):
            found = client.get(f"/v1/forks/{fork}/services", headers=key).json()["services"]
            present = client.get(f"/v1/forks/{fork}", headers=key).json()["fork"]["configuration"]
    there = {service["note"]: service for service in found}
    print(f"{KILLS} kills, {len(sent)} jobs sent, {len(acknowledged)} acknowledged, {len(found)} there")
    assert len(acknowledged) >= KILLS // 2, "too few were recorded to tell"
    assert {note: there.get(note) for note in acknowledged} == acknowledged
    assert there.keys() <= sent
    assert [service["number"] for service in found] == list(range(1, len(found) + 1))
    assert present == found[-1]["configuration"], "a job was recorded and the fork not changed by it, or the reverse"


@contextlib.contextmanager
def running(url: str, shop_url: str) -> Any:
    """A service in a process of its own, and a client of it."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    environment = {
        **os.environ, "LEGWORK_DATABASE_URL": url, "LEGWORK_SHOP_DATABASE_URL": shop_url,
        "LEGWORK_WRITE_RATE": "100000/minute",
    }  # fmt: skip
    command = [sys.executable, "-m", "app", "serve", "--port", str(port)]
    process = subprocess.Popen(command, env=environment, cwd=ROOT, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    try:
        with httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=30) as client:
            deadline = time.monotonic() + 120
            while True:
                with contextlib.suppress(httpx.TransportError):
                    if client.get("/readyz").status_code == 200:
                        break
                assert process.poll() is None, "the service ended"
                assert time.monotonic() < deadline, "the service did not start"
                time.sleep(0.05)
            yield client, process
    finally:
        process.kill()
        process.wait()
