"""A server of the demo on its own socket, with a key that may edit, for the tests of generated clients."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from app.access import keys
from app.database.connections import Database
from tests.exchange.serving import serving


@dataclass(frozen=True)
class Workshop:
    """The address of the server, and an editor's key."""

    address: str
    key: str


@contextmanager
def workshop(url: str, folder: Path) -> Iterator[Workshop]:
    """The service on that catalogue, in a thread."""
    database = Database(url)
    with serving(database, folder) as (address, shop):
        key = keys.add(shop, "bench 1", ["edit"]).token
        assert key is not None
        yield Workshop(address, key)
    database.close()
