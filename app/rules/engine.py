"""Judges a catalogue whole or a change in it: one loop over the shapes, so that both give the same verdict.

A full check visits every shape, a change those it touches (`touched`). Nothing is held longer than a family or a chunk
of rows. A finding names a row of the shape it was found in, so no shape repeats another's finding.
"""

import heapq
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from itertools import islice
from operator import itemgetter
from typing import Any

from app.catalogue.rows import Rows
from app.catalogue.tables import (
    ENTITIES,
    STATEMENTS,
    Chassis,
    Fastener,
    Procedure,
    Row,
    Source,
    Step,
    Tool,
    Variant,
)
from app.rules.bench import ALL_RULES, Bench
from app.rules.family import Family, Neighbours, Span
from app.rules.finding import Collision, Finding
from app.rules.registry import Hit, Rule
from app.rules.touched import Touched, touched
from app.rules.view import Absent, Change, ChangeView, Entities, EntityView, RowView, cell, named

CHUNK = 500
KEPT = 2048  # combinations of values that are known to be sound, of each rule and table
TOGETHER = 16  # families read at once


Found = list[tuple[Rule, Hit]]


def judge_all(rows: Rows, today: date, bench: Bench = ALL_RULES) -> Iterator[Finding]:
    """Every finding of a whole catalogue but those about a change, shape by shape; memory does not grow with it."""
    judge = _Judge(rows, today, bench)
    for table in ENTITIES:
        yield from judge.entities(table, rows.all(table))
    yield from judge.families((key, None) for key in rows.families())
    for chassis in _orphans(rows):
        yield from judge.orphans(chassis)
    yield from judge.shared_ids(rows.shared_ids(STATEMENTS))


def judge_change(
    after: Rows, changes: Sequence[Change], today: date, before: Rows, bench: Bench = ALL_RULES
) -> list[Finding]:
    """The findings of every shape that the changes touch, as it is after them, and those about the changes themselves.

    `before` is the catalogue the changes apply to, `after` the same with them laid over. The catalogue before is
    taken to be sound: nothing in it names what is not there.
    """
    found = list(judge_edits(after, changes, today, before, bench))
    changed = frozenset((change.table.table, change.id) for change in changes)
    found += _judge_touched(_Judge(after, today, bench, changed), touched(after, before, changes))
    return found


def judge_edits(
    after: Rows, changes: Iterable[Change], today: date, before: Rows, bench: Bench = ALL_RULES
) -> Iterator[Finding]:
    """The findings about changes themselves, streamed: what a full check of `after` cannot see."""
    return _Judge(after, today, bench).changes(changes, before)


def _judge_touched(judge: "_Judge", shapes: Touched) -> Iterator[Finding]:
    rows = judge.rows
    for table, ids in shapes.rows.items():
        yield from judge.entities(table, iter(rows.many(table, sorted(ids)).values()))
    yield from judge.families((key, judge.bench.span(shapes.families[key])) for key in sorted(shapes.families))
    for chassis in sorted(shapes.orphans):
        yield from judge.orphans(chassis)
    yield from judge.shared_ids(sorted(shapes.ids))


