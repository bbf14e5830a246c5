"""Faults that existed before a change do not refuse it: every affected row is checked, no other row blocks.

A refusal on a row that the change does not affect, and that was found before it too, is marked `stood_before`.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date

from app.catalogue.rows import MemoryRows, Overlay, Rows
from app.catalogue.tables import TABLES, Row
from app.rules.engine import judge_change
from app.rules.finding import Finding
from app.rules.registry import RULES
from app.rules.view import Change

AT_ONCE = 1000  # doubtful findings compared with the previous catalogue at once
ABOUT_NO_ROW = ("change", "reading")  # shapes of rules that check the change itself or a file


def mark_standing(found: Iterable[Finding], after: Rows, before: Rows, today: date) -> Iterator[Finding]:
    """The findings of a change, with older ones marked. Memory holds AT_ONCE doubtful refusals."""
    doubtful: list[tuple[Finding, Row]] = []
    for finding in found:
        row = _untouched(finding, after, before) if finding.severity == "reject" else None
        if row is None:
            yield finding
            continue
        doubtful.append((finding, row))
        if len(doubtful) == AT_ONCE:
            yield from _compared(doubtful, after, before, today)
            doubtful = []
    if doubtful:
        yield from _compared(doubtful, after, before, today)


def _untouched(finding: Finding, after: Rows, before: Rows) -> Row | None:
    """The row of a finding, if the change left it as it was; None for a finding about the change itself."""
    if finding.table is None or finding.id is None or RULES[finding.rule].shape in ABOUT_NO_ROW:
        return None
    table = TABLES[finding.table]
    now, was = after.one(table, finding.id), before.one(table, finding.id)
    return now if now is not None and was is not None and now.cells() == was.cells() else None


def _compared(doubtful: Sequence[tuple[Finding, Row]], after: Rows, before: Rows, today: date) -> Iterator[Finding]:
    rows = {(row.table, row.id): row for _, row in doubtful}
    same = [Change(row.model, "put", row.id, row, row) for row in rows.values()]
    earlier = {_key(finding) for finding in judge_change(before, same, today, before)}
    for finding, row in doubtful:
        if _key(finding) in earlier:
            yield replace(finding, stood_before=True)
            yield from _hidden(finding, row, after, before, today)
        else:
            yield finding


def _key(finding: Finding) -> tuple[object, ...]:
    """Equal for one fault of one row. The sentence may differ, because it can name a figure of another row."""
    other = finding.collides_with
    return finding.rule, finding.table, finding.id, finding.column, finding.value, other and (other.table, other.id)


def _hidden(stood: Finding, row: Row, after: Rows, before: Rows, today: date) -> Iterator[Finding]:
    """The refusals of affected statements by the same rule that an old contradiction hides.

    Of several contradicting statements only one is named. If that is an unaffected row, an affected one may contradict
    it too, so the affected ones are checked with that row alone, without the other unaffected ones.
    """
    table = row.model
    if table.role != "statement" or stood.collides_with is None:
        return
    rows = after.where(table, "chassis", row["chassis"])
    was = before.many(table, [each.id for each in rows])
    touched = {
        each.id: Change(table, "put", each.id, was.get(each.id), each)
        for each in rows
        if (old := was.get(each.id)) is None or old.cells() != each.cells()
    }
    if not touched:
        return
    others = {each.id for each in rows} - touched.keys() - {row.id}
    alone = Overlay(after, MemoryRows(), {table: others})
    for finding in judge_change(alone, [*touched.values()], today, before):
        if finding.refuses and finding.rule == stood.rule and finding.table == stood.table and finding.id in touched:
            yield finding
