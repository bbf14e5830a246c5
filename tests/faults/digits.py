"""Swapped digits and swapped ends: slips of the hand at the keyboard."""

from itertools import pairwise
from random import Random

from app.catalogue.tables import Chassis, Fill, Fit, Fluid, Frame, Guide, Limit, Row, Spring, Torque, Variant
from tests.faults.fault import Fault, Ground, beyond, kind, one_cell, pick, pick_statement, several_cells


def exchanged(text: str, draw: Random) -> str | None:
    """The text with two neighbouring digits swapped; None if that changes nothing or puts a zero in front."""
    found = []
    for at, (one, other) in enumerate(pairwise(text)):
        if one.isdigit() and other.isdigit() and one != other:
            new = text[:at] + other + one + text[at + 2 :]
            if not new.startswith("0") or text.startswith("0"):
                found.append(new)
    return draw.choice(found) if found else None


def in_one_of(rows: Ground, draw: Random, places: tuple[tuple[type[Row], str], ...]) -> Fault | None:
    """Swapped digits in one of some columns."""
    table, column = draw.choice(places)
    row = pick(rows, draw, table)
    text = None if row is None else exchanged(row.cells()[column], draw)
    if row is None or text is None:
        return None
    return one_cell(row, column, text) if beyond(row, column, float(text)) or "travel" in column else None


@kind("digits exchanged in a travel", beyond=True, missed="the range grows by less than gaps that real ranges have")
def travel(rows: Ground, draw: Random) -> Fault | None:
    return in_one_of(rows, draw, ((Fit, "travel_mm"),) * 3 + ((Chassis, "travel_max_mm"), (Chassis, "travel_min_mm")))


@kind("digits exchanged in a torque", beyond=True, missed="a torque of its own kind in the family, still plausible")
def torque(rows: Ground, draw: Random) -> Fault | None:
    return in_one_of(rows, draw, ((Torque, "value"),))


@kind("digits exchanged in a pressure", beyond=True, missed="an exception's limit, or one of two springs")
def pressure(rows: Ground, draw: Random) -> Fault | None:
    return in_one_of(rows, draw, ((Guide, "pressure"), (Fit, "pressure_limit")))


@kind("digits exchanged in an oil volume or level", beyond=True, missed="no sibling of that chamber in the family")
def oil(rows: Ground, draw: Random) -> Fault | None:
    return in_one_of(rows, draw, ((Fill, "value"), (Fill, "level_mm")))


@kind("digits exchanged in axle-to-crown", beyond=True, missed="the only fit of its chassis")
def axle_to_crown(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Fit)
    text = None if row is None else exchanged(row.cells()["axle_to_crown_mm"], draw)
    if row is None or text is None or abs(float(text) - float(row.cells()["axle_to_crown_mm"])) < 3:
        return None
    return one_cell(row, "axle_to_crown_mm", text)


YEARS: tuple[tuple[type[Row], str], ...] = (
    (Chassis, "model_year_from"), (Chassis, "model_year_to"), (Variant, "model_year_from"), (Frame, "model_year_to"),
    (Torque, "model_year_from"), (Fill, "model_year_from"), (Fill, "model_year_to"), (Fit, "model_year_from"),
)  # fmt: skip


@kind("digits exchanged in a year", beyond=True)
def year(rows: Ground, draw: Random) -> Fault | None:
    table, column = draw.choice(YEARS)
    row = pick(rows, draw, table)
    text = None if row is None else exchanged(row.cells()[column], draw)
    return None if row is None or text is None else one_cell(row, column, text)


ENDS: tuple[tuple[type[Row], str, str], ...] = (
    (Torque, "min", "max"), (Fill, "min", "max"), (Fill, "level_min_mm", "level_max_mm"), (Limit, "min", "max"),
    (Guide, "pressure_min", "pressure_max"), (Guide, "rider_mass_from", "rider_mass_to"),
    (Chassis, "travel_min_mm", "travel_max_mm"), (Chassis, "model_year_from", "model_year_to"),
)  # fmt: skip


@kind("least and greatest exchanged", beyond=True)
def ends(rows: Ground, draw: Random) -> Fault | None:
    return _swapped(rows, draw, ENDS)


COLUMNS: tuple[tuple[type[Row], str, str], ...] = (
    (Fit, "spacer_limit", "spacers_fitted"), (Spring, "bore_mm", "shaft_diameter_mm"),
    (Fluid, "viscosity_40_cst", "viscosity_100_cst"), (Chassis, "stanchion_diameter_mm", "stanchion_bore_mm"),
    (Spring, "end_volume_ml", "negative_volume_ml"),
)  # fmt: skip


@kind("two neighbouring columns exchanged", beyond=True)
def columns(rows: Ground, draw: Random) -> Fault | None:
    return _swapped(rows, draw, COLUMNS)


def _swapped(rows: Ground, draw: Random, pairs: tuple[tuple[type[Row], str, str], ...]) -> Fault | None:
    table, low, high = draw.choice(pairs)
    row = pick(rows, draw, table)
    if row is None or not (cells := row.cells())[low] or not cells[high]:
        return None
    return several_cells(row, {low: cells[high], high: cells[low]}, low)


@kind(
    "the neighbouring column's figure twice",
    beyond=True,
    missed="too few spacers allowed but no fewer than are fitted, or one or two fitted instead of none",
)
def column_twice(rows: Ground, draw: Random) -> Fault | None:
    table, one, other = draw.choice(COLUMNS)
    row = pick(rows, draw, table)
    to, of = draw.choice(((one, other), (other, one)))
    if row is None or not (cells := row.cells())[to] or not cells[of]:
        return None
    return one_cell(row, to, cells[of])


@kind("a minus sign or a nought", beyond=True)
def nought(rows: Ground, draw: Random) -> Fault | None:
    row = pick_statement(rows, draw)
    given = [name for name in ("value", "pressure", "max", "hours", "count") if row and row.cells().get(name)]
    if row is None or not given:
        return None
    column = draw.choice(given)
    return one_cell(row, column, draw.choice(("0", f"-{row.cells()[column]}")))
