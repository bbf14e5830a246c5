"""The log of an earlier build: its clicks were noted "from closed", and say so after the migration."""

import importlib.util
import json
from pathlib import Path
from types import ModuleType

from alembic.migration import MigrationContext
from alembic.operations import Operations
from sqlalchemy import insert, text

from app.bench import forks, services
from app.bench.services import service_view
from app.bench.stored import FORKS, SERVICES
from app.database.connections import Database
from app.database.migrating import migrate

VERSIONS = Path(__file__).parents[2] / "migrations" / "shop" / "versions"
FORK = {
    "id": "f", "shop": "left", "serial": "S", "chassis": "c", "configuration": "{}", "registered_at": "2026-01-01",
    "changed_at": "2026-01-01", "version": 1, "erasing": False,
}  # fmt: skip
DONE = {"fitted": {}, "parts": [], "measured": {"rebound_clicks": 7, "pressure": {"value": "70", "unit": "psi"}}}
SERVICE = {
    "fork": "f", "number": 1, "job": "full-service", "recorded_at": "2026-01-02", "recorded_by": "key",
    "done": json.dumps(DONE), "configuration": "{}", "applied": True,
}  # fmt: skip


def migration() -> ModuleType:
    (file,) = VERSIONS.glob("*_riding_and_click_datum.py")
    spec = importlib.util.spec_from_file_location("riding_and_click_datum", file)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_clicks_of_an_earlier_log_are_from_closed(tmp_path: Path) -> None:
    shop = Database(f"sqlite:///{tmp_path / 'shop.db'}")
    migrate(shop, "shop")
    step = migration()
    with shop.write() as connection, Operations.context(MigrationContext.configure(connection)):
        step.downgrade()
        columns = {row[1] for row in connection.execute(text("PRAGMA table_info(forks)"))}
        assert "riding" not in columns
        connection.execute(insert(FORKS), FORK)
        connection.execute(insert(SERVICES), dict(SERVICE))
        step.upgrade()
    fork, (service,) = services.history(shop, "left", "f")
    assert service_view(service)["measured"]["rebound_clicks"] == {
        "count": 7, "from": "closed", "text": "7 clicks from closed",
    }  # fmt: skip
    assert (fork.riding, forks.held(shop, "left", "f").serial) == (None, "S")
    shop.close()
