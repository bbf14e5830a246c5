"""Preconditions of edits, checked under the write lock so that two editors cannot overwrite each other.

A version is named by the revision it began with, a withdrawn statement by the revision that withdrew it, each with its
lineage.
"""

from collections.abc import Collection

from app.catalogue.history import versions
from app.catalogue.lineage import Head
from app.catalogue.rows import Snapshot
from app.catalogue.tables import STATEMENTS, Statement
from app.errors import Conflict, Fault, Gone, Invalid, NotFound, Stale
from app.exchange.editing import Precondition
from app.exchange.read_edits import Edit


def never_used(edit: Edit) -> Precondition:
    """Passes if no statement has or had the id. Raises Conflict."""

    def holds(snapshot: Snapshot) -> None:
        if any(versions(snapshot, table, edit.id) for table in STATEMENTS):
            text = f"{edit.id} is used already: change it with PUT, or choose another id"
            raise Conflict(text, [Fault("id-taken", text, pointer="/row/id")])

    return holds


def unchanged_since(edit: Edit, wanted: Collection[Head]) -> Precondition:
    """Passes if the statement is still one of these versions.

    Raises Stale with the current version's tag as `current`; NotFound; Gone if it is already withdrawn; Invalid if the
    id belongs to another table.
    """

    def holds(snapshot: Snapshot) -> None:
        found = versions(snapshot, edit.table, edit.id)
        if not found:
            other = table_of(snapshot, edit.id)
            if other is not None:
                text = f"{edit.id} belongs to {other.table}: a statement cannot change its table"
                raise Invalid(text, [Fault("table", text, pointer="/table", suggestion=other.table)])
            raise NotFound(f"There is no statement {edit.id}.")
        last = found[-1]
        if last.revision_to is not None and edit.row is None:
            raise Gone(f"{edit.id} was withdrawn with revision {last.revision_to}.", withdrawn_with=last.revision_to)
        present = snapshot.at(last.revision_from if last.revision_to is None else last.revision_to)
        if present not in wanted:
            tag = f'"r{present}.{"present" if last.revision_to is None else "gone"}"'
            raise Stale(f"{edit.id} has changed since it was read: read it again.", current=tag)

    return holds


def table_of(snapshot: Snapshot, id: str) -> type[Statement] | None:
    """The table of a statement, current or withdrawn; None if the id was never used."""
    return next((table for table in STATEMENTS if versions(snapshot, table, id)), None)
