"""Incremental verdict = full verdict: random edits of the clean catalogue, judged as a change and in full."""

import random
from datetime import date

import pytest

from app.catalogue.rows import MemoryRows, Overlay
from app.catalogue.tables import TABLES, Row, from_cells
from app.rules.engine import judge_all, judge_change
from app.rules.finding import Finding
from app.rules.registry import RULES
from app.rules.view import Change
from tests.rules.clean import clean_catalogue, clean_rows

TODAY = date(2025, 6, 1)
SEED, EDITS, AT_ONCE = 20250601, 2000, 4
Verdict = set[tuple[str, str, frozenset[tuple[str | None, str | None]]]]


def verdict(findings: list[Finding]) -> Verdict:
    """The findings, whichever of two conflicting rows they name, without those that only a change can show."""
    found: Verdict = set()
    for finding in findings:
        if RULES[finding.rule].shape != "change":
            rows = {(finding.table, finding.id)}
            if finding.collides_with is not None:
                rows.add(finding.collides_with[:2])
            found.add((finding.rule, finding.severity, frozenset(rows)))
    return found


def random_change(rng: random.Random) -> Change:
    """Withdraw a row, write a cell of another row of its table into it, scale a figure, or copy it under a new id."""
    (table, id), row = rng.choice(sorted(clean_rows().items(), key=lambda item: item[0]))
    kind = rng.random()
    if kind < 0.15:
        return Change(row.model, "withdraw", id, row, None)
    cells = row.cells()
    if kind < 0.35:
        id = cells["id"] = id + "-copy" if kind < 0.3 else rng.choice(sorted(clean_rows()))[1]
    for name in rng.sample(sorted(set(cells) - {"id"}), k=rng.randint(1, 2)):
        others = [each.cells()[name] for (other, _), each in clean_rows().items() if other == table]
        offered = [*others, "", "0", "7", "2019", "150", "spring-160", "x"]
        cells[name] = rng.choice(offered)
    try:
        after = row.model.checked(from_cells(row.model, cells))
    except ValueError:
        return random_change(rng)
    return Change(row.model, "put", id, clean_rows().get((table, id)), after)


def laid_over(changes: list[Change]) -> Overlay:
    withdrawn: dict[type[Row], set[str]] = {}
    for change in changes:
        if change.after is None:
            withdrawn.setdefault(change.table, set()).add(change.id)
    pending = MemoryRows(change.after for change in changes if change.after is not None)
    return Overlay(clean_catalogue(), pending, withdrawn)


@pytest.mark.parametrize("part", range(AT_ONCE))
def test_judging_a_change_finds_what_judging_the_whole_finds(part: int) -> None:
    rng = random.Random(SEED + part)
    before = clean_catalogue()
    faulty = 0
    for _ in range(EDITS // AT_ONCE):
        changes = {
            (each.table, each.id): each for each in (random_change(rng) for _ in range(rng.choice((1, 1, 1, 2))))
        }
        after = laid_over(list(changes.values()))
        whole = verdict(list(judge_all(after, TODAY)))
        touched = verdict(judge_change(after, list(changes.values()), TODAY, before))
        assert touched == whole, list(changes.values())
        faulty += bool(whole)
    assert EDITS // AT_ONCE * 0.3 < faulty < EDITS // AT_ONCE  # the edits are neither all clean nor all faulty


def test_every_table_is_edited() -> None:
    rng = random.Random(SEED)
    assert {random_change(rng).table for _ in range(EDITS)} == set(TABLES.values())
