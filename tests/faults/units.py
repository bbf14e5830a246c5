"""Confused units and moved decimal points. Units are confused in two ways, equally often: right digits with the wrong
unit (`unit`), or the digits of the other column of the manual (`figure`).

Factors: NIST SP 811, appendix B.
"""

from random import Random

from app.catalogue.tables import (
    Chassis,
    Fill,
    Fit,
    Frame,
    Guide,
    Interval,
    Limit,
    Reading,
    Row,
    Spacer,
    Spring,
    Torque,
    is_row_of,
)
from tests.faults.fault import Fault, Ground, beyond, kind, one_cell, pick, plain, several_cells

SI = {
    "N·m": 1.0, "in·lbf": 0.1129848, "ft·lbf": 1.355818, "kgf·cm": 0.0980665,
    "kPa": 1.0, "bar": 100.0, "psi": 6.894757,
    "mL": 1.0, "US fl oz": 29.57353,
    "mm": 1.0, "in": 25.4,
    "kg": 1.0, "lb": 0.4535924,
}  # fmt: skip
TORQUE = ("value", "min", "max")
PRESSURE = ("pressure", "pressure_min", "pressure_max")


def confused(row: Row, draw: Random, names: tuple[str, ...], unit_column: str, units: tuple[str, str]) -> Fault | None:
    """The figures of a row converted to the other of two units, or followed by the other unit."""
    cells = row.cells()
    written = cells[unit_column]
    given = [name for name in names if cells[name]]
    if written not in units or not given:
        return None
    other = units[1 - units.index(written)]
    if draw.random() < 0.5:
        after = several_cells(row, {unit_column: other}, unit_column)
        shown = f"{cells[given[0]]} {other}"
    else:
        factor = SI[written] / SI[other]
        figures = {name: plain(float(cells[name]) * factor) for name in given}
        after = several_cells(row, figures, given[0])
        shown = f"{figures[given[0]]} {written}"
    return None if after is None else Fault(after.puts, after.row, f"{cells[given[0]]} {written}", shown)


def _torque_units(one: str, other: str) -> None:
    near = {one, other} == {"in·lbf", "kgf·cm"}
    missed = "a factor of 1.15 shows only next to siblings that agree with each other" if near else ""
    if {one, other} == {"N·m", "ft·lbf"}:
        missed = "a factor of 1.36 shows only next to a sibling that contradicts it"

    @kind(f"{one} for {other}", beyond=True, missed=missed)
    def make(rows: Ground, draw: Random) -> Fault | None:
        row = pick(rows, draw, Torque)
        return None if row is None else confused(row, draw, TORQUE, "unit", (one, other))


for pair in (("N·m", "in·lbf"), ("N·m", "ft·lbf"), ("N·m", "kgf·cm"), ("in·lbf", "kgf·cm")):
    _torque_units(*pair)


@kind("bar for psi in a guide", beyond=True)
def pressure_of_guide(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Guide)
    return None if row is None else confused(row, draw, PRESSURE, "pressure_unit", ("bar", "psi"))


@kind("bar for psi in a fill limit", beyond=True)
def pressure_of_limit(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, draw.choice((Fit, Spring)))
    return None if row is None else confused(row, draw, ("pressure_limit",), "pressure_unit", ("bar", "psi"))


@kind("mL for fl oz", beyond=True)
def volume(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Fill)
    return None if row is None else confused(row, draw, TORQUE, "unit", ("mL", "US fl oz"))


@kind("kg for lb", beyond=True, missed="a line of a guide without a known pressure for its neighbours or spring")
def mass(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, draw.choice((Guide, Guide, Limit)))
    if row is None:
        return None
    names = ("rider_mass_from", "rider_mass_to") if is_row_of(row, Guide) else ("min", "max")
    return confused(row, draw, names, "mass_unit" if is_row_of(row, Guide) else "unit", ("kg", "lb"))


LENGTHS: tuple[tuple[type[Row], str], ...] = (
    (Fit, "axle_to_crown_mm"), (Fill, "level_mm"), (Chassis, "stanchion_diameter_mm"), (Spring, "bore_mm"),
    (Fit, "travel_mm"), (Frame, "axle_to_crown_mm"),
)  # fmt: skip


@kind("inches for mm", beyond=True)
def inches(rows: Ground, draw: Random) -> Fault | None:
    table, column = draw.choice(LENGTHS)
    row = pick(rows, draw, table)
    if row is None or not row.cells()[column]:
        return None
    return one_cell(row, column, plain(float(row.cells()[column]) / SI["in"]))


@kind("inches for mm in a limit", beyond=True, missed="a height may be close to zero")
def inches_of_limit(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Limit)
    return None if row is None else confused(row, draw, ("min", "max"), "unit", ("mm", "in"))


POINTS: dict[str, tuple[tuple[type[Row], str], ...]] = {
    "torque": ((Torque, "value"),),
    "pressure": ((Guide, "pressure"), (Fit, "pressure_limit"), (Spring, "pressure_limit")),
    "oil": ((Fill, "value"), (Fill, "level_mm")),
    "length": ((Fit, "axle_to_crown_mm"), (Chassis, "stanchion_diameter_mm"), (Spring, "bore_mm"), (Limit, "max")),
    "spacer": ((Spacer, "volume_ml"),),
    "chamber": (
        (Spring, "end_volume_ml"),
        (Spring, "shaft_diameter_mm"),
        (Spring, "port_travel_mm"),
    ),
    "interval": ((Interval, "hours"),),
    "reading": ((Reading, "pressure"), (Reading, "rider_mass")),
}


UNSEEN = {
    "pressure": "a limit of a spring without volumes or fits of its own",
    "oil": "a damper's volume, alone in its family and within the band",
    "chamber": "the only spring of its construction",
    "interval": "ten times as long is still within the band of a full service",
    "reading": "a reading that is not at sag has no rider to compare it with",
}


def _slipped_point(what: str, missed: str = "") -> None:
    @kind(f"decimal point slipped: {what}", beyond=True, missed=missed)
    def make(rows: Ground, draw: Random) -> Fault | None:
        table, column = draw.choice(POINTS[what])
        row = pick(rows, draw, table)
        if row is None or not (text := row.cells()[column]):
            return None
        now = float(text) * draw.choice((10.0, 0.1))
        if column == "hours" and now != int(now):
            return None
        return one_cell(row, column, plain(now)) if beyond(row, column, now) else None


for measure in POINTS:
    _slipped_point(measure, UNSEEN.get(measure, ""))
