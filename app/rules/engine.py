"""Judges a whole catalogue or a change in it: collects the parts and judges them, so both give the same verdict.

A full check visits every part, a change only those it touches (`affected`). At most one part is in memory: a few
families or a chunk of rows. A finding names a row of the shape it was found in, so no shape repeats another's finding.
"""

import heapq
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from itertools import islice
from operator import itemgetter

from app.catalogue.rows import Rows
from app.catalogue.tables import ENTITIES, STATEMENTS, Chassis, Row, Source
from app.rules.affected import Affected, affected
from app.rules.batches import CHUNK, FamiliesBatch, Gathering, TableBatch
from app.rules.finding import Finding
from app.rules.identity import Alike
from app.rules.judge import Judge, findings
from app.rules.rule_set import ALL_RULES, RuleSet
from app.rules.view import Change, ChangeView, EntityView

Parts = Iterator[TableBatch | FamiliesBatch]


def judge_all(rows: Rows, today: date, bench: RuleSet = ALL_RULES) -> Iterator[Finding]:
    """Every finding of a whole catalogue except those about changes, part by part, in constant memory."""
    judge = Judge(today, bench)
    things = Alike()
    yield from judge.parts(_all_parts(rows, things))
    for group in things.groups(rows):
        yield from judge.same_things(group)
    yield from _shared_ids(judge, rows, rows.shared_ids(STATEMENTS))


def _all_parts(rows: Rows, things: Alike) -> Parts:
    gathering = Gathering(rows)
    for table in ENTITIES:
        for part in gathering.table(table, rows.raw_rows(table)):
            things.note(table, part.rows)
            yield part
    yield from gathering.families((key, None) for key in rows.families())
    for chassis in _orphans(rows):
        yield from _about(gathering, chassis)


def _about(gathering: Gathering, chassis: str) -> Parts:
    """The statements about a chassis that does not exist, as rows."""
    for table in STATEMENTS:
        yield from gathering.table(table, iter(gathering.rows.raw_rows_among(table, "chassis", [chassis])))


def judge_change(
    after: Rows, changes: Sequence[Change], today: date, before: Rows, bench: RuleSet = ALL_RULES
) -> list[Finding]:
    """The findings of every shape that the changes touch, in its new state, and those about the changes themselves.

    `before` is the catalogue the changes apply to, `after` the catalogue with the changes. `before` is assumed to be
    sound: every row in it names only rows that exist.
    """
    shapes = affected(after, before, changes)
    judge = Judge(today, bench, frozenset((change.table.table, change.id) for change in changes))
    found = list(judge_edits(after, changes, today, before, bench))
    found += judge.parts(_touched_parts(after, shapes, bench))
    for group in shapes.alike:
        found += judge.same_things(group)
    found += _shared_ids(judge, after, sorted(shapes.ids))
    return found


def _touched_parts(rows: Rows, shapes: Affected, bench: RuleSet) -> Parts:
    gathering = Gathering(rows)
    for table, ids in shapes.rows.items():
        yield from gathering.table(table, iter(rows.raw_rows_among(table, "id", sorted(ids))))
    yield from gathering.families((key, bench.span(shapes.families[key])) for key in sorted(shapes.families))
    for chassis in sorted(shapes.orphans):
        yield from _about(gathering, chassis)


def judge_edits(
    after: Rows, changes: Iterable[Change], today: date, before: Rows, bench: RuleSet = ALL_RULES
) -> Iterator[Finding]:
    """The findings about the changes themselves, streamed; a full check of `after` cannot see them."""
    for change in changes:
        rules = bench.change[change.table]
        if not rules:
            continue
        sources = [
            None if row is None or getattr(row, "source", None) is None else rows.one(Source, row["source"])
            for row, rows in ((change.before, before), (change.after, after))
        ]
        view = ChangeView(change, *sources)
        yield from findings([(rule, hit) for rule, judge, _ in rules for hit in judge(view, today)], frozenset())


def _shared_ids(judge: Judge, rows: Rows, ids: Iterable[str]) -> Iterator[Finding]:
    """Ids that several statements share."""
    remaining = iter(ids)
    while chunk := list(islice(remaining, CHUNK)):
        bearers: dict[str, list[Row]] = defaultdict(list)
        for table in STATEMENTS:
            for id, bearer in rows.many(table, chunk).items():
                bearers[id].append(bearer)
        for borne in bearers.values():
            for row in borne:
                yield from findings(judge.entity(EntityView(row, tuple(borne))), judge.changed)


def _orphans(rows: Rows) -> Iterator[str]:
    """Every chassis that a statement names and that does not exist, in order."""
    present = ((id, True) for id in rows.values(Chassis, "id"))
    about = [((id, False) for id in rows.values(table, "chassis")) for table in STATEMENTS]
    last_present = last_yielded = None
    for id, is_chassis in heapq.merge(present, *about, key=itemgetter(0)):
        if is_chassis:
            last_present = id
        elif id not in (last_present, last_yielded):
            last_yielded = id
            yield id
