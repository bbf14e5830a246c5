"""The forks of a shop: register, find, correct, erase. A shop cannot tell another shop's fork from one that never
existed.

An id is 130 random bits, so that nobody can guess one.
"""

import base64
import secrets
from collections import Counter
from collections.abc import Collection
from typing import Any, NamedTuple

from sqlalchemy import ColumnElement, Connection, Row, delete, func, insert, select, tuple_, update

from app.access.idempotency import IdempotentRequest, made_before, remember
from app.access.keys import now
from app.access.stored import IDEMPOTENCY_KEYS
from app.bench.figures import configuration_view, read_configuration, written
from app.bench.shapes import Configuration, ForkView
from app.bench.stored import FORKS, SERVICES, WORK_ORDERS
from app.database.connections import Database
from app.errors import Conflict, Fault, Invalid, NotFound, Stale

RECENT = 20
_LOOKED_AT = 400  # forks that "recent" is computed from
PAGE_ORDER = (FORKS.c.registered_at.desc(), FORKS.c.id.desc())


class Registering(NamedTuple):
    """A fork to register, or its corrected data."""

    serial: str
    chassis: str
    configuration: Configuration
    first_used_on: str | None
    riding: str | None = None


class Held(NamedTuple):
    """A fork as it is stored."""

    id: str
    shop: str
    serial: str
    chassis: str
    configuration: Configuration
    first_used_on: str | None
    riding: str | None
    registered_at: str
    changed_at: str
    version: int


def new_id() -> str:
    """An id that nobody can guess."""
    return base64.b32encode(secrets.token_bytes(17)).decode().lower().rstrip("=")[:26]


def register(
    shop: Database, shop_id: str, fork: Registering, request: IdempotentRequest | None = None
) -> tuple[Held, bool]:
    """A new fork of that shop; True if the same `request` registered it before.

    Raises Conflict, naming the fork that already has the serial; NotFound if the fork has been erased since.
    """
    id = new_id()
    at = now()
    with shop.write() as connection:
        if (before := made_before(connection, request)) is not None:
            return held_in(connection, shop_id, before), True
        _refuse_twice(connection, shop_id, fork.serial, None)
        row = {
            "id": id, "shop": shop_id, "serial": fork.serial, "chassis": fork.chassis,
            "configuration": written(fork.configuration), "first_used_on": fork.first_used_on, "riding": fork.riding,
            "registered_at": at, "changed_at": at, "version": 1, "erasing": False,
        }  # fmt: skip
        connection.execute(insert(FORKS), row)
        remember(connection, request, id)
        return held_in(connection, shop_id, id), False


def held(shop: Database, shop_id: str, id: str) -> Held:
    """The fork with that id. Raises NotFound, for another shop's fork too."""
    with shop.read() as connection:
        return held_in(connection, shop_id, id)


def held_in(connection: Connection, shop_id: str, id: str) -> Held:
    """Like `held`, on an open connection."""
    row = connection.execute(select(FORKS).where(_own(shop_id), FORKS.c.id == id)).first()
    if row is None:
        raise nothing()
    return _held(row)


def nothing() -> NotFound:
    """One answer for another shop's fork, an erased one, and one that never existed."""
    return NotFound("There is no fork with this id.")


class Page(NamedTuple):
    """Forks, newest first, their total number, and whether there are more."""

    forks: list[Held]
    total: int
    more: bool


def listed(
    shop: Database, shop_id: str, limit: int, after: tuple[str, str] | None, *, serial: str | None, chassis: str | None
) -> Page:
    """A page of a shop's forks after that position (registered_at, id)."""
    wanted = [_own(shop_id)]
    wanted += [] if serial is None else [FORKS.c.serial == serial]
    wanted += [] if chassis is None else [FORKS.c.chassis == chassis]
    statement = select(FORKS).where(*wanted).order_by(*PAGE_ORDER).limit(limit + 1)
    if after is not None:
        statement = statement.where(tuple_(FORKS.c.registered_at, FORKS.c.id) < tuple_(*after))
    with shop.read() as connection:
        total = connection.execute(select(func.count()).select_from(FORKS).where(*wanted)).scalar_one()
        rows = connection.execute(statement).fetchall()
    return Page([_held(row) for row in rows[:limit]], total, len(rows) > limit)


def replace(
    shop: Database, shop_id: str, id: str, fork: Registering, versions: set[int], empty: Collection[str] = ()
) -> Held:
    """Correct the data of a fork.

    Raises NotFound, Conflict, Stale unless given the current version, and Invalid if a member would be cleared that
    `empty` does not name.
    """
    with shop.write() as connection:
        before = held_in(connection, shop_id, id)
        if before.version not in versions:
            current = f'"r{before.version}.present"'
            raise Stale("The fork has changed since it was read: read it again.", current=current)
        _refuse_emptied(before, fork, empty)
        _refuse_twice(connection, shop_id, fork.serial, id)
        put(connection, before, fork.configuration, serial=fork.serial, chassis=fork.chassis,
            first_used_on=fork.first_used_on, riding=fork.riding)  # fmt: skip
        return held_in(connection, shop_id, id)


