"""Every column of a statement is in the sheet as JSON, text and page, or is listed here as hidden, with the reason.

The columns come from the table's description, so a new one that no view, layout or page shows fails here. So does a
figure that an answer leaves out without a gap."""

from decimal import Decimal
from typing import Any

import pytest

from app.catalogue.columns import PUBLISHED_KIND, Column
from app.catalogue.tables import (
    SCOPE,
    STATEMENTS,
    TABLES,
    Chassis,
    Damper,
    Fastener,
    Fit,
    Fluid,
    Maker,
    Part,
    Row,
    Source,
    Spacer,
    Spring,
    Statement,
    Variant,
)
from app.database.connections import Database
from app.questions.answers.statement_members import figure_members, members
from tests.api.asking import asking
from tests.questions.storing import store

pytestmark = pytest.mark.anyio

HIDDEN = {
    "id": "shown as the address of the statement",
    "chassis": "the question names it",
    "confirmed": "for editors: it says how the row was read, nothing about the fork",
    "axle_to_crown_tolerance_mm": "shown as the ends of the axle-to-crown",
    "exception_to": "shown as `narrows`, if the wider statement is in the answer",
}
UNITS = {"pressure": "psi", "torque": "N·m", "volume": "mL", "mass": "kg", "force": "N", "any": "mm"}
SCOPED: dict[str, Any] = {
    "model_year_from": 2021, "model_year_to": 2023, "travel_from_mm": 141, "travel_to_mm": 159, "wheel_size": (622,),
    "serial_from": "S22-0141", "serial_to": "S22-0159",
}  # fmt: skip
FORMS = {"JSON": "application/json", "text": "text/plain", "page": "text/html"}
BIKE: list[Row] = [
    Maker.checked(id="maker", name="Maker"),
    Chassis.checked(id="fork", maker="maker", name="Fork", model_year_from=2020, model_year_to=2024,
                    dampers=("of-dampers", "of-it"), travel_min_mm=130, travel_max_mm=170, wheel_sizes=(622,)),
    Variant.checked(id="of-variants", chassis="fork", name="of-variants"),
    Source.checked(id="of-sources", title="of-sources", kind="manual"),
    Spring.checked(id="of-springs", maker="maker", name="of-springs", kind="coil"),
    Damper.checked(id="of-dampers", maker="maker", name="of-dampers"),
    Damper.checked(id="of-it", maker="maker", name="D"),
    Spacer.checked(id="of-spacers", name="of-spacers"),
    Part.checked(id="of-parts", name="of-parts", kind="seal"),
    Fluid.checked(id="of-fluids", name="of-fluids", kind="grease"),
    Fastener.checked(id="of-fasteners", chassis="fork", position="of-fasteners", kind="bolt"),
]  # fmt: skip


def value_of(number: int, name: str, column: Column) -> Any:
    """A value for a column that no other column of the row has."""
    if column.refers_to is not None:
        named = "fork" if column.refers_to == "chassis" else f"of-{column.refers_to}"
        return named if column.kind.items is None else (named,)
    if column.options:
        return column.options[-1]
    if column.measures and column.unit_column is None:
        return UNITS[column.measures]
    if column.kind.name == "true or false":
        return True
    if column.kind is PUBLISHED_KIND:
        return Decimal(f"{number + 70}.25")
    if column.kind.items is not None:
        return SCOPED[name]
    if column.kind.name in ("whole number", "number"):
        return SCOPED.get(name, number + 30 if name != "travel_mm" else 150)
    return "lower-leg-service" if name == "operation" else SCOPED.get(name, f"said of {name}")


def full(table: type[Statement]) -> Row:
    """A row with every column filled, but not an exception."""
    values = {
        name: value_of(number, name, column)
        for number, (name, column) in enumerate(table.columns().items())
        if name not in ("id", "exception_to")
    }
    return table.checked(values, id="the-row")


def as_said(value: Any) -> list[str]:
    """The ways in which an answer may write a value."""
    if isinstance(value, tuple):
        return [said for each in value for said in as_said(each)]
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return [text, text.replace("-", " ")]


@pytest.mark.parametrize("table", STATEMENTS, ids=lambda table: table.table)
async def test_every_column_is_shown_as_json_as_text_and_as_a_page(table: type[Statement], database: Database) -> None:
    row = full(table)
    fit = Fit.checked(id="fit", chassis="fork", spring="of-springs", travel_mm=150)
    store(database, [*BIKE, row, *([] if table is Fit else [fit])])
    units = {each.unit_column for each in table.columns().values()}
    asked = "/v1/chassis/fork/sheet?travel=150mm"
    async with asking(database) as client:
        for form, accepted in FORMS.items():
            body = " ".join((await client.get(asked, headers={"Accept": accepted})).text.split())
            missing = [
                name
                for name, value in row.values().items()
                if value is not None and name not in HIDDEN and name not in units and name not in SCOPE
                and not any(said in body for said in as_said(value))
            ]  # fmt: skip
            assert missing == [], form
            if form != "JSON":
                scope = [value for name, value in row.values().items() if name in SCOPE and value is not None]
                assert [value for value in scope if not any(said in body for said in as_said(value))] == [], form


@pytest.mark.parametrize("table", STATEMENTS, ids=lambda table: table.table)
@pytest.mark.parametrize("unit", [None, "furlong of nothing"], ids=["no unit", "unknown unit"])
async def test_no_published_figure_disappears_without_a_gap(
    table: type[Statement], unit: str | None, database: Database
) -> None:
    columns = {each.unit_column for each in figure_members(table) if each.unit_column is not None}
    if not columns:
        return
    row = full(table).replaced(**dict.fromkeys(columns, unit))
    fit = Fit.checked(id="fit", chassis="fork", spring="of-springs", travel_mm=150)
    store(database, [*BIKE, row, *([] if table is Fit else [fit])])
    async with asking(database) as client:
        answer = (await client.get("/v1/chassis/fork/sheet?travel=150mm")).json()
    lost = [each.name.replace("_", " ") for each in figure_members(table) if each.unit_column is not None]
    (shown,) = [each for each in answer[table.table] if each["id"] == "the-row"]
    assert not {each.name for each in members(table) if each.name.replace("_", " ") in lost} & shown.keys()
    gaps = [gap["text"] for gap in answer["gaps"] if gap["what"] == "unit" and gap["about"] == "the-row"]
    assert [name for name in lost if not any(name in text for text in gaps)] == []


def test_every_statement_table_is_covered() -> None:
    assert list(STATEMENTS) == [table for table in TABLES.values() if table.role == "statement"]
