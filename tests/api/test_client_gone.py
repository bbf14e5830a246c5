"""A lookup whose client has gone is cancelled in the database, on both engines (wire case 43)."""

import json
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import httpx
import pytest
from sqlalchemy.pool import QueuePool

from app.catalogue.catalogue import THREADS, Catalogue
from app.exchange import child
from app.settings import Settings
from tests.api.conftest import Server

FITS = "/v1/chassis/quembry-trivet-35/fits?travel=150"
DEADLINE_S = 30
SOON_S = 5
"""Far from the deadline and from the minute that the statement takes, with room for a busy machine."""


@pytest.fixture(params=["httptools", "h11"])
def patient(request: pytest.FixtureRequest, loaded: Catalogue) -> Iterator[Server]:
    """A service with a long database timeout."""
    with serving(request.param, loaded, request_timeout=DEADLINE_S) as server:
        yield server


@pytest.fixture
def impatient(loaded: Catalogue) -> Iterator[Server]:
    """A service with a database timeout of one second."""
    with serving("httptools", loaded, request_timeout=1) as server:
        yield server


@contextmanager
def serving(parser: str, catalogue: Catalogue, **limits: Any) -> Iterator[Server]:
    settings = Settings(port=0, allowed_hosts=["127.0.0.1"], max_lag=60, cache_bytes=0, **limits)
    server = Server(settings, parser, catalogue=catalogue)
    yield server
    server.stop()


def asked(server: Server, path: str, method: str = "GET") -> socket.socket:
    line = socket.create_connection(("127.0.0.1", server.port), timeout=10)
    line.sendall(f"{method} {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 0\r\n\r\n".encode())
    return line


def get(server: Server, path: str) -> httpx.Response:
    return httpx.get(f"http://127.0.0.1:{server.port}{path}", timeout=DEADLINE_S)


def logged(server: Server, path: str) -> list[dict[str, Any]]:
    return [line for line in map(json.loads, server.log.getvalue().splitlines()) if line.get("path") == path]


def until(reached: Callable[[], bool]) -> None:
    over = time.monotonic() + SOON_S
    while not reached():
        assert time.monotonic() < over
        time.sleep(0.02)


def asleep(catalogue: Catalogue) -> int:
    """The number of our statements that PostgreSQL is running; 0 on SQLite once it answers anything."""
    if catalogue.database.is_sqlite:
        return 0
    with catalogue.database.writer.connect() as connection:
        counted = "SELECT count(*) FROM pg_stat_activity WHERE state = 'active' AND query = 'SELECT pg_sleep(60)'"
        return int(connection.exec_driver_sql(counted).scalar_one())


def held(catalogue: Catalogue) -> int:
    """Connections that lookups have not returned; on SQLite all share one."""
    pool = catalogue.database.reader.pool
    return pool.checkedout() if isinstance(pool, QueuePool) else 0


@pytest.mark.parametrize("path", ["/v1/long", "/v1/long-beside"])
def test_what_is_looked_up_ends_when_its_client_is_gone(patient: Server, loaded: Catalogue, path: str) -> None:
    """More lookups than there are threads for them, so that the last ones never start."""
    lines = [asked(patient, path) for _ in range(THREADS + 2)]
    until(lambda: loaded.database.is_sqlite or asleep(loaded) == THREADS)
    begun = time.monotonic()
    for line in lines:
        line.close()
    assert get(patient, FITS).status_code == 200
    assert time.monotonic() - begun < SOON_S
    until(lambda: len(logged(patient, path)) == len(lines))
    assert [line["status"] for line in logged(patient, path)] == [499] * len(lines)
    until(lambda: asleep(loaded) == 0 and held(loaded) == 0)
    years = [*range(2020, 2025)] * 3  # each of the connections is used again
    assert [get(patient, f"{FITS}&model_year={year}").status_code for year in years] == [200] * len(years)
    assert '"error"' not in patient.log.getvalue()


@pytest.mark.parametrize("path", ["/v1/long", "/v1/long-beside"])
def test_what_is_looked_up_ends_with_its_time(impatient: Server, loaded: Catalogue, path: str) -> None:
    begun = time.monotonic()
    answer = get(impatient, path)
    assert (answer.status_code, answer.headers["retry-after"]) == (503, "5")
    assert answer.json()["detail"] == "It took too long and was given up."
    until(lambda: asleep(loaded) == 0)
    assert get(impatient, FITS).status_code == 200
    assert time.monotonic() - begun < SOON_S


@pytest.mark.parametrize("loaded", ["sqlite"], indirect=True)
def test_a_client_that_leaves_ends_a_lookup_but_not_a_write(patient: Server) -> None:
    for method in ("GET", "POST"):
        asked(patient, "/v1/pause", method).close()
    until(lambda: len(logged(patient, "/v1/pause")) == 2)
    looked, wrote = logged(patient, "/v1/pause")
    assert (looked["method"], looked["status"]) == ("GET", 499)
    assert looked["ms"] < 900 < wrote["ms"]
    assert (wrote["method"], wrote["status"]) == ("POST", 200)


@pytest.mark.parametrize("loaded", ["sqlite"], indirect=True)
def test_a_child_that_writes_an_export_ends_too(loaded: Catalogue) -> None:
    url = loaded.database.url.render_as_string()
    with serving("httptools", loaded, database_url=url) as server:
        line = asked(server, "/v1/export")
        until(lambda: child._running.total() == 1)
        line.close()
        until(lambda: child._running.total() == 0)
        until(lambda: bool(logged(server, "/v1/export")))
        assert logged(server, "/v1/export")[0]["status"] == 499
