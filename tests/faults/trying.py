"""Runs faults through the judge and records the results. The only place that calls the rules."""

import csv
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from app.catalogue.rows import MemoryRows, Overlay
from app.catalogue.tables import TABLES, Row, from_cells
from app.rules.engine import judge_all, judge_change
from app.rules.finding import Finding
from app.rules.registry import RULES
from app.rules.rule_set import ALL_RULES, RuleSet
from app.rules.view import Change
from tests import catalogue_generator
from tests.faults.fault import KINDS, Fault, Ground, Kind, made

TODAY = date(2026, 6, 1)
SEED = 20260601
SEED_DATA = Path(__file__).parents[2] / "seed_data"
Said = tuple[str, str, str, str | None]


def demo() -> Ground:
    """The demo, read from its files."""
    rows: list[Row] = []
    for name, table in TABLES.items():
        with (SEED_DATA / f"{name}.csv").open(encoding="utf-8", newline="") as stream:
            rows += [table.checked(from_cells(table, cells)) for cells in csv.DictReader(stream)]
    return Ground(rows)


def generated(chassis: int, seed: int = 7) -> Ground:
    """A generated catalogue with this number of chassis."""
    return Ground(catalogue_generator.rows(chassis, seed))


@dataclass(slots=True)
class Tried:
    """The results for the faults of one kind."""

    kind: Kind
    rejected: int = 0
    warned: int = 0
    missed: list[Fault] = field(default_factory=list)
    rows: set[tuple[str, str]] = field(default_factory=set)
    grounds: list[int] = field(default_factory=list)

    @property
    def tried(self) -> int:
        return self.rejected + self.warned + len(self.missed)


class Court:
    """A sound catalogue and its findings without any fault."""

    def __init__(self, rows: Ground, bench: RuleSet = ALL_RULES) -> None:
        self.rows = rows
        self.bench = bench
        self.before = frozenset(said(judge_all(rows, TODAY, bench)))

    def verdict(self, fault: Fault, bench: RuleSet | None = None) -> list[Finding]:
        """The findings caused by a fault, by another rule set if one is given. Completeness does not count."""
        found = judge_change(laid_over(self.rows, fault), changes_of(fault), TODAY, self.rows, bench or self.bench)
        return [
            finding
            for finding in found
            if RULES[finding.rule].family != "completeness" and _said(finding) not in self.before
        ]


def laid_over(rows: Ground, fault: Fault) -> Overlay:
    """The catalogue with the fault in it."""
    return Overlay(rows, MemoryRows(put.after for put in fault.puts if put.after is not None), _withdrawn(fault))


def changes_of(fault: Fault) -> list[Change]:
    """The rows of a fault as changes for the judge."""
    return [_change(put.before, put.after) for put in fault.puts]


def said(findings: Iterable[Finding]) -> set[Said]:
    """Findings without their texts."""
    return {_said(finding) for finding in findings}


def _said(finding: Finding) -> Said:
    return finding.rule, finding.severity, finding.id or "", finding.column


def _change(before: Row | None, after: Row | None) -> Change:
    row = after or before
    assert row is not None
    return Change(row.model, "withdraw" if after is None else "put", row.id, before, after)


def _withdrawn(fault: Fault) -> dict[type[Row], set[str]]:
    gone: dict[type[Row], set[str]] = {}
    for put in fault.puts:
        if put.after is None and put.before is not None:
            gone.setdefault(type(put.before), set()).add(put.before.id)
    return gone


def trial(courts: list[Court], wanted: Kind, count: int, seed: int = SEED) -> Tried:
    """`count` faults of a kind, spread equally over the catalogues; the last one makes up any shortfall."""
    tried = Tried(wanted)
    for place, court in enumerate(courts):
        share = (count - tried.tried) // (len(courts) - place)
        before = tried.tried
        for fault in made(court.rows, wanted, seed, share):
            _count(tried, fault, court.verdict(fault))
        tried.grounds.append(tried.tried - before)
    return tried


def _count(tried: Tried, fault: Fault, found: list[Finding]) -> None:
    tried.rows.add((fault.row.table, fault.row.id))
    if any(finding.severity == "reject" for finding in found):
        tried.rejected += 1
    elif found:
        tried.warned += 1
    else:
        tried.missed.append(fault)


def trials(courts: list[Court], count: int) -> list[Tried]:
    """All kinds."""
    return [trial(courts, each, count) for each in KINDS.values()]


def shares(tried: Iterable[Tried]) -> tuple[int, float, float]:
    """The number of faults, and the shares found and rejected."""
    each = list(tried)
    count = sum(one.tried for one in each)
    rejected = sum(one.rejected for one in each)
    return count, (rejected + sum(one.warned for one in each)) / count, rejected / count