def _refuse_emptied(before: Held, fork: Registering, empty: Collection[str]) -> None:
    """Raises Invalid naming each member that has a value now, is absent or empty in `fork`, and is not in `empty`."""
    noted, given = (
        {**each.configuration, "first_used_on": each.first_used_on, "riding": each.riding} for each in (before, fork)
    )
    gone = [name for name, value in noted.items() if value not in (None, []) and given.get(name) in (None, [])]
    names = ["travel" if name == "travel_mm" else name for name in gone]
    faults = [
        Fault("would-empty", f"{name} would be cleared: give it, or name it in empty", pointer=f"/{name}")
        for name in names
        if name not in empty
    ]
    if faults:
        missing = ", ".join(str(fault.pointer)[1:] for fault in faults)
        raise Invalid(f"A put must give the complete fork; this one would clear {missing}.", faults)


def put(connection: Connection, fork: Held, configuration: Configuration, **more: str | None) -> None:
    """Write a fork's current configuration."""
    values = {"configuration": written(configuration), "changed_at": now(), "version": fork.version + 1, **more}
    connection.execute(update(FORKS).where(FORKS.c.id == fork.id).values(values))


def erase(shop: Database, shop_id: str, id: str) -> None:
    """Erase a fork, its jobs and its work orders from the rows, the free space of the file and its write-ahead log.

    The content goes first and the row last, so an interrupted erasure continues when it is requested again. Raises
    NotFound, and Unavailable if the file could not be rewritten.
    """
    with shop.write() as connection:
        own = (FORKS.c.shop == shop_id, FORKS.c.id == id)
        if connection.execute(select(FORKS.c.id).where(*own)).first() is None:
            raise nothing()
        connection.execute(delete(SERVICES).where(SERVICES.c.fork == id))
        orders = select(WORK_ORDERS.c.id).where(WORK_ORDERS.c.fork == id)
        made = (IDEMPOTENCY_KEYS.c.made == id) | IDEMPOTENCY_KEYS.c.made.in_(orders)
        connection.execute(delete(IDEMPOTENCY_KEYS).where(made))
        connection.execute(delete(WORK_ORDERS).where(WORK_ORDERS.c.fork == id))
        blank = {
            "serial": f"erased {id}", "chassis": "", "configuration": "{}", "first_used_on": None, "riding": None,
            "erasing": True, "registered_at": "", "changed_at": "",
        }  # fmt: skip
        connection.execute(update(FORKS).where(*own).values(blank))
    shop.rewrite("forks", "services", "work_orders", "idempotency_keys")
    with shop.write() as connection:
        connection.execute(delete(FORKS).where(FORKS.c.id == id))


class Recent(NamedTuple):
    """A configuration used by forks of the shop, how many have it, and when one last got it."""

    chassis: str
    configuration: Configuration
    forks: int
    changed_at: str


def recent(shop: Database, shop_id: str, chassis: str | None) -> list[Recent]:
    """The shop's configurations, the most recent first ("same as the last one"). No fork is named."""
    statement = (
        select(FORKS.c.chassis, FORKS.c.configuration, FORKS.c.changed_at)
        .where(_own(shop_id), *([] if chassis is None else [FORKS.c.chassis == chassis]))
        .order_by(FORKS.c.changed_at.desc(), FORKS.c.id)
        .limit(_LOOKED_AT)
    )
    with shop.read() as connection:
        rows = connection.execute(statement).fetchall()
    counted = Counter((row.chassis, row.configuration) for row in rows)
    newest = {(row.chassis, row.configuration): row.changed_at for row in reversed(rows)}
    order = list(dict.fromkeys((row.chassis, row.configuration) for row in rows))[:RECENT]
    return [Recent(each[0], read_configuration(each[1]), counted[each], newest[each]) for each in order]


def fork_view(fork: Held) -> ForkView:
    """A fork as answers show it."""
    shown: ForkView = {
        "id": fork.id, "serial": fork.serial, "chassis": fork.chassis,
        "configuration": configuration_view(fork.configuration), "registered_at": fork.registered_at,
        "changed_at": fork.changed_at, "version": fork.version,
    }  # fmt: skip
    if fork.first_used_on is not None:
        shown["first_used_on"] = fork.first_used_on
    if fork.riding is not None:
        shown["riding"] = fork.riding
    return shown


def _held(row: Row[Any]) -> Held:
    return Held(
        row.id, row.shop, row.serial, row.chassis, read_configuration(row.configuration), row.first_used_on, row.riding,
        row.registered_at, row.changed_at, row.version,
    )  # fmt: skip


def _own(shop_id: str) -> ColumnElement[bool]:
    return (FORKS.c.shop == shop_id) & FORKS.c.erasing.is_(False)


def _refuse_twice(connection: Connection, shop_id: str, serial: str, id: str | None) -> None:
    there = connection.execute(select(FORKS.c.id).where(_own(shop_id), FORKS.c.serial == serial)).scalar()
    if there is not None and there != id:
        text = "A fork with this serial is already registered."
        raise Conflict(text, [Fault("serial-registered", text, pointer="/serial", suggestion=there)])
