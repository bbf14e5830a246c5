"""The history: versions of a row, changes in order, and revisions. Never writes.

Everything is a query on the spans. A row begins with `revision_from`; if it ends with `revision_to` and no version of
its id begins there, it was withdrawn.
"""

import heapq
from collections.abc import Collection, Iterable
from functools import cache
from typing import Any, NamedTuple, TypeVar

from sqlalchemy import Integer, TextClause, bindparam, func, select, text
from sqlalchemy.engine import Row as Fetched

from app.catalogue.rows import CHUNK, Snapshot
from app.catalogue.stored import REVISIONS, SQL, Query, held_columns
from app.catalogue.tables import TABLES, Row

R = TypeVar("R", bound=Row)


class Version(NamedTuple):
    """A row and the revisions it was valid for; `revision_to` is None if it is valid at the requested revision."""

    row: Row
    revision_from: int
    revision_to: int | None


class Recorded(NamedTuple):
    """One accepted revision; `recorded_at` is RFC 3339 UTC, `lineage` as in `app.catalogue.lineage`."""

    number: int
    recorded_at: str
    reason: str
    who: str
    lineage: str
    added: int
    changed: int
    withdrawn: int


class Place(NamedTuple):
    """A position in the change feed, before everything that sorts after it. An empty table and id begin a revision."""

    revision: int
    table: str = ""
    id: str = ""


class Changed(NamedTuple):
    """One change of one row; `row` is None if it was withdrawn."""

    revision: int
    table: str
    id: str
    row: Row | None


def versions(snapshot: Snapshot, table: type[Row], id: str) -> list[Version]:
    """Every version of a row up to the requested revision, oldest first; empty if the id was never used."""
    found = snapshot.connection.execute(_versions(table), {"id": id, "n": snapshot.revision})
    return [_version(table, row, snapshot.revision) for row in found]


def version(snapshot: Snapshot, table: type[R], id: str) -> Version | None:
    """The version that is valid at the requested revision."""
    found = snapshot.connection.execute(_holding(table), {"id": id, "n": snapshot.revision}).first()
    return None if found is None else _version(table, found, snapshot.revision)


def valid_at(found: Iterable[Version], revision: int) -> Row | None:
    """The row among its versions that was valid at a revision."""
    for each in found:
        if each.revision_from <= revision and (each.revision_to is None or revision < each.revision_to):
            return each.row
    return None


def recorded(snapshot: Snapshot, numbers: Collection[int]) -> dict[int, Recorded]:
    """The revisions with these numbers, by number."""
    wanted = sorted(set(numbers))
    rows: dict[int, Recorded] = {}
    for start in range(0, len(wanted), CHUNK):
        for row in snapshot.connection.execute(_RECORDED, {"numbers": wanted[start : start + CHUNK]}):
            rows[row.number] = Recorded(*row)
    return rows


def revisions(snapshot: Snapshot, before: int, most: int) -> list[Recorded]:
    """The last `most` revisions below `before` and up to the requested one, newest first."""
    found = snapshot.connection.execute(_REVISIONS, {"n": snapshot.revision, "before": before, "most": most})
    return [Recorded(*row) for row in found]


def changed_total(snapshot: Snapshot, after: int) -> int:
    """The number of changes in the revisions after `after`, up to the requested one."""
    return snapshot.connection.execute(_TOTAL, {"after": after, "n": snapshot.revision}).scalar() or 0


def changes(snapshot: Snapshot, start: Place, most: int) -> list[Changed]:
    """The first `most` changes after a position, ordered by (revision, table, id), up to the requested revision."""
    found: list[Changed] = []
    coming = _coming(snapshot, start)
    while coming and len(found) < most:
        revision, name = heapq.heappop(coming)
        table = TABLES[name]
        after = start.id if (revision, name) == start[:2] else ""
        found += _changes_of(snapshot, table, revision, after, most - len(found))
        if len(found) < most:
            following = snapshot.connection.execute(_next(table), {"n": snapshot.revision, "start": revision + 1}).one()
            if (soonest := _soonest(following)) is not None:
                heapq.heappush(coming, (soonest, name))
    return found


