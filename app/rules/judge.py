"""Judges parts of a catalogue by the rules. It needs only the part, and remembers only which values are sound."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from typing import Any

from app.catalogue.tables import STATEMENTS, Fastener, Procedure, Row, SpringChamber, Step, Tool
from app.rules.batches import NUMBERED, FamiliesBatch, JudgeScope, TableBatch, read
from app.rules.evidence import UNUSUAL, weight
from app.rules.family import Family, FamilyRows
from app.rules.finding import Collision, Finding, Severity
from app.rules.registry import Rule, Violation
from app.rules.rule_set import ALL_RULES, Judging, RuleSet
from app.rules.view import Absent, EntityView, RowView, cell

KEPT = 512  # combinations of values known to be sound, for each rule and table
FoundViolations = list[tuple[Rule, Violation]]


class Judge:
    """One run of the rules over parts; `changed` holds the (table, id) of the rows of the judged change."""

    def __init__(
        self, today: date, bench: RuleSet = ALL_RULES, changed: frozenset[tuple[str, str]] = frozenset()
    ) -> None:
        self.today = today
        self.bench = bench
        self.changed = changed
        self._sound = bench.sound(today)

    def parts(self, parts: Iterable[TableBatch | FamiliesBatch]) -> Iterator[Finding]:
        """The findings of parts, in order."""
        for part in parts:
            yield from self.table(part) if isinstance(part, TableBatch) else self.families(part)

    def table(self, part: TableBatch) -> Iterator[Finding]:
        """Judge rows of a table, each as a row and, in an entity table, with its referrers."""
        rows = read(part.table, part.rows)
        found = self._rows(part.table, rows, part.absent)
        if part.table.role == "entity" and self.bench.entity[part.table]:
            chambers: dict[str, list[SpringChamber]] = defaultdict(list)
            for chamber in read(SpringChamber, part.chambers):
                chambers[chamber.spring].append(chamber)
            for row, referrers in zip(rows, _referrers(part.table, rows, part.beside), strict=True):
                found += self.entity(EntityView(row, referrers, tuple(chambers.get(row.id, ()))))
        return findings(found, self.changed)

    def entity(self, view: EntityView) -> FoundViolations:
        """The violations of one entity, or of one row with an id."""
        return [(rule, hit) for rule, judge, _ in self.bench.entity[view.row.model] for hit in judge(view, self.today)]

    def same_things(self, group: Sequence[Row]) -> Iterator[Finding]:
        """Judge rows of one table and one identity, each with the others."""
        rules = self.bench.identity[group[0].model] if len(group) > 1 else ()
        for row in group if rules else ():
            view = EntityView(row, tuple(other for other in group if other is not row))
            yield from findings(
                [(rule, hit) for rule, judge, _ in rules for hit in judge(view, self.today)], self.changed
            )

    def families(self, part: FamiliesBatch) -> Iterator[Finding]:
        """Judge the statements of each family, each as a row and all together; with a span, only its tables."""
        shelf = FamilyRows(part)
        families = [Family(shelf, chassis, span) for chassis, span in part.families]
        found: list[FoundViolations] = [[] for _ in families]
        place = {id: at for at, family in enumerate(families) for id in family.chassis}
        for table in STATEMENTS:
            rows = [row for family in families if table in family.judged for row in family.statements[table]]
            for rule, hit in self._rows(table, rows, part.absent) if rows else ():
                found[place[hit.row["chassis"]]].append((rule, hit))
        for family, (_, span), own in zip(families, part.families, found, strict=True):
            yield from self._family(family, span, own)

    def _family(self, family: Family, span: JudgeScope | None, found: FoundViolations) -> Iterator[Finding]:
        for rule, judge, _ in self.bench.family_rules(span):
            found += [(rule, hit) for hit in judge(family, self.today)]
        if span is not None:
            found = [(rule, hit) for rule, hit in found if hit.row.model in span.judged]
        return findings(found, self.changed)

    def _rows(self, table: type[Row], rows: Sequence[Row], absent: Absent) -> FoundViolations:
        """The violations of the row rules; each combination of the deciding values is judged once."""
        found: FoundViolations = []
        for each in self.bench.row[table]:
            doubtful: Iterable[Row] = rows
            if (given := each.rule.only_with) is not None:
                doubtful = [row for row in rows if row[given] is not None]
            elif not absent and each.deciding is not None:
                doubtful = self._doubtful(each, each.deciding, self._sound[each.rule.slug, table], rows)
            for row in doubtful:
                found += [(each.rule, hit) for hit in each.judge(RowView(row, absent), self.today)]
        return found

    def _doubtful(
        self, each: Judging, deciding: Callable[[Row], object], sound: set[object], rows: Sequence[Row]
    ) -> Sequence[Row]:
        """The rows that are at fault; one row of each combination of values not known to be sound is judged."""
        cells = list(map(deciding, rows))
        if sound.issuperset(cells):
            return ()
        first = {value: row for value, row in zip(cells, rows, strict=True) if value not in sound}
        if len(sound) > KEPT:
            sound.clear()
        faulty = {
            value
            for value, row in first.items()
            if next(each.judge(RowView(row, frozenset()), self.today), None) is not None
        }
        sound.update(first.keys() - faulty)
        return [row for value, row in zip(cells, rows, strict=True) if value in faulty] if faulty else ()


def _referrers(table: type[Row], rows: Sequence[Row], beside: Sequence[Any]) -> Iterator[tuple[Row, ...]]:
    """The rows that refer to each entity: the steps of a procedure, the tools that turn a fastener."""
    if table is Procedure:
        steps: dict[str, list[Row]] = defaultdict(list)
        for step in read(Step, beside):
            steps[step.procedure].append(step)
        yield from (tuple(steps[row.id]) for row in rows)
    elif table is Fastener:
        tools: dict[str | None, list[Row]] = defaultdict(list)
        for tool in read(Tool, beside):
            tools[tool.drive].append(tool)
        for row in rows:
            yield tuple(tool for drive in row["drives"] or () for tool in tools[drive])
    elif table in NUMBERED:
        yield from _numbered(rows, read(table, beside))
    else:
        yield from (() for _ in rows)


def _numbered(rows: Sequence[Row], beside: Sequence[Row]) -> Iterator[tuple[Row, ...]]:
    """The rows that share the part number of each, and the one that replaces it."""
    numbers: dict[str, dict[str, Row]] = defaultdict(dict)
    by_id = {row.id: row for row in beside}
    for row in beside:
        numbers[row["part_number"] or ""][row.id] = row
    for row in rows:
        number, replaced = row["part_number"], row["superseded_by"]
        found = dict(numbers[number]) if number is not None else {}
        if replaced in by_id:
            found[replaced] = by_id[replaced]
        yield tuple(found.values())


def findings(found: FoundViolations, changed: frozenset[tuple[str, str]]) -> Iterator[Finding]:
    """The violations as findings, without those that another fault of the row, or of the other row, explains."""
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
        yield _finding(rule, hit, weight(rule, hit, changed))


def _finding(rule: Rule, hit: Violation, severity: Severity) -> Finding:
    row, other = hit.row, hit.other
    text = UNUSUAL + hit.text if severity == "accepted" else hit.text
    collision = None if other is None else Collision(other.table, other.id, getattr(other, "source", None))
    return Finding(
        rule.slug, severity, row.table, row.id, hit.column, cell(row, hit.column), text, collision, rule.fix,
    )  # fmt: skip
