"""Rows of the catalogue at one revision: the few queries that everything else is made of. Never writes.

`Rows` is what questions and rules read from. `At` answers it from a database, `MemoryRows` from rows in hand,
`Overlay` lays a pending change over another.
"""

import heapq
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from functools import cache
from typing import Any, Protocol, TypeVar

from sqlalchemy import Connection, Select, bindparam, select

from app.catalogue.stored import SQL
from app.catalogue.tables import Chassis, Row

R = TypeVar("R", bound=Row)
CHUNK = 400  # ids in one query: below the variable limit of every engine


class Rows(Protocol):
    """The catalogue at one revision. Lists are ordered by id."""

    def one(self, table: type[R], id: str) -> R | None:
        """The row of that id, or None."""
        ...

    def many(self, table: type[R], ids: Collection[str]) -> dict[str, R]:
        """The rows of those ids that are there, by id."""
        ...

    def where(self, table: type[R], column: str, value: Any) -> list[R]:
        """The rows whose column equals the value; of a list column: those whose list holds it."""
        ...

    def all(self, table: type[R]) -> Iterator[R]:
        """Every row, streamed in order of id."""
        ...

    def values(self, table: type[Row], column: str) -> Iterator[str]:
        """Every value of a text column that no list holds and some row gives, once, in order."""
        ...

    def families(self) -> Iterator[tuple[str, str]]:
        """Every (maker, name) of a chassis, once, in order."""
        ...

    def family(self, maker: str, name: str) -> list[Chassis]:
        """The chassis of one maker and name."""
        ...


class At:
    """The catalogue at revision `revision`, read through one connection.

    What holds at a revision never changes, so the queries of an answer need no common snapshot.
    """

    def __init__(self, connection: Connection, revision: int) -> None:
        self.connection = connection
        self.revision = revision

    def one(self, table: type[R], id: str) -> R | None:
        found = self.connection.execute(_equal(table, "id"), {"n": self.revision, "value": id}).first()
        return None if found is None else table.trusted(found)

    def many(self, table: type[R], ids: Collection[str]) -> dict[str, R]:
        wanted = list(ids)
        if len(wanted) == 1:
            row = self.one(table, wanted[0])
            return {} if row is None else {row.id: row}
        rows: dict[str, R] = {}
        for start in range(0, len(wanted), CHUNK):
            part = wanted[start : start + CHUNK]
            for found in self.connection.execute(_among(table), {"n": self.revision, "values": part}):
                row = table.trusted(found)
                rows[row.id] = row
        return rows

    def where(self, table: type[R], column: str, value: Any) -> list[R]:
        items = table.columns()[column].kind.items
        if items is not None:
            text = f"%;{items.write(value)};%"
            statement = _holding(table, column)
            return [
                table.trusted(row) for row in self.connection.execute(statement, {"n": self.revision, "value": text})
            ]
        statement = _equal(table, column)
        return [table.trusted(row) for row in self.connection.execute(statement, {"n": self.revision, "value": value})]

    def all(self, table: type[R]) -> Iterator[R]:
        result = self.connection.execution_options(yield_per=1000).execute(_every(table), {"n": self.revision})
        for row in result:
            yield table.trusted(row)

    def values(self, table: type[Row], column: str) -> Iterator[str]:
        result = self.connection.execution_options(yield_per=1000).execute(_values(table, column), {"n": self.revision})
        for (value,) in result:
            yield value

    def families(self) -> Iterator[tuple[str, str]]:
        stored = SQL[Chassis]
        statement = (
            select(stored.c.maker, stored.c.name)
            .where(stored.c.revision_from <= self.revision, stored.c.revision_to > self.revision)
            .distinct()
            .order_by(stored.c.maker, stored.c.name)
        )
        for row in self.connection.execute(statement).fetchall():
            yield row.maker, row.name

    def family(self, maker: str, name: str) -> list[Chassis]:
        return [
            Chassis.trusted(row)
            for row in self.connection.execute(_family(), {"n": self.revision, "maker": maker, "name": name})
        ]


