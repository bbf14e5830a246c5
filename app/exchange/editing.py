"""Edits of single rows: checked like a package and written as one revision or not at all. `read_edits` parses them.

A put contains the complete row and names in `empty` the columns it may clear, so that a client that does not know a
column cannot clear it.
"""

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from app.catalogue.history import versions
from app.catalogue.lineage import Head
from app.catalogue.rows import MemoryRows, Overlay, Rows, Snapshot
from app.catalogue.tables import STATEMENTS, Row
from app.catalogue.writing import NewRevision
from app.database.connections import Database
from app.errors import Conflict, Fault, Invalid
from app.exchange.cells import ChangedCells, emptied_columns
from app.exchange.judging import judge, keep
from app.exchange.loading import Entry, done_before
from app.exchange.read_edits import Edit
from app.rules.affected import affected
from app.rules.finding import Finding, Report, refuses, report
from app.rules.view import Change, cell

MOST_CHANGES = 200  # in one request; send more as a package
MOST_FAMILIES = 50  # checked while the client and other writers wait: about a second


@dataclass(frozen=True, slots=True)
class WrittenEdits:
    """The outcome of edits: `head` is the latest revision, `opened` says whether these edits opened it.

    `cells` are the changed cells of stored rows; `replayed` says that the same request was already done.
    """

    head: Head
    opened: bool
    report: Report
    cells: ChangedCells = field(default_factory=ChangedCells)
    replayed: bool = False


def check_edits(snapshot: Snapshot, edits: Sequence[Edit], today: dt.date) -> WrittenEdits:
    """The verdict on these edits without writing them.

    Raises Invalid for an unknown id, or for a thing that more than MOST_FAMILIES families name.
    """
    pending, withdrawn, changes = _pending(snapshot, edits)
    after = Overlay(snapshot, pending, withdrawn)
    _refuse_emptied(changes, edits)
    _bounded(after, snapshot, changes)
    found = report(judge(after, snapshot, changes, today, lambda: changes)) if changes else report(())
    return WrittenEdits(snapshot.head, False, found, _cells(changes))


def _cells(changes: Sequence[Change]) -> ChangedCells:
    cells = ChangedCells()
    cells.note((change.before, change.after) for change in changes)
    return cells


def _refuse_emptied(changes: Sequence[Change], edits: Sequence[Edit]) -> None:
    """Raises Invalid naming each column that a put would clear without listing it."""
    by_row = {(edit.table, edit.id): edit for edit in edits}
    faults: list[Fault] = []
    for change in changes:
        edit = by_row[change.table, change.id]
        if change.before is None or change.after is None:
            continue
        for name in emptied_columns(change.before, change.after):
            if name not in edit.empty:
                was = cell(change.before, name)
                text = f"the row lacks {name}, which is “{was}” in {change.id}: give it, or name it in empty"
                faults.append(Fault("would-empty", text, pointer=f"{edit.pointer}/row/{name}", suggestion=was))
    if faults:
        names = ", ".join(dict.fromkeys(fault.pointer.rsplit("/", 1)[-1] for fault in faults if fault.pointer))
        raise Invalid(f"A put must give the complete row; this one would clear {names}.", faults)


def _pending(snapshot: Snapshot, edits: Sequence[Edit]) -> tuple[MemoryRows, dict[type[Row], set[str]], list[Change]]:
    rows: list[Row] = []
    withdrawn: dict[type[Row], set[str]] = {}
    changes: list[Change] = []
    for edit in edits:
        before = snapshot.one(edit.table, edit.id)
        if edit.row is None:
            if before is None:
                raise _not_there(edit)
            withdrawn.setdefault(edit.table, set()).add(edit.id)
            changes.append(Change(edit.table, "withdraw", edit.id, before, None))
        elif before is None or before.cells() != edit.row.cells():
            rows.append(edit.row)
            changes.append(Change(edit.table, "put", edit.id, before or _last_version(snapshot, edit), edit.row))
    return MemoryRows(rows), withdrawn, changes


def _last_version(snapshot: Snapshot, edit: Edit) -> Row | None:
    """Check that a reopened statement keeps its subject and its table.

    Raises Invalid if the id was that of a statement of another table.
    """
    if edit.table.role != "statement":
        return None
    for table in STATEMENTS:
        found = versions(snapshot, table, edit.id)
        if found and table is edit.table:
            return found[-1].row
        if found and found[-1].revision_to is not None:
            raise Invalid.one("id-taken", f"{edit.id} belonged to {table.table}: an id cannot change its table")
    return None


