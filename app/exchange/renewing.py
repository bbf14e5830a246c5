"""Adds the common orders of work to a catalogue, or renews them after an upgrade, and keeps what its owner changed."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date

from app.catalogue.content_hash import digest_of
from app.catalogue.history import versions
from app.catalogue.rows import Snapshot
from app.catalogue.tables import TABLES, Procedure, Row, Step, is_row_of
from app.database.connections import Database
from app.exchange.common_orders import common_orders, shipped
from app.exchange.editing import write_edits
from app.exchange.loading import Entry
from app.exchange.read_edits import Edit
from app.json_types import JsonObject


@dataclass(slots=True)
class Renewal:
    """The common rows to add, to renew and to withdraw, and those that stay because their owner changed them."""

    added: list[Row] = field(default_factory=list)
    renewed: list[Row] = field(default_factory=list)
    withdrawn: list[Row] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)

    def edits(self) -> list[Edit]:
        """The edits that make it so; each row is put as a whole."""
        puts = [Edit(row.model, row.id, row, frozenset(row.model.columns())) for row in [*self.added, *self.renewed]]
        return [*puts, *(Edit(row.model, row.id, None) for row in self.withdrawn)]


@dataclass(frozen=True, slots=True)
class Renewed:
    """What was done, as JSON and in words."""

    answer: JsonObject
    text: str


def renew(database: Database, entry: Entry, today: date) -> Renewed:
    """Write the renewal as one revision, or none if nothing differs. Raises what `write_edits` raises."""
    found = Renewal()

    def edits(snapshot: Snapshot) -> list[Edit]:
        nonlocal found
        found = renewal(snapshot)
        return found.edits()

    done = write_edits(database, edits, entry, today)
    counts = {name: len(getattr(found, name)) for name in ("added", "renewed", "withdrawn")}
    said = ", ".join(f"{count} {name}" for name, count in counts.items())
    lines = [f"Common orders of work: {said} rows."]
    if found.kept:
        lines.append(f"Left as they are, because they were changed here: {', '.join(found.kept)}.")
    lines.append(f"Stored as revision {done.head.number}." if done.opened else "Nothing to change.")
    answer = {**counts, "kept": found.kept, "revision": done.head.number, "opened": done.opened}
    return Renewed(answer, "\n".join(lines))


def renewal(snapshot: Snapshot) -> Renewal:
    """Compare the common orders with the catalogue.

    A row that some build shipped like this is renewed, or withdrawn if no order has it any more. A step that was
    withdrawn from an order that is still there counts as changed: it stays out.
    """
    found = Renewal()
    for table, rows in common_orders().items():
        stored = snapshot.many(table, [row.id for row in rows])
        for row in rows:
            before = stored.get(row.id)
            if before is None and not _left_out(snapshot, row):
                found.added.append(row)
            elif before is None or not _as_shipped(before):
                found.kept.append(row.id)
            elif before.cells() != row.cells():
                found.renewed.append(row)
    for row in _dropped(snapshot):
        if _as_shipped(row):
            found.withdrawn.append(row)
        else:
            found.kept.append(row.id)
    return found


def _left_out(snapshot: Snapshot, row: Row) -> bool:
    there = is_row_of(row, Step) and snapshot.one(Procedure, row.procedure) is not None
    return there and bool(versions(snapshot, Step, row.id))


def _as_shipped(row: Row) -> bool:
    return digest_of(row) in shipped().get((row.model.table, row.id), ())


def _dropped(snapshot: Snapshot) -> Iterator[Row]:
    """The stored rows that an earlier build shipped and this one does not."""
    now = {(table.table, row.id) for table, rows in common_orders().items() for row in rows}
    for name, id in sorted(shipped().keys() - now):
        if (row := snapshot.one(TABLES[name], id)) is not None:
            yield row