def _coming(snapshot: Snapshot, start: Place) -> list[tuple[int, str]]:
    """For each table the next revision that changes it, as a heap."""
    starts = {f"start_{name}": start.revision + (name < start.table) for name in TABLES}
    touched = snapshot.connection.execute(_first_of_all(), {"n": snapshot.revision, **starts}).one()
    coming = []
    for place, name in enumerate(TABLES):
        soonest = _soonest(touched[2 * place : 2 * place + 2])
        if soonest is not None:
            coming.append((soonest, name))
    heapq.heapify(coming)
    return coming


def _soonest(numbers: Any) -> int | None:
    return min((number for number in numbers if number is not None), default=None)


def _changes_of(snapshot: Snapshot, table: type[Row], revision: int, after: str, most: int) -> list[Changed]:
    values = {"revision": revision, "after": after, "most": most}
    begun, ended = _touched(table)
    rows = [table.from_database(row) for row in snapshot.connection.execute(begun, values)]
    puts = [Changed(revision, table.table, row.id, row) for row in rows]
    withdrawn = snapshot.connection.execute(ended, values).scalars()
    ends = [Changed(revision, table.table, id, None) for id in withdrawn]
    return list(heapq.merge(puts, ends, key=lambda change: change.id))[:most]


def _version(table: type[Row], fetched: Fetched[Any], n: int) -> Version:
    values: tuple[Any, ...] = tuple(fetched)
    begins, ends = values[-2:]
    return Version(table.from_database(values[:-2]), begins, None if ends > n else ends)


@cache
def _versions(table: type[Row]) -> Query:
    stored = SQL[table]
    return (
        select(*held_columns(table), stored.c.revision_from, stored.c.revision_to)
        .where(stored.c.id == bindparam("id"), stored.c.revision_from <= bindparam("n"))
        .order_by(stored.c.revision_from)
    )


@cache
def _holding(table: type[Row]) -> Query:
    return _versions(table).where(SQL[table].c.revision_to > bindparam("n"))


@cache
def _touched(table: type[Row]) -> tuple[Query, Query]:
    """The rows that begin with a revision, and the ids of rows that end with it without a new version."""
    stored, follows = SQL[table], SQL[table].alias()
    begun = select(*held_columns(table)).where(stored.c.revision_from == bindparam("revision"))
    goes_on = select(follows.c.id).where(follows.c.id == stored.c.id, follows.c.revision_from == stored.c.revision_to)
    ended = select(stored.c.id).where(stored.c.revision_to == bindparam("revision"), ~goes_on.exists())
    after, most = stored.c.id > bindparam("after"), bindparam("most", type_=Integer)
    return tuple(each.where(after).order_by(stored.c.id).limit(most) for each in (begun, ended))  # type: ignore[return-value]


def _nexts(table: type[Row], start: str) -> list[str]:
    """The statement as text: SQLAlchemy would take 20 ms to build its fifty parts at the first request."""
    return [
        f"(SELECT min({end}) FROM {SQL[table].name} WHERE {end} >= :{start} AND {end} <= :n)"
        for end in ("revision_from", "revision_to")
    ]


@cache
def _next(table: type[Row]) -> TextClause:
    return text(f"SELECT {', '.join(_nexts(table, 'start'))}")


@cache
def _first_of_all() -> TextClause:
    return text(f"SELECT {', '.join(n for name, table in TABLES.items() for n in _nexts(table, f'start_{name}'))}")


_COLUMNS = [REVISIONS.c[name] for name in Recorded._fields]
_RECORDED = select(*_COLUMNS).where(REVISIONS.c.number.in_(bindparam("numbers", expanding=True)))
_REVISIONS = (
    select(*_COLUMNS)
    .where(REVISIONS.c.number <= bindparam("n"), REVISIONS.c.number < bindparam("before"))
    .order_by(REVISIONS.c.number.desc())
    .limit(bindparam("most"))
)
_TOTAL = select(func.sum(REVISIONS.c.added + REVISIONS.c.changed + REVISIONS.c.withdrawn)).where(
    REVISIONS.c.number > bindparam("after"), REVISIONS.c.number <= bindparam("n")
)
