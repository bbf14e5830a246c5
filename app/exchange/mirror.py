"""Keeps a copy of another catalogue from its change feed, revision by revision, each complete or not at all.

A copy keeps the origin's numbers, times, reasons and labels and every version of every row, so that it answers like the
origin, about the past too. It continues after any interruption and compares content hashes.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from itertools import groupby, islice
from operator import attrgetter, itemgetter

from app.catalogue.catalogue import Catalogue, Pin
from app.catalogue.history import recorded
from app.catalogue.tables import Row
from app.catalogue.writing import NewRevision
from app.database.connections import Database
from app.errors import Conflict, Invalid
from app.exchange.cells import ChangedCells
from app.exchange.content_hash import HASH_VERSION, content_hash
from app.exchange.judging import MANY, changes_of, judge, keep
from app.exchange.origin import Origin
from app.exchange.read_edits import Edit, read_edits
from app.json_types import JsonObject
from app.rules.view import Change

AT_ONCE = 1000

Notify = Callable[[int, ChangedCells], None]


def follow(
    database: Database, origin: Origin, notify: Notify = lambda number, cells: None, *, compare: bool = True
) -> int:
    """Copy everything that the origin has accepted since; return the latest revision.

    `notify` is called with the number of each revision and the cells it changed; nothing is refused because of them.
    Content hashes are compared after anything was copied, unless `compare` is false: then call `verify`.

    Raises Conflict if this is not, or no longer, a copy of this origin, and Unavailable if the origin cannot be read.
    Revisions that were already copied stay.
    """
    number = begun = _latest(database)
    _same_so_far(database, origin, number)
    while True:
        before = number
        for number, changes in groupby(origin.changes(before), key=itemgetter("revision")):
            notify(number, _take(database, number, changes))
        if number == before:
            break
    if compare and number > begun:
        verify(database, origin, number)
    return number


def verify(database: Database, origin: Origin, number: int) -> str:
    """The content hash of a revision, from here and from the origin. Raises Conflict if they differ.

    An origin whose build defines the hash differently cannot be compared.
    """
    _same_so_far(database, origin, number)
    with Catalogue(database).snapshot(Pin(number)) as snapshot:
        ours = content_hash(snapshot)
    theirs, version = origin.content_hash(number)
    if version == HASH_VERSION and ours != theirs:
        raise Conflict(f"revision {number} of this copy is not what the origin has; make a new copy")
    return ours


def _latest(database: Database) -> int:
    with Catalogue(database).snapshot() as snapshot:
        return snapshot.revision


def _same_so_far(database: Database, origin: Origin, number: int) -> None:
    """Check that the copy's last revision exists at the origin, which may be another one or restored to an earlier
    state.
    """
    if number == 0:
        return
    with Catalogue(database).snapshot(Pin(number)) as snapshot:
        ours = recorded(snapshot, [number])[number]
    theirs = origin.recorded(number)
    if theirs is None or any(theirs[name] != value for name, value in ours._asdict().items()):
        raise Conflict(f"revision {number} here is not revision {number} of the origin; make a new copy")


def _take(database: Database, number: int, changes: Iterator[JsonObject]) -> ChangedCells:
    """Write one revision of the origin, each row whole: a value that the feed does not give is empty.

    The write lock is held while its pages arrive; lookups continue.
    """
    cells = ChangedCells()
    with database.write() as connection:
        revision = NewRevision(connection)
        if revision.number != number:
            raise Conflict(f"the origin goes on with revision {number}, this copy with {revision.number}")
        first: JsonObject = {}
        made: list[Change] | None = []
        while part := list(islice(changes, AT_ONCE)):
            first = first or part[0]
            new = _put(revision, _read(part))
            cells.note((change.before, change.after) for change in new)
            made = None if made is None or len(made) + len(new) > MANY else made + new
        today = dt.date.fromisoformat(first["recorded_at"][:10])
        found = judge(revision.after, revision.before, made, today, lambda: changes_of(revision))
        accepted = (replace(each, stood_before=True) if each.refuses else each for each in found)
        for _ in keep(revision, accepted, made):  # the origin has accepted it, so its findings are kept
            pass
        revision.record(first["reason"], first["who"], recorded_at=first["recorded_at"])
    return cells


def _read(changes: Iterable[dict[str, object]]) -> list[Edit]:
    wanted = ({name: change[name] for name in _of(change)} for change in changes)
    try:
        return read_edits(list(wanted))
    except Invalid as refused:
        raise Conflict(f"this build cannot read the origin: {refused.detail}; is the origin newer?") from None


def _of(change: dict[str, object]) -> tuple[str, ...]:
    return ("table", "op", "id") if change["op"] == "withdraw" else ("table", "op", "row")


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
