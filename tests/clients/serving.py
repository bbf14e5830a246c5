"""A server of the demo on a socket of its own, with a key that may edit: what generated clients are tried on."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from app.access import keys
from app.database.connections import Database
from tests.exchange.serving import serving


@dataclass(frozen=True)
class Workshop:
    """Where it answers, and the key of an editor."""

    address: str
    key: str


@contextmanager
def workshop(url: str, folder: Path) -> Iterator[Workshop]:
    """The service over that catalogue, in a thread."""
    database = Database(url)
    with serving(database, folder) as (address, shop):
        key = keys.add(shop, "bench 1", ["edit"]).token
        assert key is not None
        yield Workshop(address, key)
    database.close()
