"""A server of the demo on a socket of its own, with a key that may edit: what generated clients are tried on."""

import io
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from app.access import keys
from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.main import create_app
from app.settings import Settings
from app.web.server import config_of
from tests.api.writing import shop_beside


@dataclass(frozen=True)
class Workshop:
    """Where it answers, and the key of an editor."""

    address: str
    key: str


@contextmanager
def workshop(url: str, folder: Path) -> Iterator[Workshop]:
    """The service over that catalogue, in a thread."""
    database = Database(url)
    with shop_beside(url, folder) as shop:
        key = keys.add(shop, "bench 1", ["edit"]).token
        assert key is not None
        settings = Settings(port=0, database_url=url, shop_database_url=str(shop.url))
        app = create_app(settings, Catalogue(database), shop, log_to=io.StringIO())
        server = uvicorn.Server(config_of(app, settings))
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        deadline = time.monotonic() + 30
        while not server.started:
            assert time.monotonic() < deadline, "the server did not start"
            time.sleep(0.02)
        yield Workshop(f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}", key)
        server.should_exit = True
        thread.join(15)
    database.close()