def _bounded(after: Rows, before: Rows, changes: Sequence[Change]) -> None:
    """Raises Invalid if more families name a changed thing than are checked in one request; a package may do it."""
    if all(change.table.role == "statement" for change in changes):
        return
    named = len(affected(after, before, changes).families)
    if named > MOST_FAMILIES + len(changes):
        text = (
            f"{named} families use what this changes, and at most {MOST_FAMILIES} can be checked in one "
            "request; send the changed rows as a package to /v1/imports"
        )
        raise Invalid.one("named-too-widely", text)


def _not_there(edit: Edit) -> Invalid:
    return Invalid.one("not-there", f"there is no {edit.id} in {edit.table.table} to withdraw")


class _Refused(Exception):
    """Rolls the transaction back and carries the report."""

    def __init__(self, report: Report, edits: Sequence[Edit], cells: ChangedCells) -> None:
        super().__init__("refused")
        self.report = report
        self.edits = edits
        self.cells = cells


Precondition = Callable[[Snapshot], None]
Edits = Callable[[Snapshot], Sequence[Edit]]


def write_edits(
    database: Database, edits: Sequence[Edit] | Edits, entry: Entry, today: dt.date,
    precondition: Precondition | None = None,
) -> WrittenEdits:  # fmt: skip
    """Write edits as one revision. `precondition` checks the catalogue under the write lock and raises to refuse.

    Edits that depend on stored rows are given as a function, which is called under the write lock.

    A repeated request (same idempotency key) gets the first outcome. Raises Conflict if every reject collides with a
    stored row, else Invalid, each with the report; Invalid too for a thing that more than MOST_FAMILIES families name;
    Unavailable, NoRoom.
    """
    try:
        with database.write() as connection:
            revision = NewRevision(connection)
            if (done := done_before(revision, entry)) is not None:
                return WrittenEdits(revision.before.at(done), True, report(()), replayed=True)
            if precondition is not None:
                precondition(revision.before)
            wanted = edits(revision.before) if callable(edits) else edits
            return _write(revision, wanted, entry, today)
    except _Refused as refused:
        raise _refusal(refused) from None


def _write(revision: NewRevision, edits: Sequence[Edit], entry: Entry, today: dt.date) -> WrittenEdits:
    changes: list[Change] = []
    for edit in edits:
        if edit.row is None:
            gone = revision.withdraw(edit.table, [edit.id])
            if not gone:
                raise _not_there(edit)
            changes += [Change(edit.table, "withdraw", row.id, row, None) for row in gone]
        else:
            put = revision.put(edit.table, [edit.row])
            changes += [
                Change(edit.table, "put", row.id, before or _last_version(revision.before, edit), row)
                for before, row in put
            ]
    if not changes:
        return WrittenEdits(revision.before.head, False, report(()))
    _refuse_emptied(changes, edits)
    _bounded(revision.after, revision.before, changes)
    found: list[Finding] = list(judge(revision.after, revision.before, changes, today, lambda: changes))
    said = report(keep(revision, found, changes))
    if not said["accepted"]:
        raise _Refused(said, edits, _cells(changes))
    revision.record(entry.reason, entry.who, idempotency_key=entry.idempotency_key, digest=entry.digest)
    return WrittenEdits(revision.after.head, True, said, _cells(changes))


def _refusal(refused: _Refused) -> Invalid | Conflict:
    """Conflict (409) if every reject collides with a stored row that the request does not change itself."""
    said = refused.report
    shown = {**said, "changed_cells": refused.cells.listed(), "cell_counts": refused.cells.counts}
    own = {(edit.table.table, edit.id) for edit in refused.edits}
    rejects = [finding for finding in said["findings"] if refuses(finding)]
    collides = all(
        "collides_with" in finding and (finding["collides_with"]["table"], finding["collides_with"]["id"]) not in own
        for finding in rejects
    )
    detail = rejects[0]["text"] if len(rejects) == 1 else f"{said['counts']['reject']} findings refuse this change"
    faults = [Fault(finding["rule"], f"{finding['text']}; {finding['fix']}") for finding in rejects[:20]]
    return Conflict(detail, faults, report=shown) if collides else Invalid(detail, faults, report=shown)