class _Judge:
    """One run over shapes of one catalogue."""

    def __init__(
        self, rows: Rows, today: date, bench: Bench, changed: frozenset[tuple[str, str]] = frozenset()
    ) -> None:
        self.rows = rows
        self.changed = changed
        self.today = today
        self.bench = bench
        self.known = Entities(rows)
        self._turning: dict[str, list[Tool]] = {}  # the tools of each drive
        self._sound: dict[tuple[str, type[Row]], set[Any]] = defaultdict(set)  # values with which no row is at fault

    def entities(self, table: type[Row], rows: Iterator[Row]) -> Iterator[Finding]:
        """Rows of an entity table, each as a row and as an entity with its referrers."""
        rules = self.bench.entity[table]
        while chunk := list(islice(rows, CHUNK)):
            found = self._rows(table, chunk, self.known.absent(named(chunk, table), {}))
            if rules:
                for row in chunk:
                    view = EntityView(row, self._referrers(row))
                    found += [(rule, hit) for rule in rules if rule.judge for hit in rule.judge(view, self.today)]
            yield from _findings(found, self.changed)

    def families(self, keys: Iterator[tuple[tuple[str, str], Span | None]]) -> Iterator[Finding]:
        """Families by maker and name, a few read at a time; one that has no chassis any more is none."""
        while part := list(islice(keys, TOGETHER)):
            families = [(chassis, span) for (maker, name), span in part if (chassis := self.rows.family(maker, name))]
            tables: set[type[Row]] = {Variant}
            for _, span in families:
                tables |= {Fastener, *STATEMENTS} if span is None else span.read - {Chassis}
            near = Neighbours(self.rows, [row.id for chassis, _ in families for row in chassis], tables)
            for chassis, span in families:
                yield from self._family(Family(near, self.known, chassis, span), span)

    def _family(self, family: Family, span: Span | None) -> Iterator[Finding]:
        """The statements of a family, each as a row and all together; of a span, what is found in what it judges."""
        found: Found = []
        for table in family.judged:
            found += self._rows(table, family.statements[table], family.absent)
        for rule in self.bench.family:
            if rule.judge is not None and (span is None or not span.judged.isdisjoint(rule.tables or STATEMENTS)):
                found += [(rule, hit) for hit in rule.judge(family, self.today)]
        if span is not None:
            found = [(rule, hit) for rule, hit in found if type(hit.row) in span.judged]
        return _findings(found, self.changed)

    def orphans(self, chassis: str) -> Iterator[Finding]:
        """The statements about a chassis that is not there, as rows."""
        for table in STATEMENTS:
            rows = self.rows.where(table, "chassis", chassis)
            absent = self.known.absent(named(rows, table), {})
            yield from _findings(self._rows(table, rows, absent), self.changed)

    def shared_ids(self, ids: Iterable[str]) -> Iterator[Finding]:
        """Ids that several statements bear."""
        judges = [(rule, rule.judge) for rule in self.bench.entity[STATEMENTS[0]] if rule.judge]
        remaining = iter(ids)
        while chunk := list(islice(remaining, CHUNK)):
            bearers: dict[str, list[Row]] = defaultdict(list)
            for table in STATEMENTS:
                for id, bearer in self.rows.many(table, chunk).items():
                    bearers[id].append(bearer)
            for rows in bearers.values():
                for row in rows:
                    view = EntityView(row, tuple(rows))
                    found = [(rule, hit) for rule, judge in judges for hit in judge(view, self.today)]
                    yield from _findings(found, self.changed)

    def changes(self, changes: Iterable[Change], before: Rows) -> Iterator[Finding]:
        """What is wrong with a change itself."""
        for change in changes:
            rules = self.bench.change[change.table]
            if not rules:
                continue
            sources = [
                None if row is None or row.__dict__.get("source") is None else rows.one(Source, row.__dict__["source"])
                for row, rows in ((change.before, before), (change.after, self.rows))
            ]
            view = ChangeView(change, *sources)
            found = [(rule, hit) for rule in rules if rule.judge for hit in rule.judge(view, self.today)]
            yield from _findings(found, self.changed)

    def _rows(self, table: type[Row], rows: Sequence[Row], absent: Absent) -> Found:
        """What the rules about a row say; each combination of the values that decide is asked about once."""
        found: Found = []
        fields = [row.__dict__ for row in rows]
        for rule in self.bench.row[table]:
            columns = None if absent else self.bench.columns.get((rule.slug, table))
            if columns is None:
                doubtful: Iterable[Row] = rows
            else:
                doubtful = self._doubtful(rule, table, rows, fields, columns)
            for row in doubtful:
                found += [(rule, hit) for hit in rule.judge(RowView(row, absent), self.today)] if rule.judge else ()
        return found

    def _doubtful(
        self, rule: Rule, table: type[Row], rows: Sequence[Row], fields: list[dict[str, Any]], columns: tuple[str, ...]
    ) -> Iterator[Row]:
        """The rows whose values in some columns are not known to be sound; they are, if no such row is at fault."""
        sound = self._sound[rule.slug, table]
        values = list(map(itemgetter(*columns), fields)) if columns else [()] * len(fields)
        unknown = set(values) - sound
        if not unknown:
            return
        if len(sound) > KEPT:
            sound.clear()
        for row, value in zip(rows, values, strict=True):
            if value in unknown:
                if any(True for _ in rule.judge(RowView(row, frozenset()), self.today)) if rule.judge else False:
                    yield row
                else:
                    unknown.discard(value)
                    sound.add(value)

    def _tools(self, drive: str) -> list[Tool]:
        if drive not in self._turning:
            if len(self._turning) > KEPT:
                self._turning.clear()
            self._turning[drive] = self.rows.where(Tool, "drive", drive)
        return self._turning[drive]

    def _referrers(self, row: Row) -> tuple[Row, ...]:
        if isinstance(row, Procedure):
            return tuple(self.rows.where(Step, "procedure", row.id))
        if isinstance(row, Fastener):
            return tuple(tool for drive in row.drives or () for tool in self._tools(drive))
        return ()


def _findings(found: Found, changed: frozenset[tuple[str, str]]) -> Iterator[Finding]:
    """The hits as findings, without those that another fault of the row, or of the one it collides with, explains."""
    if not found:
        return
    fired: dict[tuple[str, str], set[str]] = defaultdict(set)
    for rule, hit in found:
        fired[hit.row.table, hit.row.id].update((rule.slug, rule.family))
    for rule, hit in found:
        if rule.silenced_by:
            others = fired[hit.row.table, hit.row.id]
            if hit.other is not None:
                others = others | fired[hit.other.table, hit.other.id]
            if not others.isdisjoint(rule.silenced_by):
                continue
        other = hit.other
        unchanged = (hit.row.table, hit.row.id) not in changed
        if hit.mutual and other is not None and unchanged and (other.table, other.id) in changed:
            hit = hit._replace(row=other, other=hit.row)
        yield _finding(rule, hit)


def _finding(rule: Rule, hit: Hit) -> Finding:
    row, other = hit.row, hit.other
    collision = None if other is None else Collision(other.table, other.id, other.__dict__.get("source"))
    return Finding(
        rule.slug, hit.severity or rule.severity, row.table, row.id, hit.column, cell(row, hit.column), hit.text,
        collision, rule.mend,
    )  # fmt: skip


def _orphans(rows: Rows) -> Iterator[str]:
    """Every chassis that a statement is about and that is not there, in order."""
    present = ((id, True) for id in rows.values(Chassis, "id"))
    about = [((id, False) for id in rows.values(table, "chassis")) for table in STATEMENTS]
    last_present = last_yielded = None
    for id, is_chassis in heapq.merge(present, *about, key=itemgetter(0)):
        if is_chassis:
            last_present = id
        elif id not in (last_present, last_yielded):
            last_yielded = id
            yield id
