"""A client of the whole service over a catalogue in a database."""

import io

import httpx

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.main import create_app
from app.settings import Settings


def asking(database: Database) -> httpx.AsyncClient:
    """A client of a service in this process that answers from that database."""
    settings = Settings(allowed_hosts=["legwork.test"])
    app = create_app(settings, Catalogue(database), log_to=io.StringIO())
    return httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://legwork.test")
