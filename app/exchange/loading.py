"""Loads a package in one write transaction, all or nothing, or checks it without writing; the verdict is the same."""

import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import chain
from pathlib import Path

from sqlalchemy import select

from app.catalogue.catalogue import Catalogue
from app.catalogue.rows import MemoryRows, Overlay, Rows
from app.catalogue.stored import REVISIONS
from app.catalogue.tables import Procedure, Row
from app.catalogue.writing import NewRevision
from app.database.connections import Database
from app.database.migrating import migrate
from app.errors import Invalid
from app.exchange.cells import ChangedCells
from app.exchange.common_orders import not_in
from app.exchange.judging import MANY, changes_of, judge, keep
from app.exchange.merging import Merge, Progress, silent
from app.exchange.package import Package, open_package
from app.exchange.reports import OrdersAdded, PackageReport, RowCounts, locate, suggest
from app.rules.finding import Finding, report

IN_MEMORY = 20_000_000  # bytes of a package that a check merges in memory


@dataclass(frozen=True, slots=True)
class Entry:
    """What is recorded with a revision: the reason, the author (a public label), and the request it came with."""

    reason: str
    who: str
    idempotency_key: str | None = None
    digest: str | None = None


class _Refused(Exception):
    """Rolls the transaction back and carries the report."""

    def __init__(self, answer: PackageReport) -> None:
        super().__init__("refused")
        self.answer = answer


def load(
    database: Database,
    path: Path,
    entry: Entry,
    *,
    replace: bool = False,
    orders: bool = False,
    today: date | None = None,
    progress: Progress = silent,
) -> PackageReport:
    """Merge a package into the catalogue, or replace the catalogue with it: one new revision, or none.

    With `orders`, the common orders of work are added if this opens the first revision and the package has none. The
    report says `accepted`; `revision` is the latest one, `opened` whether it is new. Raises Unavailable if another
    writer holds the lock, NoRoom if the disk is full; nothing is stored then.
    """
    with open_package(path) as package:
        try:
            with database.write() as connection:
                revision = NewRevision(connection)
                return _write(revision, package, entry, replace, orders, today or _today(), progress)
        except _Refused as refused:
            return refused.answer


def check(
    path: Path,
    catalogue: Catalogue | None = None,
    *,
    replace: bool = False,
    orders: bool = False,
    today: date | None = None,
    progress: Progress = silent,
) -> PackageReport:
    """The verdict that loading into the catalogue (or into an empty one) would give. Stores nothing, takes no lock."""
    with open_package(path) as package, _base(catalogue) as (base, number):
        if package.size > IN_MEMORY:
            return _check_on_disk(path, base, number, replace, orders, today or _today(), progress)
        merge = Merge(package, base, replace=replace, progress=progress)
        return _check_in_memory(merge, base, number, orders, today or _today(), progress)


def done_before(revision: NewRevision, entry: Entry) -> int | None:
    """The revision that this same request opened before. Raises Invalid if its key was used for another request."""
    if entry.idempotency_key is None:
        return None
    statement = select(REVISIONS.c.number, REVISIONS.c.request_digest).where(
        REVISIONS.c.idempotency_key == entry.idempotency_key
    )
    row = revision.connection.execute(statement).first()
    if row is None:
        return None
    if row.request_digest != entry.digest:
        raise Invalid.one("idempotency-key-reused", "this Idempotency-Key was used for another request")
    return int(row.number)


def _today() -> date:
    return datetime.now(UTC).date()


def _write(
    revision: NewRevision, package: Package, entry: Entry, replace: bool, orders: bool, today: date,
    progress: Progress,
) -> PackageReport:  # fmt: skip
    if (done := done_before(revision, entry)) is not None:
        counts = RowCounts(read=0, added=0, changed=0, withdrawn=0)
        answer = _answer(package, revision.before, (), done, counts, ChangedCells(), OrdersAdded(procedures=0, rows=0))
        answer["opened"] = answer["replayed"] = True
        return answer
    merge = Merge(package, revision.before, replace=replace, most=MANY, progress=progress)
    for table, rows in merge.batches():
        merge.take(table, revision.put(table, rows))
    for table, ids in merge.lacking():
        merge.take_withdrawn(table, revision.withdraw(table, ids))
    counts = RowCounts(
        read=merge.read, added=revision.counts.added, changed=revision.counts.changed,
        withdrawn=revision.counts.withdrawn,
    )  # fmt: skip
    added = OrdersAdded(procedures=0, rows=0)
    if orders and _wants_orders(merge, revision.before.revision):
        for table, rows in not_in(revision.after):
            merge.take(table, revision.put(table, rows))
            _count(added, table, rows)
    findings: Iterable[Finding] = merge.findings
    if revision.counts.any():
        progress("judging", 0, 0)
        found = judge(revision.after, revision.before, merge.changes, today, lambda: changes_of(revision))
        findings = chain(findings, merge.informative(keep(revision, found, merge.changes)))
    answer = _answer(package, revision.before, findings, revision.before.revision, counts, merge.cells, added)
    if not answer["accepted"]:
        raise _Refused(answer)
    if revision.counts.any():
        answer["revision"] = revision.record(
            entry.reason, entry.who, idempotency_key=entry.idempotency_key, digest=entry.digest
        )
        answer["opened"] = True
    return answer


