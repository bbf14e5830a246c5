"""Checks a pending change and stores the findings of its revision; a check and a load give the same verdict.

A small change is checked by the shapes it affects, a large one by a full check: the verdict is the same, the time is
not.
"""

import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from itertools import islice

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from app.catalogue.lineage import latest
from app.catalogue.rows import Rows, Snapshot
from app.catalogue.stored import FINDINGS, OPEN, SQL, held_columns
from app.catalogue.tables import TABLES, Chassis
from app.catalogue.writing import NewRevision
from app.database.connections import Database
from app.database.migrating import WAIT_S
from app.exchange.standing import ABOUT_NO_ROW, mark_standing
from app.rules.affected import affected
from app.rules.engine import judge_all, judge_change, judge_edits
from app.rules.finding import Finding, FindingCounts, report
from app.rules.registry import RULES
from app.rules.rule_set import ALL_RULES
from app.rules.view import Change

MANY = 3000  # changes from which a full check is faster than finding what they affect
CHUNK = 1000
HASH_LENGTH = 32


def judge(
    after: Rows, before: Rows, changes: Sequence[Change] | None, today: date, every: Callable[[], Iterable[Change]]
) -> Iterator[Finding]:
    """The findings of a change and of what it affects; of everything if it is large.

    Refusals on unaffected rows that existed before are marked as such. `changes` is None if there are too many to hold;
    `every` then streams them.
    """
    if changes is not None and len(changes) <= MANY:
        yield from mark_standing(judge_change(after, changes, today, before), after, before, today)
    else:
        yield from judge_edits(after, every() if changes is None else changes, today, before)
        yield from mark_standing(judge_all(after, today), after, before, today)


def judge_again(database: Database, today: date) -> FindingCounts:
    """Check the latest revision by the rules of this build and store all findings, refusals included.

    Findings are derived: no row changes and no revision is opened. Writers wait meanwhile. Returns the counts of the
    current findings.
    """
    with database.write(WAIT_S) as connection:
        rows = Snapshot(connection, latest(connection))
        standing = _standing(connection, None)
        found = judge_all(rows, today)
        return report(_kept(connection, rows, rows.revision, found, standing), most=0)["counts"]


def changes_of(revision: NewRevision) -> Iterator[Change]:
    """The changes that the revision being written makes to existing rows, streamed from the database.

    New rows are left out: a rule about a change compares two versions.
    """
    for table in TABLES.values():
        closed = (
            select(*held_columns(table)).where(SQL[table].c.revision_to == revision.number).order_by(SQL[table].c.id)
        )
        rows = iter(revision.connection.execute(closed.execution_options(yield_per=CHUNK)))
        while part := [table.from_database(row) for row in islice(rows, CHUNK)]:
            after = revision.after.many(table, [row.id for row in part])
            for row in part:
                now = after.get(row.id)
                yield Change(table, "withdraw" if now is None else "put", row.id, row, now)


def keep(revision: NewRevision, found: Iterable[Finding], changes: Sequence[Change] | None) -> Iterator[Finding]:
    """Pass the findings on and store them from this revision on; those no longer found end here.

    Findings about a change itself are not stored: they say nothing about the catalogue. A refused change is rolled
    back.
    """
    whole = changes is None or len(changes) > MANY
    standing = _standing(revision.connection, None if whole else _judged(revision, changes or ()))
    yield from _kept(revision.connection, revision.after, revision.number, found, standing)


def _kept(
    connection: Connection, rows: Rows, number: int, found: Iterable[Finding], standing: set[str]
) -> Iterator[Finding]:
    key_of = _ShapeOf(rows)
    kept: set[str] = set()
    batch: list[dict[str, object]] = []
    for finding in found:
        if RULES[finding.rule].shape not in ABOUT_NO_ROW:
            id = _hash(finding)
            if id not in kept:
                kept.add(id)
                if id not in standing:
                    batch.append(_stored(id, finding, key_of(finding), number))
        if len(batch) >= CHUNK:
            connection.execute(insert(FINDINGS), batch)
            batch = []
        yield finding
    if batch:
        connection.execute(insert(FINDINGS), batch)
    ended = [{"closing": id} for id in standing if id not in kept]
    if ended:
        open_ones = (FINDINGS.c.id == bindparam("closing"), FINDINGS.c.revision_to == OPEN)
        connection.execute(delete(FINDINGS).where(*open_ones, FINDINGS.c.revision_from == number), ended)
        connection.execute(update(FINDINGS).where(*open_ones).values(revision_to=number), ended)


