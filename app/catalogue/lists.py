"""Filtered lists of one table at a revision, ordered by id, a page at a time, and their row counts.

A condition is a column and a value of its kind. A figure is compared by value (7.3 finds 7.30), a list column by
whether it contains the value. Each statement is built once, and every value is bound.
"""

import threading
from collections.abc import Collection, Iterable, Mapping
from decimal import Decimal
from functools import lru_cache
from typing import Any, Literal, TypeVar
from weakref import WeakKeyDictionary

from cachetools import LRUCache
from sqlalchemy import ColumnElement, bindparam, case, func, or_

from app.catalogue.columns import PUBLISHED_KIND, CellKind, Column
from app.catalogue.rows import CHUNK, Snapshot, holding
from app.catalogue.stored import SQL, Query
from app.catalogue.tables import Row
from app.catalogue.words import spellings_of

R = TypeVar("R", bound=Row)
Conditions = Mapping[str, Any]

COUNTS_KEPT = 4096
_COUNTS: WeakKeyDictionary[Any, LRUCache[Any, int]] = WeakKeyDictionary()
_GUARD = threading.Lock()
_DECIMALS = 9  # maximum digits of a figure after its decimal point


def page(snapshot: Snapshot, table: type[R], conditions: Conditions, after: str | None, limit: int) -> list[R]:
    """The first `limit` rows after the id `after`, ordered by id."""
    if conditions:  # few columns have an index
        snapshot.require_thread()
    statement = _statement(table, tuple(sorted(conditions)), "page" if after is None else "page after")
    values = {**_bound(table, conditions), "n": snapshot.revision, "most": limit, "after": after}
    if after is None:
        del values["after"]
    return [table.from_database(row) for row in snapshot.connection.execute(statement, values)]


def count(snapshot: Snapshot, table: type[Row], conditions: Conditions) -> int:
    """The number of rows. What holds at a revision never changes, so the last few thousand counts are kept."""
    names = tuple(sorted(conditions))
    values = _bound(table, conditions)
    key = (table.table, snapshot.revision, *sorted(values.items()))
    with _GUARD:
        kept = _COUNTS.setdefault(snapshot.cache_key, LRUCache(COUNTS_KEPT))
        known = kept.get(key)
    if known is None:
        snapshot.require_thread()
        known = _count(snapshot, _statement(table, names, "count"), values)
        with _GUARD:
            kept[key] = known
    return known


def _count(snapshot: Snapshot, statement: Query, values: Mapping[str, object]) -> int:
    found: int = snapshot.connection.execute(statement, {**values, "n": snapshot.revision}).scalar_one()
    return found


def meeting(snapshot: Snapshot, table: type[Row], conditions: Conditions, ids: Collection[str]) -> set[str]:
    """The ids among these whose rows meet the conditions."""
    statement = _statement(table, tuple(sorted(conditions)), "among")
    values = {**_bound(table, conditions), "n": snapshot.revision}
    wanted = list(ids)
    found: set[str] = set()
    for start in range(0, len(wanted), CHUNK):
        part = wanted[start : start + CHUNK]
        found.update(snapshot.connection.execute(statement, {**values, "among": part}).scalars())
    return found


def beside(snapshot: Snapshot, table: type[Row], id: str, most: int) -> list[str]:
    """The ids that sort next to one that may not exist: at most `most` before it and `most` after it."""
    before, after = _neighbours(table)
    values = {"n": snapshot.revision, "id": id, "most": most}
    return [
        *snapshot.connection.execute(before, values).scalars(),
        *snapshot.connection.execute(after, values).scalars(),
    ]


def canonical(value: Decimal) -> str:
    """The shortest text for the value of a figure: 7.30 is `7.3`, -0.0 is `0`."""
    text = format(value, "f")
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


Want = Literal["page", "page after", "count", "among"]


@lru_cache(maxsize=1024)
def _statement(table: type[Row], names: tuple[str, ...], want: Want) -> Query:
    stored = SQL[table]
    columns = table.columns()
    conditions = [_condition(stored.c[name], columns[name]) for name in names]
    rows = holding(table).where(*conditions)
    if want == "count":
        return rows.with_only_columns(func.count())
    if want == "among":
        return rows.with_only_columns(stored.c.id).where(stored.c.id.in_(bindparam("among", expanding=True)))
    paged = rows.order_by(stored.c.id).limit(bindparam("most"))
    return paged if want == "page" else paged.where(stored.c.id > bindparam("after"))


@lru_cache(maxsize=64)
def _neighbours(table: type[Row]) -> tuple[Query, Query]:
    stored = SQL[table]
    ids = holding(table).with_only_columns(stored.c.id)
    before = ids.where(stored.c.id < bindparam("id")).order_by(stored.c.id.desc()).limit(bindparam("most"))
    after = ids.where(stored.c.id >= bindparam("id")).order_by(stored.c.id).limit(bindparam("most"))
    return before, after


def _condition(stored: Any, described: Column) -> ColumnElement[bool]:
    items = described.kind.items
    if items is not None:
        # replace() tells on both engines whether a text contains another, without wildcards
        inside = ";" + stored + ";"
        contained = (
            func.replace(inside, bindparam(f"v_{described.name}_{place}"), "") != inside
            for place in range(_spellings(items))
        )
        return or_(*contained)
    wanted: Any = bindparam(f"v_{described.name}")
    found: ColumnElement[bool]
    if described.kind.words is not None:  # every way to write the word
        found = func.lower(stored).in_(bindparam(f"v_{described.name}", expanding=True))
        return found
    if described.kind is not PUBLISHED_KIND:
        found = stored == wanted
        return found
    short = case((func.replace(stored, ".", "") != stored, func.rtrim(func.rtrim(stored, "0"), ".")), else_=stored)
    found = case((short == "-0", "0"), else_=short) == wanted
    return found


def _spellings(items: CellKind) -> int:
    return _DECIMALS + 1 if items is PUBLISHED_KIND else 1


def _bound(table: type[Row], conditions: Conditions) -> dict[str, object]:
    return dict(_values(table.columns(), conditions))


def _values(columns: Mapping[str, Column], conditions: Conditions) -> Iterable[tuple[str, object]]:
    for name, value in conditions.items():
        kind = columns[name].kind
        if kind.words is not None:
            yield f"v_{name}", spellings_of(kind.words, value)
        elif kind.items is None:
            yield f"v_{name}", canonical(value) if kind is PUBLISHED_KIND else value
        elif kind.items is PUBLISHED_KIND:
            short = canonical(value)
            decimals = len(short.partition(".")[2])
            for place in range(_DECIMALS + 1):  # every spelling of the value
                padded = (
                    short if place <= decimals else f"{short}{'' if '.' in short else '.'}{'0' * (place - decimals)}"
                )
                yield f"v_{name}_{place}", f";{padded};"
        else:
            yield f"v_{name}_0", f";{kind.items.write(value)};"
