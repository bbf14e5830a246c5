"""The shapes a rule may see: a row, a family, an entity with its referrers, a change. Read only."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from functools import cache
from typing import Literal, NamedTuple, TypeVar

from app.catalogue.rows import Rows
from app.catalogue.tables import (
    TABLES,
    Row,
    Source,
    Statement,
)

R = TypeVar("R", bound=Row)
S = TypeVar("S", bound=Statement)
Absent = frozenset[tuple[str, str]]
KEPT = 4096  # entities of one table kept between families


class RowView(NamedTuple):
    """One row, and which of the things it and its neighbours name are not there, as (table, id)."""

    row: Row
    absent: Absent


class Change(NamedTuple):
    """One row before and after; `before` is None where it is new, `after` where it is withdrawn."""

    table: type[Row]
    op: Literal["put", "withdraw"]
    id: str
    before: Row | None
    after: Row | None


class ChangeView(NamedTuple):
    """A change with the documents that the row named before and after."""

    change: Change
    source_before: Source | None
    source_after: Source | None


class EntityView(NamedTuple):
    """One row and the rows that refer to it (or, for an id, all that bear it), ordered by table and id."""

    row: Row
    referrers: tuple[Row, ...]


class Reference(NamedTuple):
    """A column that names rows of another table; `many` where the cell is a list."""

    column: str
    table: type[Row]
    many: bool


@cache
def references(table: type[Row]) -> tuple[Reference, ...]:
    """The reference columns of a table; that of an exception is the table itself."""
    found = []
    for name, column in table.columns().items():
        if column.refers_to is not None:
            found.append(Reference(name, TABLES[column.refers_to], column.kind.items is not None))
        elif name == "exception_to":
            found.append(Reference(name, table, False))
    return tuple(found)


@cache
def referring(table: type[Row]) -> tuple[tuple[type[Row], str], ...]:
    """Every (table, column) that can name a row of `table`."""
    return tuple(
        (other, reference.column)
        for other in TABLES.values()
        for reference in references(other)
        if reference.table is table
    )


def named(rows: Iterable[Row], table: type[Row]) -> dict[type[Row], set[str]]:
    """The ids that rows of `table` name, by the table they are of."""
    found: dict[type[Row], set[str]] = defaultdict(set)
    held = [row.__dict__ for row in rows]
    for reference in references(table):
        column = reference.column
        if reference.many:
            found[reference.table].update(id for fields in held for id in fields[column] or ())
        else:
            ids = {fields[column] for fields in held}
            ids.discard(None)
            found[reference.table].update(ids)
    return found


class Entities:
    """Entities by id at one revision; the last few thousand of each table are kept, so that memory stays flat."""

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
        self._kept: dict[type[Row], dict[str, Row | None]] = defaultdict(dict)

    def get(self, table: type[R], ids: Collection[str]) -> dict[str, R]:
        """Those of the ids that are there."""
        kept = self._kept[table]
        unknown = [id for id in ids if id not in kept]
        if unknown:
            if len(kept) > KEPT:
                kept.clear()
                unknown = list(ids)
            found = self.rows.many(table, unknown)
            for id in unknown:
                kept[id] = found.get(id)
        return {id: row for id in ids if (row := kept[id]) is not None}  # type: ignore[misc]

    def absent(self, wanted: Mapping[type[Row], set[str]], known: Mapping[type[Row], Collection[str]]) -> Absent:
        """Those of the wanted ids that are neither known nor in the catalogue."""
        missing: set[tuple[str, str]] = set()
        for table, ids in wanted.items():
            unknown = ids.difference(known.get(table, ()))
            if unknown:
                there = self.get(table, unknown) if table.role == "entity" else self.rows.many(table, unknown)
                missing.update((table.table, id) for id in unknown if id not in there)
        return frozenset(missing)


def cell(row: Row, column: str | None) -> str | None:
    """The text of one cell, None where it is empty."""
    if column is None or (value := row.__dict__.get(column)) is None:
        return None
    return type(row).columns()[column].kind.write(value)
