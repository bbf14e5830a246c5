"""The catalogue in a database at one revision: a few statements, built once, that implement `Rows`. Never writes."""

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager
from functools import cache, cached_property
from threading import Lock
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Connection, Engine, bindparam, func, literal_column, select, union_all
from sqlalchemy.dialects import sqlite

from app.catalogue.lineage import Head, lineage_of
from app.catalogue.stored import SQL, Query, held_columns
from app.catalogue.tables import Chassis, Row, Source, Spring
from app.errors import Conflict

R = TypeVar("R", bound=Row)
_Kept = defaultdict[type[Row], dict[str, Any]]
PAGE = 1000  # rows of one page when all are wanted
ENTITIES_PER_TABLE = 1500  # recently used entities kept of each table, 0.8 to 1.7 kB each
ENTITIES_PER_CHASSIS_TABLE = 250
"""Of tables whose rows belong to one chassis: enough to go on from its fits to its sheet."""
CHASSIS_TABLES = frozenset((Chassis, Spring, Source))
CHUNK = 400  # ids in one query: below the variable limit of every engine


class NeedsThread(Exception):
    """A lookup on the event loop has reached something slow and must be repeated in a thread."""


class Snapshot:
    """The catalogue at revision `revision`, read through one connection.

    What holds at a revision never changes, so the queries of an answer need no common transaction. On SQLite the text
    of each statement, built once, goes straight to the driver, which saves a third of the time of a lookup.
    """

    def __init__(
        self, connection: Connection, revision: int, recent: "EntityCache | None" = None, *, on_event_loop: bool = False
    ) -> None:
        """`recent` caches entities for later lookups at this revision.

        With `on_event_loop`, slow work raises NeedsThread.
        """
        self.connection = connection
        self.revision = revision
        self.on_event_loop = on_event_loop
        self.cache_key: EntityCache | Engine = recent or connection.engine
        """Cache key: one object per catalogue, shared by its snapshots."""
        self._driver: Any = connection.connection.driver_connection if connection.dialect.name == "sqlite" else None
        self._recent = None if recent is None else recent.at(revision)

    @cached_property
    def head(self) -> Head:
        """The revision with its lineage."""
        return self.at(self.revision)

    def at(self, number: int) -> Head:
        """A revision up to this one with its lineage. Raises Conflict if there is none with that number any more."""
        lineage = lineage_of(self.connection, number)
        if lineage is None:
            raise Conflict(f"there is no revision {number} any more: start again")
        return Head(number, lineage)

    def require_thread(self) -> None:
        """Call this before slow work in a large catalogue. Raises NeedsThread on the event loop."""
        if self.on_event_loop:
            raise NeedsThread

    @contextmanager
    def exclusive(self, lock: Lock) -> Iterator[None]:
        """Hold a lock under which something may be built. Raises NeedsThread on the event loop if the lock is taken."""
        if not lock.acquire(blocking=not self.on_event_loop):
            raise NeedsThread
        try:
            yield
        finally:
            lock.release()

    def fetch(self, statement: Query, **parameters: Any) -> Iterable[Any]:
        """The rows of a statement over `:n` and these parameters, streamed on SQLite, all at once on PostgreSQL."""
        parameters["n"] = self.revision
        if self._driver is not None:
            text, constants = _sqlite_text(statement)
            if constants:
                parameters.update(constants)
            return self._driver.execute(text, parameters)  # type: ignore[no-any-return]
        return self.connection.execute(statement, parameters).fetchall()

    def one(self, table: type[R], id: str) -> R | None:
        row: R | None = None if self._recent is None else self._recent[table].get(id)
        if row is None:
            for found in self.fetch(_equal(table, "id"), value=id):
                row = table.from_database(found)
                self._keep(table, (row,))
        return row

    def many(self, table: type[R], ids: Collection[str]) -> dict[str, R]:
        rows: dict[str, R] = {}
        wanted: list[str] = []
        kept = {} if self._recent is None else self._recent[table]
        for id in ids:
            row = kept.get(id)
            if row is None:
                wanted.append(id)
            else:
                rows[id] = row
        if len(wanted) == 1:
            row = self.one(table, wanted[0])
            return rows if row is None else {**rows, wanted[0]: row}
        for start in range(0, len(wanted), CHUNK):
            found = self.among(table, "id", wanted[start : start + CHUNK])
            rows.update((row.id, row) for row in found)
            self._keep(table, found)
        return rows

    def _keep(self, table: type[Row], rows: Collection[Row]) -> None:
        if self._recent is not None and table.role == "entity":
            kept = self._recent[table]
            if len(kept) >= (ENTITIES_PER_CHASSIS_TABLE if table in CHASSIS_TABLES else ENTITIES_PER_TABLE):
                kept.clear()
            for row in rows:
                kept[row.id] = row

    def among(self, table: type[R], column: str, values: Collection[str]) -> list[R]:
        return table.all_from_database(self.raw_rows_among(table, column, values)) if values else []

    def raw_rows_among(self, table: type[Row], column: str, values: Collection[str]) -> list[Any]:
        part = list(values)
        statement = _among(table, column, part if self._driver is None else None)
        found = self.fetch(statement, values=json.dumps(part))
        return list(found) if self._driver is not None else [tuple(row) for row in found]

    def where(self, table: type[R], column: str, value: object) -> list[R]:
        items = table.columns()[column].kind.items
        if items is not None:
            text = f";{items.write(value)};"
            return table.all_from_database(self.fetch(_holding(table, column), value=text))
        return table.all_from_database(self.fetch(_equal(table, column), value=value))

    def all(self, table: type[R]) -> Iterator[R]:
        return map(table.from_database, self.raw_rows(table))

    def raw_rows(self, table: type[Row]) -> Iterator[Any]:
        found = self._streamed(_every(table), SQL[table].c.id)
        return found if self._driver is not None else map(tuple, found)

    def values(self, table: type[Row], column: str) -> Iterator[str]:
        for (value,) in self._streamed(_values(table, column), SQL[table].c[column]):
            yield value

    def shared_ids(self, tables: Collection[type[Row]]) -> list[str]:
        return [id for (id,) in self.fetch(_shared(tuple(tables)))]

    def families(self) -> Iterator[tuple[str, str]]:
        yield from [(maker, name) for maker, name in self.fetch(_families())]

    def family(self, maker: str, name: str) -> list[Chassis]:
        return [Chassis.from_database(row) for row in self.fetch(_family(), maker=maker, name=name)]

    def _streamed(self, statement: Query, key: ColumnElement[str]) -> Iterator[Any]:
        """The rows of a statement ordered by `key`, read page by page if a cursor would need a transaction."""
        return iter(self.fetch(statement)) if self._driver is not None else self._paged(statement, key)

    def _paged(self, statement: Query, key: ColumnElement[str]) -> Iterator[Any]:
        last = ""
        while True:
            page = self.connection.execute(_page(statement, key), {"n": self.revision, "last": last}).fetchall()
            yield from page
            if len(page) < PAGE:
                return
            last = getattr(page[-1], key.name)


