"""Edits of single rows: read from JSON, judged like a package, written as one revision or not at all.

One shape everywhere: `{"table", "op": "put" | "withdraw", "row": {exchange columns} | "id", "reason"}`.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pydantic import ValidationError
from rapidfuzz import fuzz, process

from app.catalogue.columns import Column, Unreadable, write_number
from app.catalogue.history import versions
from app.catalogue.rows import MemoryRows, Overlay, Rows, Snapshot
from app.catalogue.tables import STATEMENTS, TABLES, Row
from app.catalogue.writing import NewRevision
from app.database.connections import Database
from app.errors import Conflict, Fault, Invalid
from app.exchange.judging import judge, keep
from app.exchange.loading import Entry, done_before
from app.exchange.meant import how_to_write
from app.rules.affected import affected
from app.rules.finding import Finding, Report, report
from app.rules.view import Change

MOST_CHANGES = 200  # in one request; more go as a package
MOST_FAMILIES = 50  # judged while one waits and others wait to write, beside one for each change: about a second


@dataclass(frozen=True, slots=True)
class Edit:
    """A row to put, or the id of one to withdraw."""

    table: type[Row]
    id: str
    row: Row | None


@dataclass(frozen=True, slots=True)
class Written:
    """What became of edits: `revision` holds now, `opened` says whether these edits opened it."""

    revision: int
    opened: bool
    report: Report


def read_edits(changes: Sequence[Mapping[str, Any]], pointer: str = "") -> list[Edit]:
    """The edits of a request. Raises Invalid with a fault for everything in them that cannot be read."""
    faults: list[Fault] = []
    edits: list[Edit] = []
    seen: set[tuple[str, str]] = set()
    for number, change in enumerate(changes):
        place = f"{pointer}/{number}" if len(changes) > 1 or pointer else ""
        edit = _read(change, place, faults)
        if edit is not None:
            if (edit.table.table, edit.id) in seen:
                faults.append(Fault("twice", f"{edit.id} is changed twice in one request", pointer=place))
            seen.add((edit.table.table, edit.id))
            edits.append(edit)
    if faults:
        raise Invalid(faults[0].text, faults)
    return edits


def _read(change: Mapping[str, Any], pointer: str, faults: list[Fault]) -> Edit | None:
    table = TABLES.get(change["table"])
    if table is None:
        text = f"there is no such table; the tables are {', '.join(TABLES)}"
        faults.append(
            Fault("table-unknown", text, pointer=f"{pointer}/table", suggestion=_near(change["table"], TABLES))
        )
        return None
    if change["op"] == "withdraw":
        if "id" not in change or "row" in change:
            faults.append(Fault("id-missing", "a withdrawal names an id and no row", pointer=f"{pointer}/id"))
            return None
        return Edit(table, change["id"], None)
    if "row" not in change or "id" in change:
        faults.append(Fault("row-missing", "a put brings the row, its id in it", pointer=f"{pointer}/row"))
        return None
    before = len(faults)
    values = dict(_values(table, change["row"], f"{pointer}/row", faults))
    if len(faults) > before:
        return None
    try:
        row = table.model_validate(values)
    except ValidationError as error:
        for found in error.errors(include_url=False):
            name = str(found["loc"][0]) if found["loc"] else ""
            missing = found["type"] == "missing"
            text = f"{name} must be given" if missing else f"{name}: {found['msg']}"
            faults.append(Fault("column-missing" if missing else "value", text, pointer=f"{pointer}/row/{name}"))
        return None
    return Edit(table, row.id, row)


def _values(table: type[Row], row: Mapping[str, Any], pointer: str, faults: list[Fault]) -> Iterator[tuple[str, Any]]:
    columns = table.columns()
    for name, value in row.items():
        column = columns.get(name)
        if column is None:
            text = f"{table.table} has no column of that name"
            place = f"{pointer}/{name[:80].replace('~', '~0').replace('/', '~1')}"
            faults.append(Fault("column-unknown", text, pointer=place, suggestion=_near(name, columns)))
            continue
        try:
            yield name, column.kind.read(_cell(column, value))
        except Unreadable as fault:
            fix = how_to_write(column, value) if isinstance(value, str) else None
            text = f"{name}: {fault}" + ("" if fix is None else f"; {fix}")
            faults.append(Fault("value", text, pointer=f"{pointer}/{name}"))


def _near(name: str, known: Iterable[str]) -> str | None:
    """The known name that was probably meant; a long text is no name and is not compared."""
    found = process.extractOne(name, list(known), scorer=fuzz.ratio, score_cutoff=66) if len(name) <= 80 else None
    return found[0] if found else None


def _cell(column: Column, value: Any) -> str:
    """The text form of a JSON value; figures as published come as decimal strings or as numbers, digit for digit."""
    kind = column.kind
    if kind.items is not None:
        if not isinstance(value, list) or not value:
            raise Unreadable("a list of values")
        cells = [_scalar(kind.items.name, item) for item in value]
        if any(";" in cell for cell in cells):
            raise Unreadable("an item of a list may not hold a semicolon")
        return ";".join(cells)
    return _scalar(kind.name, value)


def _scalar(kind: str, value: Any) -> str:
    if isinstance(value, bool):
        if kind == "true or false":
            return "true" if value else "false"
    elif isinstance(value, (int, Decimal)):
        if kind in ("whole number", "number", "figure as published"):
            return write_number(float(value)) if kind == "number" else str(value)
    elif isinstance(value, str) and kind not in ("whole number", "number", "true or false") and value:
        return value
    raise Unreadable(f"this column holds a {kind}, written as JSON writes it; leave it out where nothing is known")


def check_edits(snapshot: Snapshot, edits: Sequence[Edit], today: dt.date) -> Written:
    """The verdict that writing these edits would get. Reads only. Raises Invalid for an id that is not there, and for a
    thing that more than MOST_FAMILIES name."""
    pending, withdrawn, changes = _pending(snapshot, edits)
    after = Overlay(snapshot, pending, withdrawn)
    _bounded(after, snapshot, changes)
    found = report(judge(after, snapshot, changes, today, lambda: changes)) if changes else report(())
    return Written(snapshot.revision, False, found)


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
            changes.append(Change(edit.table, "put", edit.id, before or _said_before(snapshot, edit), edit.row))
    return MemoryRows(rows), withdrawn, changes


def _said_before(snapshot: Snapshot, edit: Edit) -> Row | None:
    """What a statement said before it was withdrawn: reopened, it keeps its subject, and its table.

    Raises Invalid where the id was that of a statement of another table.
    """
    if edit.table.role != "statement":
        return None
    for table in STATEMENTS:
        found = versions(snapshot, table, edit.id)
        if found and table is edit.table:
            return found[-1].row
        if found and found[-1].revision_to is not None:
            raise Invalid.one("id-taken", f"{edit.id} was one of {table.table}: an id never changes its table")
    return None


def _bounded(after: Rows, before: Rows, changes: Sequence[Change]) -> None:
    """Raises Invalid where a thing is changed that more families name than are judged at once; a package may do it."""
    if all(change.table.role == "statement" for change in changes):
        return
    named = len(affected(after, before, changes).families)
    if named > MOST_FAMILIES + len(changes):
        text = (
            f"{named} families name what this changes, and at most {MOST_FAMILIES} are judged while you wait; "
            "send the changed rows as a package to /v1/imports"
        )
        raise Invalid.one("named-too-widely", text)


def _not_there(edit: Edit) -> Invalid:
    return Invalid.one("not-there", f"there is no {edit.id} in {edit.table.table} to withdraw")


class _Refused(Exception):
    """Rolls the transaction back; carries the report."""

    def __init__(self, revision: int, said: Report) -> None:
        super().__init__("refused")
        self.revision = revision
        self.said = said


Precondition = Callable[[Snapshot], None]


def write_edits(
    database: Database, edits: Sequence[Edit], entry: Entry, today: dt.date, precondition: Precondition | None = None
) -> Written:
    """Write edits as one revision. `precondition` sees the catalogue under the write lock and raises to refuse.

    The same request again (by its idempotency key) gives what it gave before. Raises Conflict when every reject
    collides with a stored row, else Invalid, each with the report; Invalid too for a thing that more than
    MOST_FAMILIES families name; Unavailable, NoRoom.
    """
    try:
        with database.write() as connection:
            revision = NewRevision(connection)
            if (done := done_before(revision, entry)) is not None:
                return Written(done, True, report(()))
            if precondition is not None:
                precondition(revision.before)
            return _write(revision, edits, entry, today)
    except _Refused as refused:
        raise _refusal(refused.said, edits) from None


def _write(revision: NewRevision, edits: Sequence[Edit], entry: Entry, today: dt.date) -> Written:
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
                Change(edit.table, "put", row.id, before or _said_before(revision.before, edit), row)
                for before, row in put
            ]
    if not changes:
        return Written(revision.before.revision, False, report(()))
    _bounded(revision.after, revision.before, changes)
    found: list[Finding] = list(judge(revision.after, revision.before, changes, today, lambda: changes))
    said = report(keep(revision, found, changes))
    if not said["accepted"]:
        raise _Refused(revision.before.revision, said)
    number = revision.record(entry.reason, entry.who, idempotency_key=entry.idempotency_key, digest=entry.digest)
    return Written(number, True, said)


def _refusal(said: Report, edits: Sequence[Edit]) -> Invalid | Conflict:
    """409 where every reject collides with a stored row that the request does not change itself."""
    own = {(edit.table.table, edit.id) for edit in edits}
    rejects = [finding for finding in said["findings"] if finding["severity"] == "reject"]
    collides = all(
        "collides_with" in finding and (finding["collides_with"]["table"], finding["collides_with"]["id"]) not in own
        for finding in rejects
    )
    detail = rejects[0]["text"] if len(rejects) == 1 else f"{said['counts']['reject']} findings refuse this change"
    faults = [Fault(finding["rule"], f"{finding['text']}; {finding['mend']}") for finding in rejects[:20]]
    return Conflict(detail, faults, report=said) if collides else Invalid(detail, faults, report=said)
