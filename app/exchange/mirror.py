"""Keeps a copy of another catalogue by its feed of changes, revision by revision, each whole or not at all.

A copy keeps the numbers, times, reasons and labels of the origin and every version of every row, so that it answers
as the origin does, of the past too. It goes on where it ended, whatever ended it, and compares content hashes.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from itertools import groupby, islice
from operator import attrgetter, itemgetter
from typing import Any

from app.catalogue.catalogue import Catalogue, Pin
from app.catalogue.history import recorded
from app.catalogue.tables import Row
from app.catalogue.writing import NewRevision
from app.database.connections import Database
from app.errors import Conflict, Invalid
from app.exchange.content_hash import content_hash
from app.exchange.editing import Edit, read_edits
from app.exchange.judging import MANY, changes_of, judge, keep
from app.exchange.origin import Origin
from app.rules.view import Change

AT_ONCE = 1000

MirrorNotice = Callable[[int], None]


def follow(database: Database, origin: Origin, told: MirrorNotice = lambda number: None) -> int:
    """Take in all that the origin has accepted since; returns the revision that holds then. `told` hears of each.

    Raises Conflict where the copy is not, or no longer, one of this origin; Unavailable where it cannot be read.
    Whatever is raised, the revisions taken before stay.
    """
    number = begun = _latest(database)
    _same_so_far(database, origin, number)
    while True:
        before = number
        for number, changes in groupby(origin.changes(before), key=itemgetter("revision")):
            _take(database, number, changes)
            told(number)
        if number == before:
            break
    if number > begun:
        verify(database, origin, number)
    return number


def verify(database: Database, origin: Origin, number: int) -> str:
    """The hash of what holds at a revision, here and there. Raises Conflict where they differ."""
    _same_so_far(database, origin, number)
    with Catalogue(database).snapshot(Pin(number)) as snapshot:
        ours = content_hash(snapshot)
    if ours != origin.content_hash(number):
        raise Conflict(f"revision {number} of this copy is not what the origin has; make the copy anew")
    return ours


def _latest(database: Database) -> int:
    with Catalogue(database).snapshot() as snapshot:
        return snapshot.revision


def _same_so_far(database: Database, origin: Origin, number: int) -> None:
    """The last revision of the copy is one of the origin: it was not restored to before it, nor is it another."""
    if number == 0:
        return
    with Catalogue(database).snapshot(Pin(number)) as snapshot:
        ours = recorded(snapshot, [number])[number]
    theirs = origin.recorded(number)
    if theirs is None or any(theirs[name] != value for name, value in ours._asdict().items()):
        raise Conflict(f"revision {number} here is not revision {number} of the origin; make the copy anew")


def _take(database: Database, number: int, changes: Iterator[dict[str, Any]]) -> None:
    """Write one revision of the origin. The write lock is held while its pages come; lookups go on."""
    with database.write() as connection:
        revision = NewRevision(connection)
        if revision.number != number:
            raise Conflict(f"the origin goes on with revision {number}, this copy with {revision.number}")
        first: dict[str, Any] = {}
        made: list[Change] | None = []
        while part := list(islice(changes, AT_ONCE)):
            first = first or part[0]
            new = _put(revision, _read(part))
            made = None if made is None or len(made) + len(new) > MANY else made + new
        today = dt.date.fromisoformat(first["recorded_at"][:10])
        found = judge(revision.after, revision.before, made, today, lambda: changes_of(revision))
        for _ in keep(revision, found, made):  # what the origin accepted is accepted: only the warnings are kept
            pass
        revision.record(first["reason"], first["who"], recorded_at=first["recorded_at"])


def _read(changes: Iterable[dict[str, Any]]) -> list[Edit]:
    wanted = ({name: change[name] for name in _of(change)} for change in changes)
    try:
        return read_edits(list(wanted))
    except Invalid as refused:
        raise Conflict(f"the origin sends what this build cannot read: {refused.detail}; is it a newer one?") from None


def _of(change: dict[str, Any]) -> tuple[str, ...]:
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
        raise Conflict(f"revision {revision.number} of the origin changes rows that this copy has not")
    return made
