"""A primary with an empty, migrated catalogue and shop; each test that needs a replica gets its own.

Services run in threads of the test's process, on real sockets; nothing here starts or stops them on its own."""

import io
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn

from app.access import keys
from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.database.migrating import migrate
from app.exchange.loading import Entry, load
from app.main import create_app
from app.settings import Settings
from app.web.server.server import config_of
from tests.conftest import SEED_DATA
from tests.replicas.servers import Server

QUICK = {"wal_retrieve_retry_interval": "100", "wal_receiver_timeout": "10000"}
"""A replica retries a lost primary after 0.1 s, not after 5 s."""


@pytest.fixture(scope="package")
def folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="legwork-replicas-", ignore_cleanup_errors=True) as path:
        Path(path).chmod(0o777)
        yield Path(path)


@pytest.fixture(scope="package")
def primary(postgres: Any, folder: Path) -> Iterator[Server]:
    """Databases `legwork` with the demo at revision 1 and `shop`; runs again after each test. Depends on `postgres`, so
    that a machine without it skips these tests like the others."""
    server = Server.primary(folder, **QUICK)
    for name, which in (("legwork", "catalogue"), ("shop", "shop")):
        server.sql(f"CREATE DATABASE {name}")
        database = Database(server.url(name))
        migrate(database, which)
        if which == "catalogue":
            assert load(database, SEED_DATA, Entry("the demo", "tests"))["accepted"]
        database.close()
    yield server
    server.kill()


@pytest.fixture
def replica(primary: Server) -> Iterator[Server]:
    """Streams from the primary and is discarded afterwards. The primary runs again after the test, alone."""
    server = primary.replica(f"replica_{time.monotonic_ns()}")
    yield server
    if not primary.runs:
        primary.start()
    primary.sql("ALTER SYSTEM RESET synchronous_standby_names")
    primary.sql("SELECT pg_reload_conf()")
    if server.runs:
        server.kill()


class Client(httpx.Client):
    """A client of one service, with an editor's key."""

    catalogue: Catalogue
    log: io.StringIO

    def revision(self) -> int:
        """The latest revision that this service knows."""
        return int(self.get("/v1/makers").raise_for_status().json()["revision"])

    def put(self, row: dict[str, Any], page: str, tag: str) -> httpx.Response:  # type: ignore[override]
        """Puts a row again with another page as its source: a new revision, whose reason names the page."""
        change = {"table": "torques", "op": "put", "row": {**row, "page": page}, "reason": f"page {page}"}
        return self.request("PUT", f"/v1/statements/{row['id']}", json=change, headers={"If-Match": tag})


Serving = Callable[..., AbstractContextManager[Client]]


@pytest.fixture
def service() -> Serving:
    """`service(url, shop_url, read_url=…)`: a client of a service with these settings, while it runs."""

    @contextmanager
    def running(url: str, shop_url: str, **more: Any) -> Iterator[Client]:
        given = {"write_rate": "100000/minute", "allowed_hosts": ["127.0.0.1"], "port": 0, **more}
        settings = Settings(database_url=url, shop_database_url=shop_url, **given)
        with ExitStack() as at_the_end:
            stored, shop = Database(url, settings.read_url), Database(shop_url)
            for each in (stored, shop):
                at_the_end.callback(each.close)
            catalogue = Catalogue(stored)
            log = io.StringIO()
            app = create_app(settings, catalogue, shop, log_to=log)
            server = uvicorn.Server(config_of(app, settings))
            thread = threading.Thread(target=server.run, daemon=True)
            thread.start()
            at_the_end.callback(thread.join, 20)
            at_the_end.callback(setattr, server, "should_exit", True)
            deadline = time.monotonic() + 60
            while not server.started:
                assert time.monotonic() < deadline, "the server did not start"
                time.sleep(0.02)
            port = server.servers[0].sockets[0].getsockname()[1]
            key = {"Authorization": f"Bearer {keys.add(shop, 'bench 1', ['edit']).token}"}
            client = Client(base_url=f"http://127.0.0.1:{port}", headers=key, timeout=60)
            client.catalogue, client.log = catalogue, log
            yield at_the_end.enter_context(client)

    return running


def until(holds: Callable[[], bool], seconds: float = 20) -> float:
    """Waits for it; returns how long that took, in s."""
    begun = time.monotonic()
    while not holds():
        assert time.monotonic() - begun < seconds, "it did not come about"
        time.sleep(0.02)
    return time.monotonic() - begun
