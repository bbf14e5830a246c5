"""Work orders of a shop: start, find, tick, record, erase. A shop cannot see another shop's orders.

Ticks, measurements and parts are merged one by one, so two devices at one order lose nothing. Once the job is recorded
the order is closed.
"""

import json
from collections.abc import Mapping
from typing import NamedTuple

from sqlalchemy import ColumnElement, Connection, Row, delete, func, insert, select, tuple_, update

from app.access.idempotency import IdempotentRequest, made_before, remember
from app.access.keys import now
from app.access.stored import IDEMPOTENCY_KEYS
from app.bench import forks, services
from app.bench.figures import written
from app.bench.forks import Held
from app.bench.order_changes import OrderChange, merged, refuse_wrong
from app.bench.services import Finished, RecordedService
from app.bench.stored import WORK_ORDERS
from app.bench.work_order_shapes import FIELDS, PROGRESS, OrderFields, OrderProgress
from app.database.connections import Database
from app.errors import Conflict, Fault, Invalid, NotFound, Stale
from app.json_types import JsonObject

MOST_ORDERS = 5_000
MOST_CARD_BYTES = 400_000
ORDER = (WORK_ORDERS.c.opened_at.desc(), WORK_ORDERS.c.id.desc())
_LISTED = [column for column in WORK_ORDERS.c if column.name not in ("asked", "card")]


class Opening(NamedTuple):
    """A work order to start: the card as JSON text, and the parameters that it was made with."""

    chassis: str
    job: str
    revision: int
    asked: JsonObject
    card: str
    steps: int
    fields: OrderFields
    fork: str | None = None


class HeldOrder(NamedTuple):
    """A work order as it is stored; `asked` and `card` are empty in a list."""

    id: str
    fork: str | None
    chassis: str
    job: str
    revision: int
    steps: int
    fields: OrderFields
    progress: OrderProgress
    service: int | None
    opened_at: str
    changed_at: str
    version: int
    asked: JsonObject
    card: JsonObject


def open_order(
    shop: Database, shop_id: str, order: Opening, request: IdempotentRequest | None = None
) -> tuple[HeldOrder, bool]:
    """Start a work order; True if the same `request` started it before.

    Raises NotFound for a fork that is not in the log, Invalid for a card that is too large, Conflict if the shop has
    MOST_ORDERS already.
    """
    if len(order.card.encode()) > MOST_CARD_BYTES:
        raise Invalid.one("card-too-large", f"A work order holds a card of at most {MOST_CARD_BYTES:,} bytes.")
    id, at = forks.new_id(), now()
    with shop.write() as connection:
        if (before := made_before(connection, request)) is not None:
            return held_in(connection, shop_id, before), True
        if order.fork is not None:
            forks.held_in(connection, shop_id, order.fork)
        _refuse_more(connection, shop_id)
        nothing_done: OrderProgress = {"ticks": {}, "measurements": {}, "parts": {}}
        row = {
            "id": id, "shop": shop_id, "fork": order.fork, "chassis": order.chassis, "job": order.job,
            "revision": order.revision, "asked": written(order.asked), "card": order.card, "steps": order.steps,
            "fields": written(order.fields), "progress": written(nothing_done), "service": None, "opened_at": at,
            "changed_at": at, "version": 1, "erasing": False,
        }  # fmt: skip
        connection.execute(insert(WORK_ORDERS), row)
        remember(connection, request, id)
        return held_in(connection, shop_id, id), False


def _refuse_more(connection: Connection, shop_id: str) -> None:
    there = connection.execute(select(func.count()).select_from(WORK_ORDERS).where(_own(shop_id))).scalar_one()
    if there >= MOST_ORDERS:
        text = f"This shop has {there:,} work orders, the most that are kept. Delete old ones first."
        raise Conflict(text, [Fault("too-many-orders", text)])


def held(shop: Database, shop_id: str, id: str) -> HeldOrder:
    """The work order with that id. Raises NotFound, for another shop's order too."""
    with shop.read() as connection:
        return held_in(connection, shop_id, id)


def held_in(connection: Connection, shop_id: str, id: str) -> HeldOrder:
    """Like `held`, on an open connection."""
    row = connection.execute(select(WORK_ORDERS).where(_own(shop_id), WORK_ORDERS.c.id == id)).first()
    if row is None:
        raise NotFound("There is no work order with this id.")
    return _held(row, row.asked, row.card)


class OrderPage(NamedTuple):
    """Work orders without their cards, newest first, their total number, and whether there are more."""

    orders: list[HeldOrder]
    total: int
    more: bool


def listed(
    shop: Database, shop_id: str, limit: int, after: tuple[str, str] | None, *, fork: str | None, state: str | None
) -> OrderPage:
    """A page of a shop's work orders after that position (opened_at, id); `state` is `open` or `recorded`."""
    wanted = [_own(shop_id)]
    wanted += [] if fork is None else [WORK_ORDERS.c.fork == fork]
    wanted += [] if state is None else [WORK_ORDERS.c.service.is_(None) == (state == "open")]
    statement = select(*_LISTED).where(*wanted).order_by(*ORDER).limit(limit + 1)
    if after is not None:
        statement = statement.where(tuple_(WORK_ORDERS.c.opened_at, WORK_ORDERS.c.id) < tuple_(*after))
    with shop.read() as connection:
        total = connection.execute(select(func.count()).select_from(WORK_ORDERS).where(*wanted)).scalar_one()
        rows = connection.execute(statement).fetchall()
    return OrderPage([_held(row, "{}", "{}") for row in rows[:limit]], total, len(rows) > limit)


