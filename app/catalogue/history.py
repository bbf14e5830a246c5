"""What happened: the versions of a row, the changes of revisions in order, the revisions themselves. Never writes.

All of it is a `where` on the spans: a row begins with `revision_from`; where it ends with `revision_to` and none of its
id begins there, it was withdrawn.
"""

import heapq
from collections.abc import Collection
from functools import cache
from typing import Any, NamedTuple, TypeVar

from sqlalchemy import Integer, TextClause, bindparam, func, select, text
from sqlalchemy.engine import Row as Fetched

from app.catalogue.rows import CHUNK, Snapshot
from app.catalogue.stored import REVISIONS, SQL, Query, held_columns
from app.catalogue.tables import TABLES, Row

R = TypeVar("R", bound=Row)


class Version(NamedTuple):
    """A row and the revisions it held for; `revision_to` is None where it still holds at the revision asked."""

    row: Row
    revision_from: int
    revision_to: int | None


class Recorded(NamedTuple):
    """One accepted revision; `recorded_at` is RFC 3339 UTC."""

    number: int
    recorded_at: str
    reason: str
    who: str
    added: int
    changed: int
    withdrawn: int


class Place(NamedTuple):
    """A place in the feed of changes, before everything that sorts after it; table and id "" begin a revision."""

    revision: int
    table: str = ""
    id: str = ""


class Changed(NamedTuple):
    """One change of one row; `row` is None where it was withdrawn."""

    revision: int
    table: str
    id: str
    row: Row | None


def versions(snapshot: Snapshot, table: type[Row], id: str) -> list[Version]:
    """Every version of a row up to the revision asked, oldest first; none where the id was never used."""
    found = snapshot.connection.execute(_versions(table), {"id": id, "n": snapshot.revision})
    return [_version(table, row, snapshot.revision) for row in found]


def version(snapshot: Snapshot, table: type[R], id: str) -> Version | None:
    """The version that holds at the revision asked."""
    found = snapshot.connection.execute(_holding(table), {"id": id, "n": snapshot.revision}).first()
    return None if found is None else _version(table, found, snapshot.revision)


def recorded(snapshot: Snapshot, numbers: Collection[int]) -> dict[int, Recorded]:
    """The revisions of those numbers, by number."""
    wanted = sorted(set(numbers))
    rows: dict[int, Recorded] = {}
    for start in range(0, len(wanted), CHUNK):
        for row in snapshot.connection.execute(_RECORDED, {"numbers": wanted[start : start + CHUNK]}):
            rows[row.number] = Recorded(*row)
    return rows


def revisions(snapshot: Snapshot, before: int, most: int) -> list[Recorded]:
    """The last `most` revisions below `before` and not after the one asked, newest first."""
    found = snapshot.connection.execute(_REVISIONS, {"n": snapshot.revision, "before": before, "most": most})
    return [Recorded(*row) for row in found]


def changed_total(snapshot: Snapshot, after: int) -> int:
    """How many changes there are in the revisions after `after`, up to the one asked."""
    return snapshot.connection.execute(_TOTAL, {"after": after, "n": snapshot.revision}).scalar() or 0


def changes(snapshot: Snapshot, start: Place, most: int) -> list[Changed]:
    """The first `most` changes after a place, ordered by (revision, table, id), up to the revision asked."""
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
    """For each table the next revision that touches it, as a heap."""
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
    """The rows that begin with a revision, and the ids of those that end with it and do not go on."""
    stored, follows = SQL[table], SQL[table].alias()
    begun = select(*held_columns(table)).where(stored.c.revision_from == bindparam("revision"))
    goes_on = select(follows.c.id).where(follows.c.id == stored.c.id, follows.c.revision_from == stored.c.revision_to)
    ended = select(stored.c.id).where(stored.c.revision_to == bindparam("revision"), ~goes_on.exists())
    after, most = stored.c.id > bindparam("after"), bindparam("most", type_=Integer)
    return tuple(each.where(after).order_by(stored.c.id).limit(most) for each in (begun, ended))  # type: ignore[return-value]


def _nexts(table: type[Row], start: str) -> list[str]:
    """As text: fifty of them built from parts would take SQLAlchemy 20 ms to put together, at the first who asks."""
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
