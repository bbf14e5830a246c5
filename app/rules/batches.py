"""Parts of a catalogue that are judged together: a few families, or rows of one table, with everything they name.

A part holds everything its rules read. Rows are not converted: a list holds only rows, or only values in exchange order
as the database holds them.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from functools import cache
from itertools import islice
from operator import itemgetter
from typing import Any, NamedTuple, TypeVar

from app.catalogue.rows import Rows
from app.catalogue.tables import (
    STATEMENTS,
    Chassis,
    Damper,
    Fastener,
    Fluid,
    Part,
    Procedure,
    Row,
    Source,
    Spacer,
    Spring,
    SpringChamber,
    Step,
    Tool,
    Variant,
)
from app.rules.view import Absent, references

R = TypeVar("R", bound=Row)

CHUNK = 400  # rows of a table, or ids in one query
TOGETHER = 16  # families
KEPT = 4096  # entities of one table kept from one part to the next
OWN: tuple[type[Row], ...] = (
    Chassis,
    Variant,
    Fastener,
    *STATEMENTS,
)  # a family's own tables; it names everything else
NUMBERED: tuple[type[Row], ...] = (Spring, Part)  # tables with part numbers and replacements
SHOWN: tuple[type[Row], ...] = (Variant, Fastener, Spring, Damper, Spacer, Part, Fluid, Source)


class JudgeScope(NamedTuple):
    """The tables of a family whose rows are judged, and those that are read to judge them."""

    judged: frozenset[type[Row]]
    read: frozenset[type[Row]]


class TableBatch(NamedTuple):
    """Rows of one table, to be judged one by one. `beside` are the rows that refer to an entity of it, `chambers`
    those of springs.
    """

    table: type[Row]
    rows: Sequence[Any]
    beside: Sequence[Any]
    absent: Absent
    chambers: Sequence[Any] = ()


class FamiliesBatch(NamedTuple):
    """Families, each as the ids of its chassis with the scope to judge; None means all of it.

    `own` are the rows about these chassis, including the chassis themselves; `named` are the things those rows name.
    """

    families: Sequence[tuple[tuple[str, ...], JudgeScope | None]]
    own: dict[type[Row], Sequence[Any]]
    named: dict[type[Row], Sequence[Any]]
    absent: Absent


def read(table: type[R], rows: Sequence[Any]) -> Sequence[R]:
    """Unconverted rows of a table."""
    return table.all_from_database(rows) if rows and type(rows[0]) is tuple else rows


def values(table: type[Row], rows: Sequence[Any], column: str) -> Iterable[Any]:
    """The values of unconverted rows in one column; a list may be in its text form."""
    if rows and type(rows[0]) is not tuple:
        return [getattr(row, column) for row in rows]
    return map(_place(table, column), rows)


@cache
def _place(table: type[Row], column: str) -> Callable[[Any], Any]:
    return itemgetter(list(table.columns()).index(column))


def _items(found: Iterable[Any]) -> set[str]:
    """The items in the cells of a list column."""
    return {item for cell in set(found) if cell for item in (cell if isinstance(cell, tuple) else cell.split(";"))}


class Gathering:
    """Gathers parts of one catalogue. A few thousand things of each table are kept, so that memory stays flat."""

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
        self._kept: dict[type[Row], dict[str, Any]] = defaultdict(dict)

    def table(self, table: type[Row], rows: Iterator[Any]) -> Iterator[TableBatch]:
        """Rows of one table, a few hundred at a time."""
        while chunk := list(islice(rows, CHUNK)):
            beside: list[Any] = []
            if table is Procedure:
                beside = self.rows.raw_rows_among(Step, "procedure", list(values(table, chunk, "id")))
            elif table is Fastener:
                drives = sorted(_items(values(table, chunk, "drives")))
                beside = self.rows.raw_rows_among(Tool, "drive", drives) if drives else []
            elif table in NUMBERED:
                beside = self._numbered(table, chunk)
            chambers = self._chambers(set(values(table, chunk, "id"))) if table is Spring else ()
            yield TableBatch(table, chunk, beside, self._absent(self._named({table: chunk}), {}), chambers)

    def _chambers(self, springs: set[str]) -> list[Any]:
        """The chambers of some springs."""
        return self.rows.raw_rows_among(SpringChamber, "spring", sorted(springs)) if springs else []

    def _numbered(self, table: type[Row], chunk: Sequence[Any]) -> list[Any]:
        """The rows that share a part number with one of these, and those that replace one of them."""
        found: list[Any] = []
        for column, name in (("part_number", "part_number"), ("id", "superseded_by")):
            wanted = sorted({text for text in values(table, chunk, name) if text is not None})
            if wanted:
                found += read(table, self.rows.raw_rows_among(table, column, wanted))
        return found

    def families(self, keys: Iterator[tuple[tuple[str, str], JudgeScope | None]]) -> Iterator[FamiliesBatch]:
        """Families by maker and name, a few at a time; one without a chassis is skipped."""
        while some := list(islice(keys, TOGETHER)):
            found = [(self.rows.family(maker, name), span) for (maker, name), span in some]
            families = [(tuple(row.id for row in chassis), span) for chassis, span in found if chassis]
            ids = [id for chassis, _ in families for id in chassis]
            tables: set[type[Row]] = {Chassis, Variant}
            for _, span in families:
                tables |= {Fastener, *STATEMENTS} if span is None else span.read
            if ids:
                yield self._families(families, ids, tables)

    def _families(
        self, families: list[tuple[tuple[str, ...], JudgeScope | None]], ids: list[str], tables: Collection[type[Row]]
    ) -> FamiliesBatch:
        own: dict[type[Row], Sequence[Any]] = {
            table: self.rows.raw_rows_among(table, "id" if table is Chassis else "chassis", ids)
            for table in OWN
            if table in tables
        }
        wanted = self._named(own)
        known = {table: set(values(table, own[table], "id")) for table in own if wanted[table]}
        absent = self._absent(wanted, known)
        named: dict[type[Row], Sequence[Any]] = {
            table: [row for id in wanted[table] - known.get(table, set()) if (row := self._kept[table].get(id))]
            for table in SHOWN
        }
        named[SpringChamber] = self._chambers(wanted[Spring])
        return FamiliesBatch(families, own, named, absent)

    def _named(self, held: dict[type[Row], Sequence[Any]]) -> dict[type[Row], set[str]]:
        """The ids that rows name, by their table."""
        found: dict[type[Row], set[str]] = defaultdict(set)
        for table, rows in held.items():
            for reference in references(table):
                cells = values(table, rows, reference.column)
                found[reference.table].update(_items(cells) if reference.many else cells)
        for ids in found.values():
            ids.discard(None)
        return found

    def _absent(self, wanted: dict[type[Row], set[str]], known: dict[type[Row], set[str]]) -> Absent:
        """The wanted ids that are neither known nor in the catalogue."""
        missing: set[tuple[str, str]] = set()
        for table, ids in wanted.items():
            unknown = ids.difference(known.get(table, ()))
            if not unknown:
                continue
            if table.role == "entity":
                kept = self._keep(table, unknown)
                missing.update((table.table, id) for id in unknown if kept[id] is None)
            else:
                there = self.rows.many(table, unknown)
                missing.update((table.table, id) for id in unknown if id not in there)
        return frozenset(missing)

    def _keep(self, table: type[Row], ids: Collection[str]) -> dict[str, Any]:
        """The kept things of a table, including these ids; None for an id that does not exist."""
        kept = self._kept[table]
        lacking = [id for id in ids if id not in kept]
        if lacking and len(kept) > KEPT:
            kept.clear()
            lacking = list(ids)
        for start in range(0, len(lacking), CHUNK):
            part = lacking[start : start + CHUNK]
            rows = self.rows.raw_rows_among(table, "id", part)
            kept.update(dict.fromkeys(part))
            kept.update(zip(values(table, rows, "id"), rows, strict=True))
        return kept
