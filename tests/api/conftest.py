"""Fixtures for HTTP tests: an in-process service (`client`), its log (`log`), and a service on a socket (`server`)."""

import io
import json
import threading
import time
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn
from fastapi import FastAPI

from app.database.connections import Database
from app.settings import Settings
from app.web.server.server import config_of
from tests.api.shell import shell
from tests.bench.working import Bench, benches
from tests.conftest import Fresh


@pytest.fixture(scope="session")
def shell_and_log() -> tuple[FastAPI, io.StringIO]:
    """An in-process service with small limits, and the file it logs to."""
    log = io.StringIO()
    settings = Settings(max_body_bytes=100_000, request_timeout=0.5, allowed_hosts=["legwork.test", "*.below.test"])
    app = shell(settings, log_to=log)
    app.state.openapi_bytes()  # a real start does this, but this transport skips it
    return app, log


@pytest.fixture
def log(shell_and_log: tuple[FastAPI, io.StringIO]) -> io.StringIO:
    """The log of the service in this test."""
    _, log = shell_and_log
    log.seek(0)
    log.truncate()
    return log


@pytest.fixture
def lines(log: io.StringIO) -> Callable[[], list[dict[str, Any]]]:
    """The log, line by line; fails if a line is not one JSON object."""
    return lambda: [json.loads(line) for line in log.getvalue().split("\n")[:-1]]


@pytest.fixture
async def client(shell_and_log: tuple[FastAPI, io.StringIO], log: io.StringIO) -> AsyncIterator[httpx.AsyncClient]:
    """A client of that service."""
    transport = httpx.ASGITransport(shell_and_log[0])
    async with httpx.AsyncClient(transport=transport, base_url="http://legwork.test") as client:
        yield client


@pytest.fixture
async def shops(fresh_database: Fresh, tmp_path: Path) -> AsyncIterator[tuple[Bench, Bench]]:
    """The benches of two shops over the demo, on SQLite."""
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        async with benches(database, tmp_path) as (bench, _, other):
            yield bench, other
        database.close()


class Server:
    """A service on a real socket, in a thread; `port` is its port, `log` its log."""

    def __init__(self, settings: Settings, parser: Any, **more: Any) -> None:
        self.log = io.StringIO()
        config = config_of(shell(settings, log_to=self.log, **more), settings, parser)
        self.uvicorn = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.uvicorn.run, daemon=True)
        self.thread.start()
        deadline = time.monotonic() + 10
        while not self.uvicorn.started:
            assert time.monotonic() < deadline, "the server did not start"
            time.sleep(0.01)
        self.port: int = self.uvicorn.servers[0].sockets[0].getsockname()[1]

    def stop(self) -> None:
        self.uvicorn.should_exit = True
        self.thread.join(15)


@pytest.fixture(scope="session")
def servers() -> Iterator[dict[str, Server]]:
    """One server for each HTTP parser, with short timeouts: 8 s by default is 1 s here."""
    settings = Settings(
        port=0,
        header_timeout=1,
        body_timeout=1,
        write_timeout=2,
        max_body_bytes=100_000,
        request_timeout=3,
        max_connections=300,
        write_rate="100000/minute",
        keep_alive_timeout=2,
    )
    running = {parser: Server(settings, parser) for parser in ("httptools", "h11")}
    yield running
    for server in running.values():
        server.stop()


@pytest.fixture(params=["httptools", "h11"])
def server(request: pytest.FixtureRequest, servers: dict[str, Server]) -> Server:
    """Each of the two servers in turn."""
    return servers[request.param]
