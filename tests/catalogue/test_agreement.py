"""Agreement of two statements, as the design defines it in section 3 (subject, agreement)."""

from typing import Any

import pytest

from app.catalogue.agreement import agree, differences, subject
from app.catalogue.columns import Column
from app.catalogue.tables import STATEMENTS, Fill, Fit, Guide, Limit, Part, Statement, Torque, Use, from_cells


def torque(**cells: str) -> Torque:
    return Torque.checked(from_cells(Torque, {"id": "t", "chassis": "c", "fastener": "f", "unit": "N·m", **cells}))


def limit(**cells: str) -> Limit:
    return Limit.checked(
        from_cells(Limit, {"id": "l", "chassis": "c", "subject": "rotor diameter", "unit": "mm", **cells})
    )


@pytest.mark.parametrize(
    ("here", "there", "expected"),
    [
        ({"value": "7.3"}, {"value": "7.3"}, True),
        ({"value": "7.3"}, {"value": "7.30"}, True),
        ({"value": "7.3"}, {"value": "7.34"}, True),
        ({"value": "7.3"}, {"value": "7.35"}, True),  # 7.345 to 7.355 reaches below 7.35
        ({"value": "7.3"}, {"value": "7.36"}, False),
        ({"value": "7.3"}, {"value": "7.4"}, False),
        ({"value": "7"}, {"value": "7.4"}, True),
        ({"value": "6.8"}, {"value": "60", "unit": "in·lbf"}, True),  # 59.5 to 60.5 in·lbf is 6.72 to 6.84 N·m
        ({"value": "6.8"}, {"value": "62", "unit": "in·lbf"}, False),
        ({"value": "6.8"}, {"value": "6.8", "unit": "in·lbf"}, False),
        ({"min": "6", "max": "7"}, {"min": "7", "max": "8"}, True),
        ({"min": "6", "max": "7"}, {"min": "7.1", "max": "8"}, False),
        ({"min": "6", "max": "7"}, {"value": "7.0"}, True),
        ({"max": "7"}, {"max": "8"}, False),
        ({"max": "7"}, {"min": "8"}, False),
        ({"value": "7", "thread_prep": "dry"}, {"value": "7", "thread_prep": "greased"}, False),
        ({"value": "7", "thread_prep": "dry"}, {"value": "7"}, True),
        ({"value": "7"}, {"instruction": "hand-tight"}, True),
    ],
)
def test_torques_agree_when_their_intervals_meet(here: dict[str, str], there: dict[str, str], expected: bool) -> None:
    a, b = torque(**here), torque(**there)
    assert agree(a, b) is agree(b, a) is expected


def test_the_ends_of_a_limit_are_two_figures() -> None:
    assert not agree(limit(max="203"), limit(max="180"))
    assert not agree(limit(min="160", max="203"), limit(min="160", max="180"))
    assert agree(limit(max="203"), limit(min="160"))
    assert agree(limit(max="203"), limit(max="8.0", unit="in"))  # 7.95 to 8.05 in is 201.9 to 204.5 mm
    assert not agree(limit(max="203"), limit(max="2.5", unit="kg"))


def test_the_columns_that_differ_are_named() -> None:
    a = Fit.checked(id="a", chassis="c", spring="s", travel_mm=150, spacer_limit=3)
    b = Fit.checked(id="b", chassis="c", spring="s", travel_mm=160, spacer_limit=4)
    assert differences(a, b) == ["spacer_limit", "travel_mm"]


def test_travel_is_compared_to_its_last_digit() -> None:
    a = Fit.checked(id="a", chassis="c", spring="s", travel_mm=150)
    assert agree(a, Fit.checked(id="b", chassis="c", spring="s", travel_mm=149.9))
    assert not agree(a, Fit.checked(id="b", chassis="c", spring="s", travel_mm=149))


@pytest.mark.parametrize(
    ("here", "there"),
    [
        (
            Fit.checked(id="a", chassis="c", spring="s", travel_mm=1, travel_spacers=0),
            Fit.checked(id="b", chassis="c", spring="s", travel_mm=1),
        ),
        (Torque.checked(id="a", chassis="c", fastener="f", stage=1), Torque.checked(id="b", chassis="c", fastener="f")),
        (
            Use.checked(id="a", chassis="c", job="full-service", part="p"),
            Use.checked(id="b", chassis="c", job="full-service", part="q"),
        ),
    ],
)
def test_what_is_left_out_is_the_usual(here: Statement, there: Statement) -> None:
    parts = {id: Part.checked(id=id, name=id, kind="wiper") for id in ("p", "q")}
    assert subject(here, parts) == subject(there, parts)


def test_mass_brackets_are_compared_in_kilograms() -> None:
    def guide(**cells: Any) -> Guide:
        return Guide.checked(from_cells(Guide, {"id": "g", "chassis": "c", "chamber": "positive", **cells}))

    pounds = guide(rider_mass_from="100", rider_mass_to="200", mass_unit="lb")
    kilos = guide(rider_mass_from="45.359237", rider_mass_to="90.718474", mass_unit="kg")  # NIST SP 811: exact
    assert subject(pounds, {}) == subject(kilos, {})
    assert subject(pounds, {}) != subject(guide(rider_mass_from="100", rider_mass_to="200", mass_unit="kg"), {})


def test_oil_levels_and_volumes_are_two_figures() -> None:
    a = Fill.checked(from_cells(Fill, {"id": "a", "chassis": "c", "chamber": "damper", "value": "90", "unit": "mL"}))
    b = Fill.checked(from_cells(Fill, {"id": "b", "chassis": "c", "chamber": "damper", "level_mm": "95"}))
    assert agree(a, b)


ABOUT = [(table, name) for table in STATEMENTS for name in table.about]
EITHER = {
    "chassis": ("a", "b"), "travel_spacers": (1, 2), "stage": (2, 3), "rider_mass_from": ("60", "70"),
    "rider_mass_to": ("80", "90"), "mass_unit": ("kg", "lb"),
}  # fmt: skip


@pytest.mark.parametrize(("table", "name"), ABOUT, ids=[f"{table.table}.{name}" for table, name in ABOUT])
def test_each_column_that_a_statement_is_about_changes_its_subject(table: type[Statement], name: str) -> None:
    """Two rows that differ only in this column have different subjects, whatever the table's description says."""
    columns = table.columns()
    needed = [each for each, described in columns.items() if described.required or each in table.about]
    values = {each: EITHER.get(each, _two(columns[each]))[0] for each in needed}
    here = table.checked(values)
    there = table.checked({**values, name: EITHER.get(name, _two(columns[name]))[1]})
    assert subject(here, {}) == subject(table.checked(values), {})
    assert subject(here, {}) != subject(there, {})


def _two(column: Column) -> tuple[object, object]:
    if column.options:
        return column.options[0], column.options[1]
    if column.kind.name in ("whole number", "number"):
        return 150, 160
    return ("7", "8") if column.kind.name == "figure as published" else ("one", "two")