def _standing(connection: Connection, shapes: dict[str, frozenset[str] | None] | None) -> set[str]:
    """The ids of the current findings: of these shapes, in the given tables if any; or all."""
    stand = select(FINDINGS.c.id, FINDINGS.c.shape, FINDINGS.c.in_table).where(FINDINGS.c.revision_to == OPEN)
    if shapes is None:
        return {id for id, _, _ in connection.execute(stand)}
    of_shapes = stand.where(FINDINGS.c.shape.in_(bindparam("keys", expanding=True)))
    keys = list(shapes)
    standing: set[str] = set()
    for start in range(0, len(keys), CHUNK // 2):
        for id, shape, table in connection.execute(of_shapes, {"keys": keys[start : start + CHUNK // 2]}):
            tables = shapes[shape]
            if tables is None or table in tables:
                standing.add(id)
    return standing


def _judged(revision: NewRevision, changes: Sequence[Change]) -> dict[str, frozenset[str] | None]:
    """The keys of the shapes that the changes affect; of a family the tables that were checked, None for all."""
    shapes = affected(revision.after, revision.before, changes)
    keys = [f"{table.table}/{id}" for table, ids in shapes.rows.items() for id in ids]
    keys += [f"{change.table.table}/{change.id}" for change in changes if change.table.role == "entity"]
    judged: dict[str, frozenset[str] | None] = dict.fromkeys([*keys, *(f"id/{id}" for id in shapes.ids)])
    for (maker, name), changed in shapes.families.items():
        span = ALL_RULES.span(changed)
        judged[f"family/{maker}/{name}"] = None if span is None else frozenset(each.table for each in span.judged)
    return judged


class _ShapeOf:
    """The key of the shape that a finding comes from: a row, a statement id or a family."""

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
        self.last: tuple[str | None, str] = (None, "")

    def __call__(self, finding: Finding) -> str:
        assert finding.table is not None
        assert finding.id is not None
        table, shape = TABLES[finding.table], RULES[finding.rule].shape
        if shape != "family" and table.role == "entity":
            return f"{finding.table}/{finding.id}"
        if shape == "entity":
            return f"id/{finding.id}"
        row = self.rows.one(table, finding.id)
        chassis = finding.id if table is Chassis else None if row is None else getattr(row, "chassis", None)
        return f"{finding.table}/{finding.id}" if chassis is None else self._family(chassis)

    def _family(self, chassis: str) -> str:
        if self.last[0] != chassis:
            row = self.rows.one(Chassis, chassis)
            self.last = (chassis, f"chassis/{chassis}" if row is None else f"family/{row.maker}/{row.name}")
        return self.last[1]


def _hash(finding: Finding) -> str:
    identity = (
        finding.rule,
        finding.table,
        finding.id,
        finding.column,
        finding.value,
        finding.text,
        finding.collides_with,
    )
    return hashlib.sha256(repr(identity).encode()).hexdigest()[:HASH_LENGTH]


def _stored(id: str, finding: Finding, shape: str, number: int) -> dict[str, object]:
    other = finding.collides_with
    return {
        "id": id, "revision_from": number, "revision_to": OPEN, "shape": shape, "rule": finding.rule,
        "severity": finding.severity, "in_table": finding.table, "row_id": finding.id, "in_column": finding.column,
        "value": finding.value, "text": finding.text, "collides_table": other and other.table,
        "collides_id": other and other.id, "fix": finding.fix,
    }  # fmt: skip
