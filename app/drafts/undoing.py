"""Undoing a revision row by row, as changes of the catalogue as it is now.

A row that still is as the revision left it goes back; one that already is as before stays. Any other was changed since:
both versions are shown, and whoever undoes decides. An added row is withdrawn only if nothing current names it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from app.catalogue.history import Changed, Place, changes, recorded, valid_at, versions
from app.catalogue.rows import MemoryRows, Overlay, Snapshot
from app.catalogue.tables import TABLES, Row
from app.drafts.desk import Desk
from app.errors import Invalid
from app.rules.view import references

MOST_UNDONE = 2_000
BACK, AS_NOW = "put it back", "leave it as it is now"


@dataclass(frozen=True, slots=True)
class UndoneRow:
    """A row that goes back: as it is now, and as it will be; None is no row."""

    table: type[Row]
    id: str
    now: Row | None
    after: Row | None


def changed_rows(snapshot: Snapshot, revision: int) -> list[Changed]:
    """The changes of a revision. Raises Invalid if there is no such revision, or it changed more than is undone."""
    found = changes(snapshot, Place(revision), MOST_UNDONE + 1)
    own = [each for each in found if each.revision == revision]
    if not own:
        raise Invalid.one("revision-unknown", f"There is no revision {revision} that changed rows.")
    if len(own) > MOST_UNDONE:
        text = f"Revision {revision} changed more than {MOST_UNDONE:,} rows. Restore a backup instead."
        raise Invalid.one("too-many-rows", text)
    return own


def undone(snapshot: Snapshot, revision: int, desk: Desk) -> list[UndoneRow]:
    """The rows that undoing a revision changes, with questions about those that were changed since."""
    rows = [each for change in changed_rows(snapshot, revision) for each in _row(snapshot, change, desk)]
    while True:
        put = MemoryRows(each.after for each in rows if each.after is not None)
        withdrawn: dict[type[Row], set[str]] = {}
        for each in rows:
            if each.after is None:
                withdrawn.setdefault(each.table, set()).add(each.id)
        after = Overlay(snapshot, put, withdrawn)
        named = {(each.table, each.id): by for each in rows if each.after is None and (by := _named_by(after, each))}
        if not named:
            return rows
        for (table, id), by in named.items():
            desk.remark(f"{table.table}/{id} stays, because {by} names it")
        rows = [each for each in rows if (each.table, each.id) not in named]


def _row(snapshot: Snapshot, change: Changed, desk: Desk) -> Iterator[UndoneRow]:
    table = TABLES[change.table]
    found = versions(snapshot, table, change.id)
    before = valid_at(found, change.revision - 1)
    now = valid_at(found, snapshot.revision)
    if _cells(now) == _cells(before):
        return
    if _cells(now) != _cells(change.row):
        key = f"{change.table}/{change.id} since revision {change.revision}"
        since = recorded(snapshot, [each.revision_from for each in found if each.revision_from > change.revision])
        who = ", ".join(f"{each.who} (revision {each.number})" for each in since.values()) or "a withdrawal"
        why = f"it was changed since by {who}: {_differences(before, now)}"
        answer = desk.answer(key, why, (BACK, AS_NOW))
        if answer not in (BACK, AS_NOW):
            desk.refuse(key, why, (BACK, AS_NOW))
        if answer != BACK:
            return
    yield UndoneRow(table, change.id, now, before)


def _cells(row: Row | None) -> dict[str, str] | None:
    return None if row is None else row.cells()


def _differences(before: Row | None, now: Row | None) -> str:
    """Both versions, in the cells in which they differ."""
    old, new = _cells(before), _cells(now)
    if old is None or new is None:
        return (
            f"before it was {'not there' if old is None else 'there'}, now it is {'gone' if new is None else 'there'}"
        )
    cells = [
        f"{name} {old[name] or '(empty)'} before, {new[name] or '(empty)'} now"
        for name in old
        if old[name] != new[name]
    ]
    return "; ".join(cells)


def _named_by(after: Overlay, row: UndoneRow) -> str | None:
    """A row that would name this one once the revision is undone."""
    for table in TABLES.values():
        for reference in references(table):
            if reference.table is row.table:
                for other in after.where(table, reference.column, row.id):
                    return f"{table.table}/{other.id}"
    return None
