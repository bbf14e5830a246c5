"""Contradictions and exceptions as in section 3 of the design: symmetric, independent of order, resolvable."""

from datetime import date
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.catalogue.rows import MemoryRows, Overlay
from app.catalogue.tables import Chassis, Fastener, Maker, Row, Source, Torque, from_cells
from app.rules.engine import judge_all, judge_change
from app.rules.finding import Finding
from app.rules.view import Change

TODAY = date(2025, 6, 1)
GROUND: list[Row] = [
    Maker.checked(id="m", name="M"),
    Source.checked(id="manual-1", title="One", kind="manual"),
    Source.checked(id="manual-2", title="Two", kind="manual"),
    Source.checked(id="bulletin", title="Bulletin", kind="bulletin"),
    Chassis.checked(
        id="c", maker="m", name="C", model_year_from=2020, model_year_to=2025, travel_min_mm=130, travel_max_mm=160
    ),
    Fastener.checked(id="f", chassis="c", position="foot bolt", kind="bolt"),
]
FAMILY = {"disagree-unrelated", "exception-not-narrower", "exception-to-other-subject"}


def torque(id: str, source: str, value: str, **cells: str) -> Torque:
    given = {"id": id, "chassis": "c", "fastener": "f", "unit": "N·m", "source": source, "page": "1", "value": value}
    return Torque.checked(from_cells(Torque, {**given, **cells}))


def contradictions(*torques: Torque) -> list[Finding]:
    found = judge_all(MemoryRows([*GROUND, *torques]), TODAY)
    return [finding for finding in found if finding.rule in FAMILY]


def pair(finding: Finding) -> frozenset[str | None]:
    assert finding.collides_with is not None
    return frozenset({finding.id, finding.collides_with.id})


def test_two_manuals_that_disagree_are_one_finding_naming_both() -> None:
    found = contradictions(torque("a", "manual-1", "7.0"), torque("b", "manual-2", "8.0"))
    assert [(finding.rule, pair(finding)) for finding in found] == [("disagree-unrelated", {"a", "b"})]
    assert found[0].column == "value"


def test_two_manuals_that_round_differently_agree() -> None:
    assert contradictions(torque("a", "manual-1", "7"), torque("b", "manual-2", "7.2")) == []


def test_statements_that_never_hold_together_may_differ() -> None:
    early = torque("a", "manual-1", "7.0", model_year_to="2022")
    late = torque("b", "manual-2", "8.0", model_year_from="2023")
    assert contradictions(early, late) == []


def test_a_bulletin_against_two_agreeing_manuals_can_be_entered() -> None:
    manuals = (torque("a", "manual-1", "7.0"), torque("b", "manual-2", "7.02"))
    without = torque("x", "bulletin", "9.0", model_year_from="2023")
    assert {pair(finding) for finding in contradictions(*manuals, without)} == {frozenset({"x", "a"})}
    named = torque("x", "bulletin", "9.0", model_year_from="2023", exception_to="a")
    assert contradictions(*manuals, named) == []


def test_an_exception_does_not_overrule_a_manual_that_disagrees_with_the_one_it_names() -> None:
    late = {"model_year_from": "2024"}
    rows = (
        torque("a", "manual-1", "7.0"),
        torque("b", "manual-2", "8.0", **late, wheel_size="622"),
        torque("x", "bulletin", "9.0", **late, exception_to="a"),
    )
    assert [finding.id for finding in contradictions(*rows)] == ["b"]


def test_an_exception_of_an_exception_overrules_the_whole_chain() -> None:
    rows = (
        torque("a", "manual-1", "7.0"),
        torque("b", "bulletin", "8.0", model_year_from="2022", exception_to="a"),
        torque("c", "bulletin", "9.0", model_year_from="2023", exception_to="b"),
    )
    assert contradictions(*rows) == []


@pytest.mark.parametrize("circle", [{"a": "a"}, {"a": "b", "b": "a"}, {"a": "b", "b": "c", "c": "a"}])
def test_exceptions_in_a_circle_are_refused(circle: dict[str, str]) -> None:
    rows = [
        torque(id, "manual-1", str(7 + place), exception_to=named) for place, (id, named) in enumerate(circle.items())
    ]
    assert {finding.rule for finding in contradictions(*rows)} == {"exception-not-narrower"}


def test_two_exceptions_of_one_statement_that_meet_must_be_related() -> None:
    rows = (
        torque("a", "manual-1", "7.0"),
        torque("b", "bulletin", "8.0", model_year_from="2022", exception_to="a"),
        torque("c", "bulletin", "9.0", wheel_size="622", exception_to="a"),
    )
    assert {pair(finding) for finding in contradictions(*rows)} == {frozenset({"b", "c"})}


def test_one_outlier_among_many_is_one_finding() -> None:
    rows = [torque(f"t{place}", "manual-1", "7.0") for place in range(4)] + [torque("odd", "manual-2", "9.0")]
    found = [finding for finding in contradictions(*rows) if finding.rule == "disagree-unrelated"]
    assert [finding.id for finding in found] == ["odd"]


@st.composite
def statements(draw: st.DrawFn) -> list[Torque]:
    rows = []
    for place in range(draw(st.integers(2, 4))):
        cells = {}
        first = draw(st.sampled_from(("", "2021", "2023")))
        if first:
            cells["model_year_from"] = first
        if draw(st.booleans()):
            cells["wheel_size"] = draw(st.sampled_from(("584", "622")))
        if place and draw(st.booleans()):
            cells["exception_to"] = f"t{draw(st.integers(0, place - 1))}"
        source = draw(st.sampled_from(("manual-1", "manual-2")))
        rows.append(torque(f"t{place}", source, draw(st.sampled_from(("7.0", "7.04", "8.0"))), **cells))
    return rows


@settings(max_examples=150, deadline=None)
@given(statements())
def test_what_contradicts_does_not_depend_on_the_order_or_on_which_row_came_last(rows: list[Torque]) -> None:
    whole = contradictions(*rows)
    verdict = {(finding.rule, pair(finding)) for finding in whole}
    for order in list(permutations(rows))[:6]:
        assert contradictions(*order) == whole
    for last in rows:
        before = MemoryRows([*GROUND, *(row for row in rows if row is not last)])
        after = Overlay(before, MemoryRows([last]), {})
        found = judge_change(after, [Change(Torque, "put", last.id, None, last)], TODAY, before)
        assert {(each.rule, pair(each)) for each in found if each.rule in FAMILY} == verdict


def test_a_change_is_told_of_the_row_it_changed_whichever_id_comes_first() -> None:
    for id in ("a", "z"):
        before = MemoryRows([*GROUND, torque("m", "manual-1", "7.0")])
        new = torque(id, "manual-2", "8.0")
        found = judge_change(
            Overlay(before, MemoryRows([new]), {}), [Change(Torque, "put", id, None, new)], TODAY, before
        )
        said = [(each.id, each.collides_with) for each in found if each.rule == "disagree-unrelated"]
        assert said == [(id, ("torques", "m", "manual-1"))]
