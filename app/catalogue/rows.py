"""Rows of the catalogue at one revision: the few queries that everything else is made of. Never writes.

Questions and rules read from `Rows`. `Snapshot` reads it from a database (app.catalogue.snapshot), `MemoryRows` from
rows in memory; `Overlay` puts a pending change on top of another.
"""

import heapq
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator
from typing import Any, Protocol, TypeVar

from app.catalogue.snapshot import CHUNK, Snapshot, holding
from app.catalogue.tables import Chassis, Row

__all__ = ["CHUNK", "MemoryRows", "Overlay", "Rows", "Snapshot", "holding"]

R = TypeVar("R", bound=Row)


class Rows(Protocol):
    """The catalogue at one revision. Lists are ordered by id."""

    def one(self, table: type[R], id: str) -> R | None:
        """The row with this id, or None."""
        ...

    def many(self, table: type[R], ids: Collection[str]) -> dict[str, R]:
        """The existing rows with these ids, by id."""
        ...

    def where(self, table: type[R], column: str, value: object) -> list[R]:
        """The rows whose column equals the value, or contains it if it is a list column."""
        ...

    def among(self, table: type[R], column: str, values: Collection[str]) -> list[R]:
        """The rows whose text column (not a list) equals one of the values; at most a few hundred values."""
        ...

    def raw_rows_among(self, table: type[Row], column: str, values: Collection[str]) -> list[Any]:
        """Like `among`, unparsed for `all_from_database`: either all rows, or all stored values in exchange order."""
        ...

    def all(self, table: type[R]) -> Iterator[R]:
        """Every row, streamed in order of id."""
        ...

    def raw_rows(self, table: type[Row]) -> Iterator[Any]:
        """Like `all`, unparsed."""
        ...

    def values(self, table: type[Row], column: str) -> Iterator[str]:
        """Every distinct value of a text column (not a list), in order."""
        ...

    def shared_ids(self, tables: Collection[type[Row]]) -> list[str]:
        """Every distinct id that rows of these tables have, in order."""
        ...

    def families(self) -> Iterator[tuple[str, str]]:
        """Every distinct (maker, name) of a chassis, in order."""
        ...

    def family(self, maker: str, name: str) -> list[Chassis]:
        """The chassis with this maker and name."""
        ...


class MemoryRows:
    """Rows in memory as a catalogue: for a pending change, and for tests without a database."""

    def __init__(self, rows: Iterable[Row] = ()) -> None:
        self._rows: dict[type[Row], dict[str, Row]] = defaultdict(dict)
        self._by: dict[tuple[type[Row], str], dict[Any, list[str]]] = {}
        for row in rows:
            self._rows[row.model][row.id] = row

    def _of(self, table: type[R]) -> dict[str, R]:
        return self._rows[table]  # type: ignore[return-value]

    def _index(self, table: type[Row], column: str) -> dict[Any, list[str]]:
        index = self._by.get((table, column))
        if index is None:
            index = defaultdict(list)
            for id in sorted(self._rows[table]):
                value = getattr(self._rows[table][id], column)
                for item in value if isinstance(value, tuple) else (value,):
                    index[item].append(id)
            self._by[table, column] = index
        return index

    def one(self, table: type[R], id: str) -> R | None:
        return self._of(table).get(id)

    def many(self, table: type[R], ids: Collection[str]) -> dict[str, R]:
        rows = self._of(table)
        return {id: rows[id] for id in ids if id in rows}

    def where(self, table: type[R], column: str, value: object) -> list[R]:
        rows = self._of(table)
        return [rows[id] for id in self._index(table, column).get(value, ())]

    def among(self, table: type[R], column: str, values: Collection[str]) -> list[R]:
        rows, index = self._of(table), self._index(table, column)
        return [rows[id] for id in sorted(id for value in values for id in index.get(value, ()))]

    def raw_rows_among(self, table: type[Row], column: str, values: Collection[str]) -> list[Any]:
        return self.among(table, column, values)

    def all(self, table: type[R]) -> Iterator[R]:
        rows = self._of(table)
        return (rows[id] for id in sorted(rows))

    def raw_rows(self, table: type[Row]) -> Iterator[Any]:
        return self.all(table)

    def values(self, table: type[Row], column: str) -> Iterator[str]:
        yield from sorted(value for value in self._index(table, column) if value is not None)

    def shared_ids(self, tables: Collection[type[Row]]) -> list[str]:
        uses = Counter(id for table in tables for id in self._rows[table])
        return sorted(id for id, times in uses.items() if times > 1)

    def families(self) -> Iterator[tuple[str, str]]:
        yield from sorted({(chassis.maker, chassis.name) for chassis in self._of(Chassis).values()})

    def family(self, maker: str, name: str) -> list[Chassis]:
        return [chassis for chassis in self.where(Chassis, "maker", maker) if chassis.name == name]

    def tables(self) -> list[type[Row]]:
        """The tables that have rows."""
        return [table for table, rows in self._rows.items() if rows]

    def ids(self, table: type[Row]) -> Collection[str]:
        """The ids of one table."""
        return self._rows[table].keys()


