"""Lookups from a streaming replica: writes to the primary arrive, and losing the primary blocks no lookup."""

import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx
import pytest

from tests.api.writing import TORQUE
from tests.problems import assert_problem
from tests.replicas.conftest import Client, Serving, until
from tests.replicas.servers import Server, free_port

FITS = "/v1/chassis/quembry-trivet-35/fits?travel={travel}"
ROW = f"/v1/torques/{TORQUE}"
WITHOUT_KEY = httpx.Client(timeout=30)
ROOT = Path(__file__).parents[2]


@pytest.fixture
def pair(primary: Server, replica: Server, service: Serving) -> Iterator[tuple[Client, Client]]:
    """A service on the primary, and one that reads from the replica."""
    urls = primary.url("legwork"), primary.url("shop")
    with service(*urls) as writing, service(*urls, read_url=replica.url("legwork")) as reading:
        yield writing, reading


def edited(client: Client, page: str) -> int:
    """Makes an edit; returns its revision."""
    found = client.get(ROW).raise_for_status()
    answer = client.put(found.json()["row"], page, found.headers["etag"])
    assert answer.status_code == 200, answer.text
    return int(answer.json()["revision"])


def asked(client: Client, path: str = FITS.format(travel=150)) -> httpx.Response:
    """Without a key, like most requests, so that the answer is cached."""
    return WITHOUT_KEY.get(client.base_url.join(path))


def test_min_revision_waits_for_the_replica(pair: tuple[Client, Client], replica: Server) -> None:
    writing, reading = pair
    before = edited(writing, "101")
    until(lambda: reading.revision() == before)
    replica.sql("SELECT pg_wal_replay_pause()")
    number = edited(writing, "102")
    assert number == before + 1
    path = f"{FITS.format(travel=150)}&min_revision={number}"
    assert writing.get(path).json()["revision"] == number
    feed = writing.get(f"/v1/changes?after={number}").json()
    following = writing.get("/v1/makers?limit=1").json()["next"]
    later = f"/v1/changes?after={number}&lineage={feed['lineage']}"
    for address in (path, following, later):
        refused = asked(reading, address)
        assert_problem(refused, 503)
        assert refused.headers["retry-after"] == "1"
        assert refused.headers["cache-control"] == "no-store"
        assert asked(reading).json()["revision"] == before
    assert reading.get("/readyz").json() == {"status": "ready", "writes": "ready"}
    replica.sql("SELECT pg_wal_replay_resume()")
    until(lambda: asked(reading, path).status_code == 200)
    for address in (following, later):
        assert asked(reading, address).status_code == 200
    assert asked(reading, path).json()["revision"] == number
    until(lambda: asked(reading).json()["revision"] == number)


def test_what_a_lagging_replica_answers_is_not_kept_under_a_revision_that_it_lacks(
    pair: tuple[Client, Client], replica: Server
) -> None:
    """As with several replicas behind one address: one knows the revision, another gets the question."""
    writing, reading = pair
    before = edited(writing, "111")
    until(lambda: reading.revision() == before)
    replica.sql("SELECT pg_wal_replay_pause()")
    number = edited(writing, "112")
    catalogue = reading.catalogue
    head = writing.catalogue.answer(lambda snapshot: snapshot.head)
    catalogue._polled = (time.monotonic() + 60, catalogue.database.writes, head)
    assert asked(reading).json()["revision"] == before
    replica.sql("SELECT pg_wal_replay_resume()")
    until(lambda: reading.get(f"/v1/makers?min_revision={number}").status_code == 200)
    assert catalogue.known() == head
    for _ in range(2):
        assert asked(reading).json()["revision"] == number


