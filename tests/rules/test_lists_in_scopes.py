"""Scopes that list several ids or name a fitted part, and sources that replace others, in the rules."""

import pytest

from app.catalogue.rows import MemoryRows
from app.catalogue.tables import Chassis, Damper, Part, Row, Source, Variant
from app.rules.engine import judge_all
from tests.rules.test_contradiction import GROUND, TODAY, torque

THINGS: list[Row] = [
    Chassis.checked(id="d", maker="m", name="D"),
    *(Damper.checked(id=id, maker="m", name=id) for id in ("bath", "cartridge")),
    *(Variant.checked(id=id, chassis="c", name=id) for id in ("x", "y", "z")),
    Variant.checked(id="early", chassis="c", name="Early", model_year_to=2021),
    Variant.checked(id="late", chassis="c", name="Late", model_year_from=2024),
    Variant.checked(id="other", chassis="d", name="Other"),
    *(Part.checked(id=id, name=id, kind="crown") for id in ("alloy", "carbon")),
    Part.checked(id="guard", name="guard", kind="guard"),
]


def found(*rows: Row, rule: str) -> list[tuple[str, str | None]]:
    """The row and column of each finding of a rule."""
    every = judge_all(MemoryRows([*GROUND, *THINGS, *rows]), TODAY)
    return [(each.id, each.column) for each in every if each.rule == rule]


@pytest.mark.parametrize(
    ("one", "other", "meet"),
    [
        ({"variant": "x;y"}, {"variant": "y;z"}, True),
        ({"variant": "x;y"}, {"variant": "z"}, False),
        ({"damper": "bath;cartridge"}, {"damper": "bath", "variant": "x"}, True),
        ({"damper": "bath"}, {"damper": "cartridge"}, False),
        ({"wheel_size": "584;622"}, {"wheel_size": "559"}, False),
    ],
)
def test_lists_contradict_only_where_they_share_an_id(one: dict[str, str], other: dict[str, str], meet: bool) -> None:
    rows = torque("a", "manual-1", "7.0", **one), torque("b", "bulletin", "9.0", **other)
    assert len(found(*rows, rule="disagree-unrelated")) == meet


def test_an_exception_lists_fewer_ids_or_is_narrower_elsewhere() -> None:
    wide = torque("a", "manual-1", "7.0", variant="x;y")
    for narrower in ({"variant": "x"}, {"variant": "y;x", "damper": "bath"}):
        row = torque("b", "bulletin", "9.0", exception_to="a", **narrower)
        assert found(wide, row, rule="exception-not-narrower") == []
        assert found(wide, row, rule="disagree-unrelated") == []
    for same in ("y;x", "x;y;z"):
        row = torque("b", "bulletin", "9.0", exception_to="a", variant=same)
        assert found(wide, row, rule="exception-not-narrower") == [("b", "exception_to")]


def test_parts_of_one_kind_exclude_each_other_and_parts_of_two_kinds_do_not() -> None:
    alloy = torque("a", "manual-1", "7.0", fitted_part="alloy")
    assert found(alloy, torque("b", "bulletin", "9.0", fitted_part="carbon"), rule="disagree-unrelated") == []
    of_guard = torque("b", "bulletin", "9.0", fitted_part="guard")
    assert len(found(alloy, of_guard, rule="disagree-unrelated")) == 1


@pytest.mark.parametrize(
    ("cells", "rule", "column"),
    [
        ({"variant": "early;nobody"}, "reference-missing", "variant"),
        ({"damper": "nothing"}, "reference-missing", "damper"),
        ({"fitted_part": "nothing"}, "reference-missing", "fitted_part"),
        ({"variant": "early;other"}, "variant-of-another-chassis", "variant"),
        ({"variant": "early;late", "model_year_from": "2022"}, "scope-holds-nowhere", "variant"),
        ({"wheel_size": "622;623"}, "wheel-unknown", "wheel_size"),
    ],
)
def test_each_id_of_a_list_is_checked(cells: dict[str, str], rule: str, column: str) -> None:
    assert found(torque("a", "manual-1", "7.0", **cells), rule=rule) == [("a", column)]


def test_figures_of_a_superseded_source_do_not_contradict_those_of_the_new_one_with_the_same_scope() -> None:
    new = Source.checked(id="note-7", title="Note 7", kind="bulletin", supersedes=("manual-1",))
    old = torque("a", "manual-1", "7.0")
    assert found(new, old, torque("b", "note-7", "9.0"), rule="disagree-unrelated") == []
    narrower = torque("b", "note-7", "9.0", model_year_from="2022")
    assert len(found(new, old, narrower, rule="disagree-unrelated")) == 1
