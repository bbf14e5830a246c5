"""The only code that writes the catalogue: it opens revision N inside the write transaction, puts and withdraws rows.

The only update is closing a span, once; nothing is deleted. The caller checks the rules. Readers see nothing until the
revision row is recorded and the transaction commits.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import islice
from operator import itemgetter
from typing import Any

from sqlalchemy import Connection, bindparam, func, insert, select, update

from app.catalogue.lineage import chained, latest
from app.catalogue.rows import Rows, Snapshot
from app.catalogue.stored import OPEN, REVISIONS, SQL
from app.catalogue.tables import TABLES, Row
from app.catalogue.tables.row import SPAN

BATCH = 5000


@dataclass(slots=True)
class RevisionCounts:
    """How many rows a revision adds, changes and withdraws."""

    added: int = 0
    changed: int = 0
    withdrawn: int = 0

    def any(self) -> bool:
        """Whether the revision changes anything."""
        return bool(self.added or self.changed or self.withdrawn)


class NewRevision:
    """The revision being written on a connection that holds the write transaction (`Database.write`)."""

    def __init__(self, connection: Connection, number: int | None = None) -> None:
        """Open the next revision. A copy gives another `number`, to keep that of its original."""
        self.connection = connection
        self.before = Snapshot(connection, latest(connection))
        self.number = self.before.revision + 1 if number is None else number
        self.after = Snapshot(connection, self.number)
        self.counts = RevisionCounts()
        self._empty: dict[type[Row], bool] = {}

    def put(self, table: type[Row], rows: Sequence[Row]) -> list[tuple[Row | None, Row]]:
        """Store rows that are new or differ; return (before, after) for just those.

        Ids are unique within the revision of one call: the caller has refused duplicates.
        """
        changes: list[tuple[Row | None, Row]] = []
        for start in range(0, len(rows), BATCH):
            changes += self._put(table, rows[start : start + BATCH])
        return changes

    def copy(self, rows: Rows) -> int:
        """Store every row of a catalogue, a batch at a time; return their number."""
        count = 0
        for table in TABLES.values():
            every = rows.all(table)
            while part := list(islice(every, BATCH)):
                self.put(table, part)
                count += len(part)
        return count

    def _put(self, table: type[Row], rows: Sequence[Row]) -> list[tuple[Row | None, Row]]:
        current = {} if self._is_empty(table) else self.before.many(table, [row.id for row in rows])
        changes: list[tuple[Row | None, Row]] = []
        for row in rows:
            before = current.get(row.id)
            if before is None or before.cells() != row.cells():
                changes.append((before, row))
        self._close(table, [before.id for before, _ in changes if before is not None])
        if changes:
            self._insert(table, [row for _, row in changes])
        changed = sum(before is not None for before, _ in changes)
        self.counts.changed += changed
        self.counts.added += len(changes) - changed
        return changes

    def _insert(self, table: type[Row], rows: list[Row]) -> None:
        """On SQLite pass values straight to the driver, in its own types, which makes a load a seventh faster."""
        span = (self.number, OPEN)
        if self.connection.dialect.name != "sqlite":
            ends = dict(zip(SPAN, span, strict=True))
            self.connection.execute(insert(SQL[table]), [{**row.stored(), **ends} for row in rows])
            return
        text, values_of = _sqlite_insert(table)
        driver: Any = self.connection.connection.driver_connection
        driver.executemany(text, [values_of(row.stored()) + span for row in rows])

    def withdraw(self, table: type[Row], ids: Iterable[str]) -> list[Row]:
        """Close the rows with these ids and return what they were. Ids without a current row are skipped."""
        current = self.before.many(table, list(ids))
        self._close(table, list(current))
        self.counts.withdrawn += len(current)
        return list(current.values())

    def record(
        self, reason: str, who: str, *, idempotency_key: str | None = None, digest: str | None = None,
        recorded_at: str | None = None, lineage: str | None = None,
    ) -> int:  # fmt: skip
        """Record the revision, which becomes visible when the transaction commits; return its number.

        A copy gives the recorded time of its original; otherwise it is now. A copy without the history before it gives
        the lineage too.
        """
        now = recorded_at or dt.datetime.now(dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        last = self.connection.execute(select(func.max(REVISIONS.c.recorded_at))).scalar() or now
        at = max(now, last)
        self.connection.execute(
            insert(REVISIONS),
            {
                "number": self.number, "recorded_at": at, "reason": reason, "who": who,
                "lineage": lineage or chained(self.before.head.lineage, self.number, at, reason, who),
                "added": self.counts.added, "changed": self.counts.changed, "withdrawn": self.counts.withdrawn,
                "idempotency_key": idempotency_key, "request_digest": digest,
            },
        )  # fmt: skip
        return self.number

    def _close(self, table: type[Row], ids: list[str]) -> None:
        if not ids:
            return
        stored = SQL[table]
        statement = (
            update(stored)
            .where(stored.c.id == bindparam("closing"), stored.c.revision_to == OPEN)
            .values(revision_to=self.number)
        )
        self.connection.execute(statement, [{"closing": id} for id in ids])

    def _is_empty(self, table: type[Row]) -> bool:
        if table not in self._empty:
            stored = SQL[table]
            self._empty[table] = self.connection.execute(select(stored.c.id).limit(1)).first() is None
        return self._empty[table]


@cache
def _sqlite_insert(table: type[Row]) -> tuple[str, Callable[[dict[str, object]], tuple[object, ...]]]:
    """The text of an INSERT, and a function that extracts a stored row's own values in the same order.

    The span comes last.
    """
    names = tuple(table.columns())
    listed = ", ".join(f'"{name}"' for name in (*names, *SPAN))
    places = ", ".join("?" for _ in (*names, *SPAN))
    return f'INSERT INTO "{table.table}" ({listed}) VALUES ({places})', itemgetter(*names)
