"""A fault gets the same verdict as a change and in a full check, whichever tables the change leaves unread."""

from collections.abc import Iterable

import pytest

from app.catalogue.rows import Rows
from app.rules.engine import judge_all, judge_change
from app.rules.finding import Finding
from app.rules.registry import RULES
from tests.faults.fault import KINDS, Ground, made
from tests.faults.trying import SEED, TODAY, changes_of, demo, generated, laid_over

Told = set[tuple[str, str, frozenset[tuple[str | None, str | None]]]]
PARTS = 4


def told(findings: Iterable[Finding]) -> Told:
    """The findings and their rows, in any order of two conflicting rows, without those that only a change shows."""
    found: Told = set()
    for each in findings:
        if RULES[each.rule].shape != "change":
            other = each.collides_with
            rows = frozenset({(each.table, each.id)} | (set() if other is None else {(other.table, other.id)}))
            found.add((each.rule, each.severity, rows))
    return found


def whole(rows: Rows) -> Told:
    return told(judge_all(rows, TODAY))


@pytest.fixture(scope="module", params=["demo", "generated"])
def ground(request: pytest.FixtureRequest) -> Ground:
    return demo() if request.param == "demo" else generated(2, seed=5)


@pytest.mark.parametrize("part", range(PARTS))
def test_a_change_finds_what_a_full_check_finds_anew_and_nothing_else(ground: Ground, part: int) -> None:
    before = whole(ground)
    found_anew = 0
    for kind in list(KINDS.values())[part::PARTS]:
        for fault in made(ground, kind, SEED, 1):
            after = laid_over(ground, fault)
            full = whole(after)
            touched = told(judge_change(after, changes_of(fault), TODAY, ground))
            assert full - before <= touched <= full, kind.name
            found_anew += bool(full - before)
    assert found_anew > 10