def test_what_was_added_is_withdrawn_through_a_replica_that_has_it_not_yet(
    pair: tuple[Client, Client], replica: Server
) -> None:
    writing, reading = pair
    row = {**writing.get(ROW).json()["row"], "id": "torque-of-this-test", "page": "121", "stage": 1}
    replica.sql("SELECT pg_wal_replay_pause()")
    change = {"table": "torques", "op": "put", "row": row, "reason": "a second bolt"}
    added = writing.post("/v1/statements", json=change)
    assert added.status_code == 201, added.text
    withdrawal = {"headers": {"If-Match": added.headers["etag"]}, "params": {"reason": "there is none"}}
    assert_problem(reading.delete(f"/v1/statements/{row['id']}", **withdrawal), 503)
    replica.sql("SELECT pg_wal_replay_resume()")
    until(lambda: reading.delete(f"/v1/statements/{row['id']}", **withdrawal).status_code == 200)


def test_lookups_go_on_without_the_primary_and_writes_come_back_with_it(
    pair: tuple[Client, Client], primary: Server, replica: Server
) -> None:
    writing, reading = pair
    before = edited(reading, "131")
    until(lambda: reading.revision() == before)
    found = reading.get(ROW)
    primary.kill()
    longest = 0.0
    for number in range(30):
        begun = time.monotonic()
        assert asked(reading, FITS.format(travel=150 + number / 100)).json()["revision"] == before
        longest = max(longest, time.monotonic() - begun)
        if number % 10 == 0:
            refused = reading.put(found.json()["row"], "132", found.headers["etag"])
            detail = assert_problem(refused, 503)["detail"]
            assert detail == "the database cannot be used at the moment"
            assert refused.headers["retry-after"].isdigit()
    assert longest < 2
    assert reading.get("/healthz").status_code == 200
    assert reading.get("/readyz").json() == {"status": "ready", "writes": "unavailable"}
    assert_problem(writing.get("/readyz"), 503)
    starts_without_the_primary(primary, replica)
    primary.start()
    number = edited(reading, "133")
    assert number == before + 1
    until(lambda: reading.revision() == number)
    assert reading.get("/readyz").json() == {"status": "ready", "writes": "ready"}
    assert writing.get("/readyz").json() == {"status": "ready"}


def starts_without_the_primary(primary: Server, replica: Server) -> None:
    """A machine that restarts meanwhile answers lookups too, and says that it does no more."""
    port = str(free_port())
    given = {
        "LEGWORK_DATABASE_URL": primary.url("legwork"), "LEGWORK_SHOP_DATABASE_URL": primary.url("shop"),
        "LEGWORK_READ_URL": replica.url("legwork"),
    }  # fmt: skip
    command = [sys.executable, "-m", "app", "serve", "--port", port]
    with subprocess.Popen(command, cwd=ROOT, env=given, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        assert "Only lookups work" in process.stderr.readline()
        assert "answers at" in process.stderr.readline()
        until(lambda: answers(port))
        process.terminate()
        process.stderr.read()
    assert process.returncode == 0


def answers(port: str) -> bool:
    try:
        return WITHOUT_KEY.get(f"http://127.0.0.1:{port}{FITS.format(travel=150)}").status_code == 200
    except httpx.TransportError:
        return False


def test_writes_that_wait_for_a_primary_that_stands_still_hold_up_no_lookup(
    pair: tuple[Client, Client], primary: Server
) -> None:
    _, reading = pair
    found = reading.get(ROW)
    primary.stall()
    with ThreadPoolExecutor(40) as many:
        try:
            row, tag = found.json()["row"], found.headers["etag"]
            writes = [many.submit(reading.put, row, f"14{number}", tag) for number in range(40)]
            time.sleep(0.5)
            begun = time.monotonic()
            for number in range(20):
                assert asked(reading, FITS.format(travel=151 + number / 100)).status_code == 200
            assert time.monotonic() - begun < 4
            assert not any(write.done() for write in writes)
        finally:
            primary.go_on()
        statuses = sorted(write.result().status_code for write in writes)
    assert statuses.count(200) == 1
    assert set(statuses) <= {200, 412, 503}


def test_where_only_a_replica_is_left_a_write_is_refused_plainly(
    primary: Server, replica: Server, service: Serving
) -> None:
    with service(replica.url("legwork"), primary.url("shop")) as client:
        found = client.get(ROW)
        refused = client.put(found.json()["row"], "151", found.headers["etag"])
        assert assert_problem(refused, 503)["detail"] == "the database is currently a replica and takes no writes"
