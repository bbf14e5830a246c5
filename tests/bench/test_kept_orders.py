"""Work orders outlive a restart, and their migration goes up and down without touching forks and jobs."""

from pathlib import Path

from sqlalchemy import inspect

from app.bench import forks, work_orders
from app.bench.forks import Registering
from app.bench.order_changes import OrderChange
from app.bench.work_orders import Opening
from app.database.connections import Database
from app.database.migrating import bring_down, migrate

CARD = """{"job": "full-service", "revision": 1, "checks": [], "parts": [], "settings": {"limits": {"pressure": []}},
"steps": [{"number": 1, "step": "s", "action": "note", "measures": ["marks on stanchions"], "parts": []}]}"""


def test_a_restart_keeps_an_order_and_the_migration_goes_both_ways(tmp_path: Path) -> None:
    shop = Database(f"sqlite:///{tmp_path / 'shop.db'}")
    migrate(shop, "shop")
    fork, _ = forks.register(shop, "left", Registering("S", "c", {}, None))
    order, again = work_orders.open_order(
        shop, "left", Opening("c", "full-service", 1, {"job": "full-service"}, CARD, 1, {"bike": "red"}, fork.id)
    )
    assert not again
    change = OrderChange({"1": True}, {"1-1": "a scratch"}, {}, {})
    changed = work_orders.change(shop, "left", order.id, change)
    assert (list(changed.progress["ticks"]), changed.progress["measurements"]) == (["1"], {"1-1": "a scratch"})
    shop.close()

    shop = Database(f"sqlite:///{tmp_path / 'shop.db'}")
    migrate(shop, "shop")
    assert work_orders.held(shop, "left", order.id) == changed
    bring_down(shop, "shop", "0005")
    with shop.read() as connection:
        assert not inspect(connection).has_table("work_orders")
    migrate(shop, "shop")
    assert work_orders.listed(shop, "left", 10, None, fork=None, state=None).orders == []
    assert forks.held(shop, "left", fork.id) == fork
    shop.close()
