"""Scopes with serial numbers in the rules: what contradicts, what is narrower, what can never apply."""

import pytest

from app.catalogue.rows import MemoryRows
from app.catalogue.tables import Row, Torque, Variant
from app.rules.engine import judge_all
from tests.rules.test_contradiction import GROUND, TODAY, contradictions, torque

RUN = Variant.checked(id="run", chassis="c", name="Run", serial_from="A22-0500", serial_to="A22-0999")


def found(*rows: Row, rule: str) -> list[tuple[str, str | None]]:
    """The row and column of each finding of a rule."""
    return [(each.id, each.column) for each in judge_all(MemoryRows([*GROUND, *rows]), TODAY) if each.rule == rule]


def of(first: str, last: str) -> dict[str, str]:
    return {name: end for name, end in (("serial_from", first), ("serial_to", last)) if end}


@pytest.mark.parametrize(
    ("one", "other", "meet"),
    [
        (of("A22-0001", "A22-0499"), of("A22-0500", ""), False),
        (of("A22-0001", "A22-0500"), of("A22-0500", ""), True),
        (of("A22-001", "A22-999"), of("A22-0001", "A22-9999"), False),
        (of("", "a22-0500"), of("A22-0400", "A22-0600"), True),
        (of("A22-0001", "A22-0499"), {}, True),
    ],
)
def test_figures_contradict_only_where_their_serials_meet(
    one: dict[str, str], other: dict[str, str], meet: bool
) -> None:
    rows = torque("a", "manual-1", "7.0", **one), torque("b", "bulletin", "9.0", **other)
    assert [finding.rule for finding in contradictions(*rows)] == ["disagree-unrelated"] * meet


def test_an_exception_for_serials_is_narrower_and_one_for_the_same_serials_is_not() -> None:
    wide = torque("a", "manual-1", "7.0", **of("A22-0001", "A22-9999"))
    narrow = torque("x", "bulletin", "9.0", exception_to="a", **of("A22-0500", "A22-0999"))
    assert contradictions(wide, narrow) == []
    same = torque("x", "bulletin", "9.0", exception_to="a", **of("A22-0001", "A22-9999"))
    assert [finding.rule for finding in contradictions(wide, same)] == ["exception-not-narrower"]


@pytest.mark.parametrize("ends", [("A22-0999", "A22-0500"), ("A22-0500", "A22-00999")])
def test_a_range_that_runs_backwards_or_changes_length_is_refused(ends: tuple[str, str]) -> None:
    row: Torque = torque("a", "manual-1", "7.0", **of(*ends))
    assert found(row, rule="serial-range-unreadable") == [("a", "serial_to")]


def test_a_statement_for_serials_that_its_variant_does_not_have_can_never_apply() -> None:
    outside = torque("a", "manual-1", "7.0", variant="run", **of("A22-1000", ""))
    assert found(RUN, outside, rule="scope-holds-nowhere") == [("a", "variant")]
    inside = torque("a", "manual-1", "7.0", variant="run", **of("A22-0900", ""))
    assert found(RUN, inside, rule="scope-holds-nowhere") == []


def test_every_range_within_a_wide_one_is_refused_though_its_neighbour_is_clear() -> None:
    wide = Variant.checked(id="wide", chassis="c", name="Wide", serial_from="A22-0001", serial_to="A22-0999")
    low = Variant.checked(id="low", chassis="c", name="Low", serial_from="A22-0100", serial_to="A22-0199")
    high = Variant.checked(id="high", chassis="c", name="High", serial_from="A22-0500", serial_to="A22-0599")
    beyond = Variant.checked(id="beyond", chassis="c", name="Beyond", serial_from="A22-1000", serial_to="A22-1999")
    overlapping = [("high", "serial_from"), ("low", "serial_from")]
    assert sorted(found(wide, low, high, beyond, rule="serial-ranges-overlap")) == overlapping
