"""The shapes a rule may see: a row, a family, an entity with its referrers, a change. Read only."""

from functools import cache
from typing import Literal, NamedTuple

from app.catalogue.tables import TABLES, Row, Source, SpringChamber

Absent = frozenset[tuple[str, str]]


class RowView(NamedTuple):
    """One row, and the missing things that it and its neighbours name, as (table, id)."""

    row: Row
    absent: Absent


class Change(NamedTuple):
    """One row before and after; `before` is None if it is new, `after` is None if it is withdrawn."""

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
    """One row and the rows that refer to it (or, for an id, all rows that have it), ordered by table and id.

    `chambers` are those of a spring.
    """

    row: Row
    referrers: tuple[Row, ...]
    chambers: tuple[SpringChamber, ...] = ()


class RowReference(NamedTuple):
    """A column that names rows of another table; `many` if the cell is a list."""

    column: str
    table: type[Row]
    many: bool


@cache
def references(table: type[Row]) -> tuple[RowReference, ...]:
    """The reference columns of a table; an exception refers to its own table."""
    found = []
    for name, column in table.columns().items():
        if column.refers_to is not None:
            found.append(RowReference(name, TABLES[column.refers_to], column.kind.items is not None))
        elif name == "exception_to":
            found.append(RowReference(name, table, False))
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


def cell(row: Row, column: str | None) -> str | None:
    """The text of one cell, or None if it is empty."""
    if column is None or (value := getattr(row, column, None)) is None:
        return None
    return row.model.columns()[column].kind.write(value)
