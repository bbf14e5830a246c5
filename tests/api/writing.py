"""A service that accepts writes: a catalogue with the demo, a shop database, and keys."""

import io
import secrets
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path
from typing import Any

import httpx
import psycopg
from sqlalchemy import make_url, select

from app.access import keys
from app.access.stored import SHOP
from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.database.migrating import migrate
from app.main import create_app
from app.settings import Settings

TORQUE = "torque-crock-39-axle"


@contextmanager
def shop_beside(url: str, folder: Path) -> Iterator[Database]:
    """A fresh shop database on the engine of that catalogue."""
    parsed = make_url(url)
    if parsed.get_backend_name() == "sqlite":
        shop_url = f"sqlite:///{folder / 'shop.db'}"
    else:
        name = f"{parsed.database}_shop_{secrets.token_hex(4)}"
        plain = parsed.set(drivername="postgresql").render_as_string(hide_password=False)
        with psycopg.connect(plain, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
        shop_url = parsed.set(database=name).render_as_string(hide_password=False)
    shop = Database(shop_url)
    migrate(shop, "shop")
    yield shop
    shop.close()


class Writing:
    """The service and one key per scope; `client` sends an editor's key by default."""

    def __init__(self, database: Database, shop: Database, settings: Settings) -> None:
        self.database, self.shop = database, shop
        self.log = io.StringIO()
        self.app = create_app(settings, Catalogue(database), shop, log_to=self.log)
        self.keys = {scope: keys.add(shop, f"{scope} bench 1", [scope]) for scope in keys.SCOPES}
        editor = {"Authorization": f"Bearer {self.keys['edit'].token}"}
        transport = httpx.ASGITransport(self.app)
        self.client = httpx.AsyncClient(transport=transport, base_url="http://legwork.test", headers=editor, timeout=60)

    def audit(self) -> list[dict[str, Any]]:
        """The entries of requests, oldest first, without those of keys that were made or revoked."""
        table = SHOP.tables["audit"]
        with self.shop.read() as connection:
            entries = select(table).where(table.c.method != "COMMAND").order_by("number")
            return [dict(row) for row in connection.execute(entries).mappings()]

    async def row(self, id: str = TORQUE, table: str = "torques") -> tuple[dict[str, Any], str]:
        """A statement as exchanged, and its tag."""
        answer = await self.client.get(f"/v1/{table}/{id}")
        assert answer.status_code == 200, answer.text
        return answer.json()["row"], answer.headers["etag"]


def settings_of(database: Database, shop: Database, **more: Any) -> Settings:
    """Settings with which a child process finds these databases."""
    url, shop_url = (each.url.render_as_string(hide_password=False) for each in (database, shop))
    given = {"write_rate": "100000/minute", "allowed_hosts": ["legwork.test"], **more}
    return Settings(database_url=url, shop_database_url=shop_url, **given)


@asynccontextmanager
async def writing(database: Database, folder: Path, **more: Any) -> AsyncIterator[Writing]:
    """The service on that catalogue."""
    url = database.url.render_as_string(hide_password=False)
    with shop_beside(url, folder) as shop:
        service = Writing(database, shop, settings_of(database, shop, **more))
        async with service.client:
            yield service


def put(row: dict[str, Any], table: str = "torques", reason: str = "read again") -> dict[str, Any]:
    """The body of a change that puts a row."""
    return {"table": table, "op": "put", "row": row, "reason": reason}
