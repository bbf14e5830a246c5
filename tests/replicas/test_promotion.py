"""A primary that dies under writes, and its replica promoted: acknowledged writes before it, and stored ones after it.

Synchronous: no acknowledged write may be lost. Asynchronous: the last revisions may be, namely those that had not
reached the replica; everything up to some revision is then there. LEGWORK_TEST_PROMOTIONS sets how often each is tried;
run with `-s` to see the counts."""

import os
import random
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import httpx
import pytest

from tests.api.writing import TORQUE
from tests.replicas.conftest import Client, Serving, until
from tests.replicas.servers import Server, either

PROMOTIONS = int(os.environ.get("LEGWORK_TEST_PROMOTIONS", "1"))
ROW = f"/v1/torques/{TORQUE}"


class Editor(threading.Thread):
    """Edits one row again and again, and notes the revision and the time of each acknowledged edit."""

    def __init__(self, client: Client) -> None:
        super().__init__(daemon=True)
        self.client = client
        self.acknowledged: dict[int, tuple[str, float]] = {}
        self.last_begun = 0.0
        """When the last acknowledged write was sent."""
        self.over = False

    def run(self) -> None:
        number = 0
        while not self.over:
            number += 1
            try:
                found = self.client.get(ROW)
                if found.status_code != 200:
                    continue
                begun = time.monotonic()
                answer = self.client.put(found.json()["row"], str(1000 + number), found.headers["etag"])
            except httpx.HTTPError:
                continue  # not acknowledged
            if answer.status_code == 200:
                self.last_begun = begun
                self.acknowledged[answer.json()["revision"]] = (f"page {1000 + number}", time.monotonic())


@contextmanager
def editing(client: Client) -> Iterator[Editor]:
    editor = Editor(client)
    editor.start()
    yield editor
    editor.over = True
    editor.join(90)


def reasons(server: Server) -> dict[int, str]:
    return {
        int(number): str(reason) for number, reason in server.sql("SELECT number, reason FROM revisions", "legwork")
    }


def either_of(primary: Server, replica: Server) -> tuple[str, str]:
    """Catalogue and shop, on whichever of the two is the primary."""
    catalogue, shop = (either(primary, replica, name, target_session_attrs="primary") for name in ("legwork", "shop"))
    return catalogue, shop


def died_under_writes(
    primary: Server, replica: Server, service: Serving, seed: int, *, cut_off: int = 0
) -> tuple[dict[int, tuple[str, float]], float, float]:
    """The writes acknowledged before the primary died, when it died, and how soon after it a write succeeded again.

    The replica is disconnected from it before the last `cut_off` of them."""
    with service(*either_of(primary, replica)) as client:
        with editing(client) as editor:
            until(lambda: len(editor.acknowledged) >= 20, 60)
            time.sleep(random.Random(seed).uniform(0, 0.4))
            if cut_off:
                replica.kill()
                reached = len(editor.acknowledged)
                until(lambda: len(editor.acknowledged) >= reached + cut_off)
            primary.kill()
            died = time.monotonic()
            if cut_off:
                replica.start()
        acknowledged = editor.acknowledged  # one that was on its way when the primary died is among them
        assert editor.last_begun < died, "a write was acknowledged without a primary"
        replica.promote()

        def written() -> bool:
            found = client.get(ROW)
            return found.status_code == 200 and (
                client.put(found.json()["row"], "9999", found.headers["etag"]).status_code == 200
            )

        until(written)
        return acknowledged, died, time.monotonic() - died


@pytest.mark.parametrize("seed", range(PROMOTIONS))
def test_nothing_acknowledged_is_lost_under_synchronous_replication(
    primary: Server, replica: Server, service: Serving, seed: int
) -> None:
    primary.sql(f"ALTER SYSTEM SET synchronous_standby_names = '{replica.name}'")
    primary.sql("SELECT pg_reload_conf()")
    until(lambda: primary.sql("SELECT sync_state FROM pg_stat_replication") == [("sync",)])
    acknowledged, _, took = died_under_writes(primary, replica, service, seed)
    found = reasons(replica)
    lost = {number for number, (reason, _) in acknowledged.items() if found.get(number) != reason}
    print(f"synchronous: {len(acknowledged)} acknowledged, {len(lost)} lost; a write went through after {took:.1f} s")
    assert not lost


@pytest.mark.parametrize("seed", range(PROMOTIONS))
def test_asynchronous_replication_loses_the_last_revisions_and_no_other(
    primary: Server, replica: Server, service: Serving, seed: int
) -> None:
    acknowledged, died, took = died_under_writes(primary, replica, service, seed, cut_off=3)
    found = reasons(replica)
    kept = max(number for number, reason in found.items() if reason != "page 9999")
    lost = {number: when for number, (reason, when) in acknowledged.items() if found.get(number) != reason}
    window = died - min(lost.values(), default=died)
    print(
        f"asynchronous: {len(acknowledged)} acknowledged, {len(lost)} lost, since {window:.2f} s before the end; "
        f"a write went through after {took:.1f} s"
    )
    assert sorted(found) == list(range(1, len(found) + 1))
    assert all(number > kept for number in lost), "a hole in what is there"
    assert len(lost) >= 2, "a replica that was cut off has nevertheless what it was not sent"


def test_a_write_waits_for_the_synchronous_replica_and_is_not_acknowledged_before(
    primary: Server, replica: Server, service: Serving
) -> None:
    with service(primary.url("legwork"), primary.url("shop")) as client:
        found = client.get(ROW)
        primary.sql(f"ALTER SYSTEM SET synchronous_standby_names = '{replica.name}'")
        primary.sql("SELECT pg_reload_conf()")
        until(lambda: primary.sql("SELECT sync_state FROM pg_stat_replication") == [("sync",)])
        replica.stall()
        answers: list[int] = []
        row, tag = found.json()["row"], found.headers["etag"]
        thread = threading.Thread(target=lambda: answers.append(client.put(row, "161", tag).status_code))
        thread.start()
        time.sleep(1)
        assert not answers
        assert httpx.get(f"{str(client.base_url).rstrip(chr(47))}/v1/makers", timeout=5).status_code == 200
        replica.go_on()
        thread.join(30)
        assert answers == [200]