def of_fork(shop: Database, shop_id: str, fork: str) -> list[HeldOrder]:
    """Every work order of a fork with its card, oldest first."""
    statement = select(WORK_ORDERS).where(_own(shop_id), WORK_ORDERS.c.fork == fork)
    with shop.read() as connection:
        rows = connection.execute(statement.order_by(WORK_ORDERS.c.opened_at, WORK_ORDERS.c.id)).fetchall()
    return [_held(row, row.asked, row.card) for row in rows]


def change(shop: Database, shop_id: str, id: str, wanted: OrderChange, versions: set[int] | None = None) -> HeldOrder:
    """Merge changes into a work order. `versions` are those that may be changed; they are needed for fields only.

    Raises NotFound, for a fork that is not in the log too; Stale if the fields have changed since they were read;
    Conflict for a recorded order; Invalid for what the card does not have, and for a measurement that cannot be read.
    """
    with shop.write() as connection:
        before = held_in(connection, shop_id, id)
        refuse_recorded(before)
        refuse_wrong(before.card, wanted)
        values: JsonObject = {"changed_at": now(), "progress": written(merged(before.progress, wanted))}
        if wanted.fields:
            if versions is not None and before.version not in versions:
                current = f'"r{before.version}.present"'
                raise Stale("The work order has changed since it was read: read it again.", current=current)
            values |= _fields(connection, shop_id, before, wanted.fields)
        connection.execute(update(WORK_ORDERS).where(WORK_ORDERS.c.id == id).values(values))
        return held_in(connection, shop_id, id)


def _fields(connection: Connection, shop_id: str, before: HeldOrder, wanted: Mapping[str, str | None]) -> JsonObject:
    fork = wanted.get("fork", before.fork)
    if fork is not None and forks.held_in(connection, shop_id, fork).chassis != before.chassis:
        text = f"This order is for a {before.chassis}. The fork in the log is another one."
        raise Invalid(text, [Fault("fork-of-another-chassis", text, pointer="/fork", suggestion=before.chassis)])
    named = {**before.fields, **{name: value for name, value in wanted.items() if name != "fork"}}
    fields = {name: value for name, value in named.items() if value is not None}
    return {"fork": fork, "fields": written(fields), "version": before.version + 1}


def refuse_recorded(order: HeldOrder) -> None:
    """Raises Conflict if the job of an order is recorded already."""
    if order.service is not None:
        text = f"This order was recorded as job {order.service} of its fork and is closed. Start a new one."
        raise Conflict(text, [Fault("order-recorded", text)])


def fork_of(order: HeldOrder) -> str:
    """The id of the fork in the log. Raises Invalid `order-without-fork`."""
    if order.fork is None:
        text = "This order names no fork of the bench log. Register the fork, then set `fork` of the order to its id."
        raise Invalid(text, [Fault("order-without-fork", text, pointer="/fork")])
    return order.fork


def record(
    shop: Database, shop_id: str, id: str, job: Finished, by: str
) -> tuple[HeldOrder, RecordedService, Held, bool]:
    """Record the job of an order on its fork and close the order, both or neither.

    Returns the order, the job, the fork after it, and whether it is new. Raises NotFound; Conflict if another request
    recorded it; Invalid as `services.record` does, and for an order without a fork.
    """
    with shop.write() as connection:
        order = held_in(connection, shop_id, id)
        fork = fork_of(order)
        if services.recorded_before(connection, fork, job) is None:
            refuse_recorded(order)
        service, after, new = services.record_in(connection, shop_id, fork, job, by)
        if new:
            values = {"service": service.number, "changed_at": now()}
            connection.execute(update(WORK_ORDERS).where(WORK_ORDERS.c.id == id).values(values))
        return held_in(connection, shop_id, id), service, after, new


def erase(shop: Database, shop_id: str, id: str) -> None:
    """Erase a work order from the rows, the free space of the file and its write-ahead log; a recorded job stays.

    Raises like `forks.erase`, and goes on like it if it was interrupted.
    """
    with shop.write() as connection:
        own = (WORK_ORDERS.c.shop == shop_id, WORK_ORDERS.c.id == id)
        if connection.execute(select(WORK_ORDERS.c.id).where(*own)).first() is None:
            raise NotFound("There is no work order with this id.")
        connection.execute(delete(IDEMPOTENCY_KEYS).where(IDEMPOTENCY_KEYS.c.made == id))
        blank = {
            "fork": None, "chassis": "", "job": "", "asked": "{}", "card": "{}", "fields": "{}", "progress": "{}",
            "opened_at": "", "changed_at": "", "erasing": True,
        }  # fmt: skip
        connection.execute(update(WORK_ORDERS).where(*own).values(blank))
    shop.rewrite("work_orders", "idempotency_keys")
    with shop.write() as connection:
        connection.execute(delete(WORK_ORDERS).where(WORK_ORDERS.c.id == id))


def _held(row: Row[tuple[object, ...]], asked: str, card: str) -> HeldOrder:
    return HeldOrder(
        row.id, row.fork, row.chassis, row.job, row.revision, row.steps, FIELDS.validate_json(row.fields),
        PROGRESS.validate_json(row.progress), row.service, row.opened_at, row.changed_at, row.version,
        json.loads(asked), json.loads(card),
    )  # fmt: skip


def _own(shop_id: str) -> ColumnElement[bool]:
    return (WORK_ORDERS.c.shop == shop_id) & WORK_ORDERS.c.erasing.is_(False)