class EntityCache:
    """Recently used entities at the newest revision that was requested.

    The same makers, spacers, oils and springs are needed again and again, and what holds at a revision never changes.
    Each table has its own room, so that many springs do not evict the few makers.
    """

    def __init__(self) -> None:
        self._kept: tuple[int, _Kept] = (-1, defaultdict(dict))

    def at(self, revision: int) -> "_Kept":
        """The cached rows by table and id, to read and add to; an empty cache for an older revision."""
        newest, rows = self._kept
        if revision > newest:
            rows = defaultdict(dict)
            self._kept = revision, rows
        return rows if revision >= newest else defaultdict(dict)


@cache
def _page(statement: Query, key: ColumnElement[str]) -> Query:
    return statement.where(key > bindparam("last")).limit(PAGE)


@cache
def _sqlite_text(statement: Query) -> tuple[str, dict[str, object]]:
    """The text of a statement with named parameters, and the values of its constants."""
    compiled = statement.compile(dialect=sqlite.dialect(paramstyle="named"))
    return str(compiled), {name: value for name, value in compiled.params.items() if value is not None}


def holding(table: type[Row]) -> Query:
    """The SELECT of a table's exchange columns for the rows that are valid at `:n`."""
    stored = SQL[table]
    return select(*held_columns(table)).where(
        stored.c.revision_from <= bindparam("n"), stored.c.revision_to > bindparam("n")
    )


@cache
def _equal(table: type[Row], column: str) -> Query:
    stored = SQL[table]
    return holding(table).where(stored.c[column] == bindparam("value")).order_by(stored.c.id)


@cache
def _holding(table: type[Row], column: str) -> Query:
    stored = SQL[table]
    semicolon: ColumnElement[str] = literal_column("';'")
    nothing: ColumnElement[str] = literal_column("''")
    listed = semicolon + stored.c[column] + semicolon
    # Not LIKE, which takes _ for any letter and, on SQLite, A for a.
    return holding(table).where(func.replace(listed, bindparam("value"), nothing) != listed).order_by(stored.c.id)


def _among(table: type[Row], column: str, given: list[str] | None) -> Query:
    """The rows with certain values: from a JSON list in `:values` on SQLite (None), from the values themselves
    elsewhere.
    """
    if given is None:
        return _among_json(table, column)
    return holding(table).where(SQL[table].c[column].in_(given)).order_by(SQL[table].c.id)


@cache
def _among_json(table: type[Row], column: str) -> Query:
    listed = func.json_each(bindparam("values")).table_valued("value")
    return holding(table).where(SQL[table].c[column].in_(select(listed.c.value))).order_by(SQL[table].c.id)


@cache
def _every(table: type[Row]) -> Query:
    return holding(table).order_by(SQL[table].c.id)


@cache
def _values(table: type[Row], column: str) -> Query:
    stored = SQL[table]
    given = holding(table).with_only_columns(stored.c[column]).where(stored.c[column].is_not(None))
    return (given if column == "id" else given.distinct()).order_by(stored.c[column])


@cache
def _shared(tables: tuple[type[Row], ...]) -> Query:
    several = union_all(*(holding(table).with_only_columns(SQL[table].c.id) for table in tables)).subquery()
    return select(several.c.id).group_by(several.c.id).having(func.count() > 1).order_by(several.c.id)


@cache
def _families() -> Query:
    stored = SQL[Chassis]
    return (
        holding(Chassis)
        .with_only_columns(stored.c.maker, stored.c.name)
        .distinct()
        .order_by(stored.c.maker, stored.c.name)
    )


@cache
def _family() -> Query:
    stored = SQL[Chassis]
    return (
        holding(Chassis)
        .where(stored.c.maker == bindparam("maker"), stored.c.name == bindparam("name"))
        .order_by(stored.c.id)
    )
