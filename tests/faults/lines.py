"""The figure of another line: slips of the eye in a table of figures."""

from random import Random

from app.catalogue.rows import MemoryRows
from app.catalogue.tables import Chassis, Fastener, Fill, Fit, Guide, Spring, Torque
from tests.faults.fault import TOLERANCE, Fault, Ground, beyond, kind, one_cell, pick, plain, several_cells

THREADS = (3, 4, 5, 6, 8, 10, 12)  # mm: the sizes of screws on a fork, ISO 261
SI = {"N·m": 1.0, "in·lbf": 0.1129848, "kgf·cm": 0.0980665, "ft·lbf": 1.355818}


def scaled(row: Torque, factor: float) -> Fault | None:
    """The torque and its limits times a factor, if that is outside its own limits."""
    cells = row.cells()
    given = {name: plain(float(cells[name]) * factor) for name in ("value", "min", "max") if cells[name]}
    shown = next(iter(given), "value")
    if not given or not beyond(row, shown, float(given[shown])):
        return None
    return several_cells(row, given, shown)


@kind(
    "torque of the next thread size",
    beyond=True,
    missed="the only fastener of its position, and its torque stays within the band",
)
def next_thread(rows: Ground, draw: Random) -> Fault | None:
    """At one stress a torque grows with the cube of the diameter."""
    row = pick(rows, draw, Torque)
    fastener = None if row is None else rows.one(Fastener, row.fastener)
    if row is None or fastener is None or not (fastener.thread or "").startswith("M"):
        return None
    size = float((fastener.thread or "")[1:].split("x")[0])
    if size not in THREADS:
        return None
    at = THREADS.index(int(size)) + draw.choice((-1, 1))
    return scaled(row, (THREADS[at] / size) ** 3) if 0 <= at < len(THREADS) else None


def _newton_metres(row: Torque) -> float | None:
    return float(row.value) * SI[row.unit] if row.value is not None and row.unit in SI else None


def _others(rows: MemoryRows, row: Torque) -> list[Torque]:
    return [each for each in rows.where(Torque, "chassis", row.chassis) if each.id != row.id and each.value is not None]


@kind(
    "torque of another line",
    beyond=True,
    missed="the other torque is within the band of this position, and no twin contradicts it",
)
def other_line(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Torque)
    others = [] if row is None else _others(rows, row)
    if row is None or not others or (own := _newton_metres(row)) is None:
        return None
    other = _newton_metres(draw.choice(others))
    return None if other is None else scaled(row, other / own)


@kind("a cap's torque on a set screw", beyond=True)
def cap_on_set_screw(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Torque)
    fastener = None if row is None else rows.one(Fastener, row.fastener)
    if row is None or fastener is None or fastener.kind not in ("set screw", "valve core"):
        return None
    caps = [
        each
        for each in _others(rows, row)
        if (of := rows.one(Fastener, each.fastener)) is not None and of.kind == "cap"
    ]
    own = _newton_metres(row)
    other = _newton_metres(draw.choice(caps)) if caps else None
    return None if own is None or other is None else scaled(row, other / own)


@kind(
    "spacer limit of another travel",
    beyond=True,
    missed="one wheel only, and limits still fall as travel grows",
)
def spacer_limit(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Fit)
    if row is None or row.spacer_limit is None:
        return None
    others = {
        str(each.spacer_limit)
        for each in rows.where(Fit, "chassis", row.chassis)
        if each.spacer_limit is not None and each.travel_mm != row.travel_mm and each.spacer == row.spacer
    }
    others.discard(str(row.spacer_limit))
    return one_cell(row, "spacer_limit", draw.choice(sorted(others))) if others else None


@kind("pressure of another line of the guide", beyond=True)
def guide_line(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Guide)
    if row is None or row.pressure is None:
        return None
    others = [
        each
        for each in rows.where(Guide, "chassis", row.chassis)
        if (each.chamber, each.spring, each.travel_from_mm, each.pressure_unit, each.mass_unit)
        == (row.chamber, row.spring, row.travel_from_mm, row.pressure_unit, row.mass_unit)
        and each.pressure is not None
        and abs(float(each.pressure) / float(row.pressure) - 1) > TOLERANCE
    ]
    if not others:
        return None
    other = draw.choice(others).cells()
    return several_cells(row, {name: other[name] for name in ("pressure", "pressure_min", "pressure_max")}, "pressure")


@kind("pressure limit of another spring", beyond=True, missed="a fit may have a lower limit than its spring")
def limit_of_other_spring(rows: Ground, draw: Random) -> Fault | None:
    row, other = pick(rows, draw, Fit), pick(rows, draw, Spring)
    if row is None or other is None or row.pressure_limit is None or other.pressure_limit is None:
        return None
    if row.pressure_unit != other.pressure_unit:
        return None
    now = float(other.pressure_limit)
    if not beyond(row, "pressure_limit", now):
        return None
    return one_cell(row, "pressure_limit", str(other.pressure_limit))


@kind("spring of another travel", beyond=True)
def other_spring(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Fit)
    spring = None if row is None else rows.one(Spring, row.spring)
    if row is None or spring is None or spring.family is None or spring.travel_set_by != "shaft length":
        return None
    others = [each.id for each in rows.where(Spring, "family", spring.family) if each.maker == spring.maker]
    return one_cell(row, "spring", draw.choice(others))


@kind("chamber volume of another travel", beyond=True)
def other_volume(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Spring)
    if row is None or row.family is None or row.end_volume_ml is None:
        return None
    others = [each.cells()["end_volume_ml"] for each in rows.where(Spring, "family", row.family)]
    text = draw.choice(others)
    if not text or not beyond(row, "end_volume_ml", float(text)):
        return None
    return one_cell(row, "end_volume_ml", text)


@kind(
    "stanchion of another chassis",
    beyond=True,
    missed="the spring fits both bores, no sibling shares it, and the fork's name has no number",
)
def other_stanchion(rows: Ground, draw: Random) -> Fault | None:
    row, other = pick(rows, draw, Chassis), pick(rows, draw, Chassis)
    if row is None or other is None or not row.stanchion_diameter_mm:
        return None
    return one_cell(row, "stanchion_diameter_mm", other.cells()["stanchion_diameter_mm"])


@kind("oil volume of another chamber", beyond=True, missed="no sibling of that chamber in the family")
def other_fill(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Fill)
    if row is None or row.value is None:
        return None
    others = [
        each.cells()
        for each in rows.where(Fill, "chassis", row.chassis)
        if each.value is not None and each.unit == row.unit and beyond(row, "value", float(each.value))
    ]
    if not others:
        return None
    other = draw.choice(others)
    return several_cells(row, {name: other[name] for name in ("value", "min", "max")}, "value")
