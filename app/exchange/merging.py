"""Compares a package with a catalogue in batches: the rows it changes, and the rows only the catalogue has.

Without `replace`, a column that a file lacks leaves the stored value, and an empty cell clears it. With `replace`, a
row is complete: an absent column means empty.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence

from app.catalogue.rows import Rows
from app.catalogue.tables import TABLES, Row
from app.exchange.cells import ChangedCells
from app.exchange.package import Package
from app.exchange.reader import Batch, missing_columns, read_file
from app.rules.finding import Finding
from app.rules.registry import RULES
from app.rules.view import Change

CHUNK = 5000

Progress = Callable[[str, int, int], None]
"""Called with the current activity and how much of how much is done; a total of 0 is unknown."""


def silent(what: str, done: int, total: int) -> None:
    """Ignores progress."""


class Merge:
    """One package being merged. `changes` is None once there are more than `most`."""

    def __init__(
        self, package: Package, base: Rows, *, replace: bool, most: int | None = None, progress: Progress = silent
    ) -> None:
        self.package = package
        self.base = base
        self.replace = replace
        self.progress = progress
        self.findings: list[Finding] = list(package.findings)
        self.changes: list[Change] | None = []
        self.cells = ChangedCells()
        self.read = 0
        self.brought: set[type[Row]] = set()  # the tables that it has rows of
        self._most = most
        self._bytes = 0
        self._doubtful: set[tuple[str | None, str | None] | None] = set()
        self._ids: dict[type[Row], set[str]] = {}

    @property
    def is_readable(self) -> bool:
        """True while nothing that was read is refused."""
        return not any(finding.severity == "reject" for finding in self.findings)

    def batches(self) -> Iterator[tuple[type[Row], list[Row]]]:
        """The rows, table by table. Rows that cannot be read are left out; the others are judged all the same."""
        for file in self.package.files.values():
            incomplete = False
            for item in read_file(file, self._advance, whole_rows=self.replace):
                if not isinstance(item, Batch):
                    self.findings.append(item)
                    continue
                self._doubtful.update((item.table.table, id) for id in item.doubtful)
                self.read += len(item.rows)
                if item.rows:
                    self.brought.add(item.table)
                self.progress("reading", self._bytes, self.package.size)
                if self.replace:
                    self._ids.setdefault(item.table, set()).update(row.id for row in item.rows)
                rows = item.rows if self.replace else self._completed(item)
                if not incomplete and any(row is None for row in rows):
                    self.findings += missing_columns(file, item.columns)
                    incomplete = True
                yield item.table, [row for row in rows if row is not None]

    def _completed(self, batch: Batch) -> Sequence[Row | None]:
        """The rows, completed with stored values; None for a new row that needs a column the file lacks."""
        columns = batch.table.columns()
        absent = [name for name in columns if name not in batch.columns]
        if not absent:
            return batch.rows
        must = any(columns[name].required for name in absent)
        stored = self.base.many(batch.table, [row.id for row in batch.rows])
        completed: list[Row | None] = []
        for row in batch.rows:
            before = stored.get(row.id)
            if before is None:
                completed.append(None if must else row)
            else:
                completed.append(row.replaced(**{name: before[name] for name in absent}))
        return completed

    def informative(self, found: Iterable[Finding]) -> Iterator[Finding]:
        """The findings without those that only say that something could not be read: about a row that was read in part,
        or one that names a row which may be among those left out."""
        if self.is_readable:
            yield from found
            return
        for finding in found:
            other = finding.collides_with
            places = {(finding.table, finding.id), (other.table, other.id) if other is not None else None}
            missing = finding.rule == "reference-missing" or RULES[finding.rule].nature == "completeness"
            if not missing and self._doubtful.isdisjoint(places):
                yield finding

    def take(self, table: type[Row], pairs: Sequence[tuple[Row | None, Row]]) -> None:
        """Record rows that are new or differ, each with its previous version."""
        self.cells.note(pairs)
        self._note([Change(table, "put", after.id, before, after) for before, after in pairs])

    def take_withdrawn(self, table: type[Row], rows: Sequence[Row]) -> None:
        """Record rows that are withdrawn."""
        self._note([Change(table, "withdraw", row.id, row, None) for row in rows])

    def lacking(self) -> Iterator[tuple[type[Row], list[str]]]:
        """The ids that the catalogue has and a replacing package lacks."""
        if not self.replace or not self.is_readable:
            return
        for table in TABLES.values():
            given = self._ids.pop(table, set())
            ids = [id for id in self.base.values(table, "id") if id not in given]
            for start in range(0, len(ids), CHUNK):
                yield table, ids[start : start + CHUNK]

    def _note(self, changes: list[Change]) -> None:
        if self.changes is None:
            return
        self.changes += changes
        if self._most is not None and len(self.changes) > self._most:
            self.changes = None

    def _advance(self, count: int) -> None:
        self._bytes += count