def holding(table: type[Row]) -> Select[Any]:
    """The select of a table's exchange columns for the rows that hold at `:n`."""
    stored = SQL[table]
    columns = [stored.c[name] for name in table.columns()]
    return select(*columns).where(stored.c.revision_from <= bindparam("n"), stored.c.revision_to > bindparam("n"))


@cache
def _equal(table: type[Row], column: str) -> Select[Any]:
    stored = SQL[table]
    return holding(table).where(stored.c[column] == bindparam("value")).order_by(stored.c.id)


@cache
def _holding(table: type[Row], column: str) -> Select[Any]:
    stored = SQL[table]
    return holding(table).where((";" + stored.c[column] + ";").like(bindparam("value"))).order_by(stored.c.id)


@cache
def _among(table: type[Row]) -> Select[Any]:
    stored = SQL[table]
    return holding(table).where(stored.c.id.in_(bindparam("values", expanding=True))).order_by(stored.c.id)


@cache
def _every(table: type[Row]) -> Select[Any]:
    return holding(table).order_by(SQL[table].c.id)


@cache
def _values(table: type[Row], column: str) -> Select[Any]:
    stored = SQL[table]
    given = select(stored.c[column]).where(
        stored.c.revision_from <= bindparam("n"), stored.c.revision_to > bindparam("n"), stored.c[column].is_not(None)
    )
    return (given if column == "id" else given.distinct()).order_by(stored.c[column])


@cache
def _family() -> Select[Any]:
    stored = SQL[Chassis]
    return (
        holding(Chassis)
        .where(stored.c.maker == bindparam("maker"), stored.c.name == bindparam("name"))
        .order_by(stored.c.id)
    )


class MemoryRows:
    """Rows in hand, as a catalogue: for a pending change, and for tests that need no database."""

    def __init__(self, rows: Iterable[Row] = ()) -> None:
        self._rows: dict[type[Row], dict[str, Row]] = defaultdict(dict)
        self._by: dict[tuple[type[Row], str], dict[Any, list[str]]] = {}
        for row in rows:
            self._rows[type(row)][row.id] = row

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

    def where(self, table: type[R], column: str, value: Any) -> list[R]:
        rows = self._of(table)
        return [rows[id] for id in self._index(table, column).get(value, ())]

    def all(self, table: type[R]) -> Iterator[R]:
        rows = self._of(table)
        return (rows[id] for id in sorted(rows))

    def values(self, table: type[Row], column: str) -> Iterator[str]:
        yield from sorted(value for value in self._index(table, column) if value is not None)

    def families(self) -> Iterator[tuple[str, str]]:
        yield from sorted({(chassis.maker, chassis.name) for chassis in self._of(Chassis).values()})

    def family(self, maker: str, name: str) -> list[Chassis]:
        return [chassis for chassis in self.where(Chassis, "maker", maker) if chassis.name == name]

    def tables(self) -> list[type[Row]]:
        """The tables of which there are rows."""
        return [table for table, rows in self._rows.items() if rows]

    def ids(self, table: type[Row]) -> Collection[str]:
        """The ids of one table."""
        return self._rows[table].keys()


class Overlay:
    """`base` with the rows of `pending` put over it and the `withdrawn` ids (by table) taken away."""

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

    def where(self, table: type[R], column: str, value: Any) -> list[R]:
        return list(
            self._merged(table, self.base.where(table, column, value), self.pending.where(table, column, value))
        )

    def all(self, table: type[R]) -> Iterator[R]:
        return self._merged(table, self.base.all(table), self.pending.all(table))

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

    def families(self) -> Iterator[tuple[str, str]]:
        replaced = self.withdrawn.get(Chassis, set()) | set(self.pending.ids(Chassis))
        touched = {(row.maker, row.name) for row in self.base.many(Chassis, replaced).values()}
        touched.update(self.pending.families())
        present = {key for key in touched if self.family(*key)}
        untouched = (key for key in self.base.families() if key not in touched)
        return heapq.merge(untouched, sorted(present))

    def family(self, maker: str, name: str) -> list[Chassis]:
        return list(self._merged(Chassis, self.base.family(maker, name), self.pending.family(maker, name)))
