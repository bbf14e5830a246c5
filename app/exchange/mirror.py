"""Keeps a copy of another catalogue from its change feed, revision by revision, each complete or not at all.

A copy keeps the numbers, times, reasons and labels of the origin and every version of every row, so that it answers
as the origin does, of the past too. It goes on where it ended, whatever ended it. Nothing is stored before its content
hash is that of the origin.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from itertools import groupby, islice
from operator import attrgetter, itemgetter

from sqlalchemy import Connection

from app.catalogue.catalogue import Catalogue, Pin
from app.catalogue.content_hash import HASH_VERSION, content_hash
from app.catalogue.history import recorded
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Row
from app.catalogue.writing import NewRevision
from app.database.connections import Database
from app.errors import Conflict, Invalid
from app.exchange.cells import ChangedCells
from app.exchange.judging import MANY, changes_of, judge, keep
from app.exchange.origin import Origin, OriginChange
from app.exchange.read_edits import Edit, read_edits
from app.rules.view import Change

AT_ONCE = 1000
MOST_TOGETHER = 256
"""Revisions that are compared and stored together. A copy begins with one and doubles: a hash reads all rows."""

Notify = Callable[[int, ChangedCells], None]
Revisions = Iterator[tuple[int, Iterator[OriginChange]]]


def follow(database: Database, origin: Origin, notify: Notify = lambda number, cells: None) -> int:
    """Copy everything that the origin has accepted since; return the latest revision.

    `notify` is called with the number of each revision and the cells it changed; nothing is refused because of them.

    Raises Conflict if the copy is not, or no longer, one of this origin, or the content hashes differ; Unavailable if
    the origin cannot be read. Revisions that were stored before stay.
    """
    number = _latest(database)
    _same_so_far(database, origin, number)
    together = 1
    while True:
        before = number
        revisions: Revisions = groupby(origin.changes(before), key=itemgetter("revision"))
        while taken := _take_together(database, origin, islice(revisions, together)):
            for number, cells in taken:
                notify(number, cells)
            together = min(2 * together, MOST_TOGETHER)
        if number == before:
            return number


def verify(database: Database, origin: Origin, number: int) -> str:
    """The content hash of a revision, from here and from the origin. Raises Conflict if they differ.

    An origin whose build defines the hash differently cannot be compared.
    """
    with Catalogue(database).snapshot(Pin(number)) as snapshot:
        return _verified(snapshot, origin)


def _verified(snapshot: Snapshot, origin: Origin) -> str:
    _is_recorded_there(snapshot, origin)
    ours = content_hash(snapshot)
    theirs, version = origin.content_hash(snapshot.revision)
    if version == HASH_VERSION and ours != theirs:
        raise Conflict(f"revision {snapshot.revision} of this copy is not what the origin has; make a new copy")
    return ours


def _latest(database: Database) -> int:
    with Catalogue(database).snapshot() as snapshot:
        return snapshot.revision


def _same_so_far(database: Database, origin: Origin, number: int) -> None:
    with Catalogue(database).snapshot(Pin(number)) as snapshot:
        _is_recorded_there(snapshot, origin)


def _is_recorded_there(snapshot: Snapshot, origin: Origin) -> None:
    """Check that the copy's last revision exists at the origin, which may be another one or restored to an earlier
    state.
    """
    number = snapshot.revision
    if number == 0:
        return
    ours, theirs = recorded(snapshot, [number])[number], origin.recorded(number)
    if theirs is None or ours._asdict() | theirs != ours._asdict():
        raise Conflict(f"revision {number} here is not revision {number} of the origin; make a new copy")


def _take_together(
    database: Database, origin: Origin, revisions: Iterator[tuple[int, Iterator[OriginChange]]]
) -> list[tuple[int, ChangedCells]]:
    """Write some revisions, and commit them if the last is what the origin has. Empty if there are none.

    The write lock is held while their pages come; lookups go on.
    """
    first = next(revisions, None)
    if first is None:
        return []
    with database.write() as connection:
        taken = [(number, _take(connection, number, changes)) for number, changes in _chained(first, revisions)]
        _verified(Snapshot(connection, taken[-1][0]), origin)
    return taken


def _chained(first: tuple[int, Iterator[OriginChange]], rest: Revisions) -> Revisions:
    yield first
    yield from rest


def _take(connection: Connection, number: int, changes: Iterator[OriginChange]) -> ChangedCells:
    """Write one revision of the origin, each row whole: a value that the feed does not give is empty."""
    cells = ChangedCells()
    revision = NewRevision(connection)
    if revision.number != number:
        raise Conflict(f"the origin goes on with revision {number}, this copy with {revision.number}")
    first: OriginChange | None = None
    made: list[Change] | None = []
    while part := list(islice(changes, AT_ONCE)):
        first = first or part[0]
        new = _put(revision, _read(part))
        cells.note((change.before, change.after) for change in new)
        made = None if made is None or len(made) + len(new) > MANY else made + new
    assert first is not None
    today = dt.date.fromisoformat(first["recorded_at"][:10])
    found = judge(revision.after, revision.before, made, today, lambda: changes_of(revision))
    accepted = (replace(each, stood_before=True) if each.refuses else each for each in found)
    for _ in keep(revision, accepted, made):  # the origin has accepted it: the findings are kept
        pass
    revision.record(first["reason"], first["who"], recorded_at=first["recorded_at"])
    return cells


def _read(changes: Iterable[OriginChange]) -> list[Edit]:
    wanted = [_edit_of(change) for change in changes]
    try:
        return read_edits(wanted, copied=True)
    except Invalid as refused:
        raise Conflict(f"this build cannot read the origin: {refused.detail}; is the origin newer?") from None


def _edit_of(change: OriginChange) -> dict[str, object]:
    edit: dict[str, object] = {"table": change["table"], "op": change["op"]}
    if change["op"] == "withdraw":
        return {**edit, "id": change["id"]}
    row = change.get("row", {})
    if row.get("id") != change["id"]:
        raise Conflict(f"the origin sends a change of {change['id']} with the row of another")
    return {**edit, "row": row}


def _put(revision: NewRevision, edits: list[Edit]) -> list[Change]:
    made: list[Change] = []
    for table, group in groupby(edits, key=attrgetter("table")):
        each = list(group)
        rows: list[Row] = [edit.row for edit in each if edit.row is not None]
        gone = [edit.id for edit in each if edit.row is None]
        made += [Change(table, "put", row.id, before, row) for before, row in revision.put(table, rows)]
        made += [Change(table, "withdraw", row.id, row, None) for row in revision.withdraw(table, gone)]
    if len(made) != len(edits):
        raise Conflict(f"revision {revision.number} of the origin changes rows that this copy does not have")
    return made