def _wants_orders(merge: Merge, number: int) -> bool:
    """Whether the package makes the first revision and has no order of work of its own."""
    return number == 0 and not merge.replace and merge.read > 0 and Procedure not in merge.brought


def _count(added: OrdersAdded, table: type[Row], rows: Sequence[Row]) -> None:
    added["rows"] += len(rows)
    if table is Procedure:
        added["procedures"] += len(rows)


def _check_in_memory(
    merge: Merge, base: Rows, number: int, orders: bool, today: date, progress: Progress
) -> PackageReport:
    counts = RowCounts(read=0, added=0, changed=0, withdrawn=0)
    new: list[Row] = []
    for table, rows in merge.batches():
        stored = base.many(table, [row.id for row in rows])
        pairs = [(stored.get(row.id), row) for row in rows]
        differing = [(before, row) for before, row in pairs if before is None or before.cells() != row.cells()]
        counts["added"] += sum(before is None for before, _ in differing)
        counts["changed"] += sum(before is not None for before, _ in differing)
        new += [row for _, row in differing]
        merge.take(table, differing)
    withdrawn: dict[type[Row], set[str]] = {}
    for table, ids in merge.lacking():
        merge.take_withdrawn(table, list(base.many(table, ids).values()))
        withdrawn.setdefault(table, set()).update(ids)
        counts["withdrawn"] += len(ids)
    counts["read"] = merge.read
    added = OrdersAdded(procedures=0, rows=0)
    if orders and _wants_orders(merge, number):
        for table, rows in not_in(MemoryRows(new)):
            new += rows
            merge.take(table, [(None, row) for row in rows])
            _count(added, table, rows)
    findings: Iterable[Finding] = merge.findings
    if merge.changes:
        progress("judging", 0, 0)
        after = Overlay(base, MemoryRows(new), withdrawn)
        findings = chain(findings, merge.informative(judge(after, base, merge.changes, today, lambda: ())))
    return _answer(merge.package, base, findings, number, counts, merge.cells, added)


def _check_on_disk(
    path: Path, base: Rows, number: int, replace: bool, orders: bool, today: date, progress: Progress
) -> PackageReport:
    """Load it into a temporary copy of the catalogue, so that memory does not grow with the package."""
    with tempfile.TemporaryDirectory(prefix="legwork-check-") as folder:
        database = Database(f"sqlite:///{Path(folder) / 'check.db'}")
        try:
            migrate(database, "catalogue")
            if number:
                with database.write() as connection:
                    revision = NewRevision(connection)
                    revision.copy(base)
                    revision.record("copy", "check")
            entry = Entry("check", "check")
            answer = load(database, path, entry, replace=replace, orders=orders, today=today, progress=progress)
        finally:
            database.close()
    answer["revision"], answer["opened"] = number, False
    return answer


@contextmanager
def _base(catalogue: Catalogue | None) -> Iterator[tuple[Rows, int]]:
    if catalogue is None:
        yield MemoryRows(), 0
    else:
        with catalogue.snapshot() as snapshot:
            yield snapshot, snapshot.revision


def _answer(
    package: Package, base: Rows, findings: Iterable[Finding], number: int, rows: RowCounts, cells: ChangedCells,
    orders: OrdersAdded,
) -> PackageReport:  # fmt: skip
    outcome = report(findings)
    answer = PackageReport(
        accepted=outcome["accepted"], changed_cells=cells.listed(), cell_counts=cells.counts,
        findings=outcome["findings"],
        counts=outcome["counts"], revision=number, opened=False, rows=rows,
    )  # fmt: skip
    if orders["rows"]:
        answer["orders"] = orders
    return suggest(locate(answer, package), package, base)