class Overlay:
    """`base` with the `pending` rows added or replaced and the `withdrawn` ids (by table) removed."""

    def __init__(self, base: Rows, pending: MemoryRows, withdrawn: dict[type[Row], set[str]]) -> None:
        self.base = base
        self.pending = pending
        self.withdrawn = withdrawn

    def _hidden(self, table: type[Row], id: str) -> bool:
        return id in self.pending.ids(table) or id in self.withdrawn.get(table, ())

    def _merged(self, table: type[R], below: Iterable[R], above: Iterable[R]) -> Iterator[R]:
        kept = (row for row in below if not self._hidden(table, row.id))
        return heapq.merge(kept, above, key=lambda row: row.id)

    def one(self, table: type[R], id: str) -> R | None:
        row = self.pending.one(table, id)
        if row is not None or id in self.withdrawn.get(table, ()):
            return row
        return self.base.one(table, id)

    def many(self, table: type[R], ids: Collection[str]) -> dict[str, R]:
        rows = self.pending.many(table, ids)
        below = [id for id in ids if id not in rows and id not in self.withdrawn.get(table, ())]
        return {**rows, **self.base.many(table, below)} if below else rows

    def where(self, table: type[R], column: str, value: object) -> list[R]:
        return list(
            self._merged(table, self.base.where(table, column, value), self.pending.where(table, column, value))
        )

    def among(self, table: type[R], column: str, values: Collection[str]) -> list[R]:
        below, above = (rows.among(table, column, values) for rows in (self.base, self.pending))
        return list(self._merged(table, below, above))

    def raw_rows_among(self, table: type[Row], column: str, values: Collection[str]) -> list[Any]:
        if self._changes(table):
            return self.among(table, column, values)
        return self.base.raw_rows_among(table, column, values)

    def all(self, table: type[R]) -> Iterator[R]:
        return self._merged(table, self.base.all(table), self.pending.all(table))

    def raw_rows(self, table: type[Row]) -> Iterator[Any]:
        return self.all(table) if self._changes(table) else self.base.raw_rows(table)

    def _changes(self, table: type[Row]) -> bool:
        return bool(self.pending.ids(table) or self.withdrawn.get(table))

    def values(self, table: type[Row], column: str) -> Iterator[str]:
        hidden = self.base.many(table, set(self.pending.ids(table)) | self.withdrawn.get(table, set()))
        doubtful = {getattr(row, column) for row in hidden.values()} - {None}
        gone = {value for value in doubtful if not self.where(table, column, value)}
        below = (value for value in self.base.values(table, column) if value not in gone)
        last = None
        for value in heapq.merge(below, self.pending.values(table, column)):
            if value != last:
                yield value
            last = value

    def shared_ids(self, tables: Collection[type[Row]]) -> list[str]:
        possible = {*self.base.shared_ids(tables), *(id for table in tables for id in self.pending.ids(table))}
        uses = Counter(id for table in tables for id in self.many(table, possible))
        return sorted(id for id, times in uses.items() if times > 1)

    def families(self) -> Iterator[tuple[str, str]]:
        replaced = self.withdrawn.get(Chassis, set()) | set(self.pending.ids(Chassis))
        touched = {(row.maker, row.name) for row in self.base.many(Chassis, replaced).values()}
        touched.update(self.pending.families())
        present = {key for key in touched if self.family(*key)}
        untouched = (key for key in self.base.families() if key not in touched)
        return heapq.merge(untouched, sorted(present))

    def family(self, maker: str, name: str) -> list[Chassis]:
        return list(self._merged(Chassis, self.base.family(maker, name), self.pending.family(maker, name)))
