"""A client for the whole service, on a catalogue in a database."""

import io

import httpx

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.main import create_app
from app.settings import Settings


def asking(database: Database) -> httpx.AsyncClient:
    """Yields a client of an in-process service that reads that database."""
    settings = Settings(allowed_hosts=["legwork.test"])
    app = create_app(settings, Catalogue(database), log_to=io.StringIO())
    return httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://legwork.test")
