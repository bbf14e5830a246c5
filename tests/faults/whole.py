"""Slips of several cells or lines: a whole guide in the other unit, a wrong exception, a thing entered twice."""

from collections.abc import Sequence
from random import Random

from app.catalogue.tables import Chassis, Damper, Fastener, Fit, Guide, Row, Spring, Torque
from tests.faults.digits import exchanged
from tests.faults.fault import (
    Fault,
    Ground,
    Put,
    kind,
    one_cell,
    pick,
    pick_statement,
    plain,
    several_cells,
    spoilt,
    written,
)

LB = 0.4535924  # kg; NIST SP 811, appendix B
PSI = 0.06894757  # bar
SCOPE = ("variant", "model_year_from", "model_year_to", "travel_from_mm", "travel_to_mm", "damper", "wheel_size")


def _guide(rows: Ground, row: Guide) -> list[Guide]:
    """All lines of the guide that a line belongs to."""
    return [
        each
        for each in rows.where(Guide, "chassis", row.chassis)
        if (each.chamber, each.spring, each.travel_from_mm, each.variant, each.source)
        == (row.chamber, row.spring, row.travel_from_mm, row.variant, row.source)
    ]


def _all(lines: Sequence[Row], was: str, **cells: str) -> Fault | None:
    puts: list[Put] = []
    for row in lines:
        new = written(row, cells)
        if new is None:
            return None
        puts += new
    return Fault(tuple(puts), puts[-1].row, was, next(iter(cells.values())))


@kind(
    "a whole guide in lb for kg", beyond=True, missed="the guide of a negative chamber, or the only guide of its fork"
)
def masses(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Guide)
    if row is None or row.mass_unit not in ("kg", "lb") or row.pressure is None:
        return None
    return _all(_guide(rows, row), row.mass_unit, mass_unit="lb" if row.mass_unit == "kg" else "kg")


@kind("a whole guide in bar for psi", beyond=True)
def pressures(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Guide)
    if row is None or row.pressure_unit not in ("bar", "psi"):
        return None
    return _all(_guide(rows, row), row.pressure_unit, pressure_unit="psi" if row.pressure_unit == "bar" else "bar")


@kind(
    "a whole guide of another fork",
    beyond=True,
    missed="the only guide of its fork, and the pressure still carries the rider within the band",
)
def other_guide(rows: Ground, draw: Random) -> Fault | None:
    """The pressures of another guide of the catalogue, line by line."""
    row, other = pick(rows, draw, Guide), pick(rows, draw, Guide)
    if row is None or other is None or row.pressure is None or other.pressure is None:
        return None
    mine, theirs = _guide(rows, row), _guide(rows, other)
    if row.pressure_unit != other.pressure_unit or len(theirs) < len(mine):
        return None
    mean = [sum(float(each.pressure or 0) for each in lines[: len(mine)]) for lines in (mine, theirs)]
    if 0.85 < mean[0] / mean[1] < 1.18:
        return None
    names = ("pressure", "pressure_min", "pressure_max")
    puts = []
    for line, given in zip(mine, theirs, strict=False):
        after = spoilt(line, **{name: given.cells()[name] for name in names})
        if after is None:
            return None
        puts.append(Put(line, after))
    return Fault(tuple(puts), puts[0].row, str(row.pressure), str(other.pressure))


@kind("a rider's mass misread", beyond=True, missed="it leaves a gap in the guide, which is reported as incomplete")
def rider(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Guide)
    column = draw.choice(("rider_mass_from", "rider_mass_to"))
    text = "" if row is None else row.cells()[column]
    if row is None or not text:
        return None
    wrong = exchanged(text, draw) or plain(float(text) + draw.choice((-20, 20)))
    return one_cell(row, column, wrong) if abs(float(wrong) / float(text) - 1) > 0.1 else None


@kind("an exception as wide as what it narrows", beyond=False)
def wide(rows: Ground, draw: Random) -> Fault | None:
    row = pick_statement(rows, draw)
    if row is None or row.exception_to is None:
        return None
    return several_cells(row, {name: "" for name in SCOPE if row.cells().get(name)}, "exception_to")


@kind("an exception to another statement", beyond=False)
def astray(rows: Ground, draw: Random) -> Fault | None:
    row = pick_statement(rows, draw)
    if row is None:
        return None
    others = [each.id for each in rows.where(row.model, "chassis", row.chassis) if each.id != row.id]
    return one_cell(row, "exception_to", draw.choice(others)) if others else None


@kind("a chassis entered twice", beyond=False)
def twice(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Chassis)
    after = None if row is None else spoilt(row, id=f"{row.id}-x", marks="")
    return None if after is None else Fault((Put(None, after),), after, "", after.id)


@kind(
    "greatest travel of another damper",
    beyond=True,
    missed="none of its possible fits is longer",
)
def damper_travel(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Damper)
    if row is None or row.travel_max_mm is None:
        return None
    travels = sorted({each.travel_mm for each in rows.listed(Fit) if each.travel_mm < row.travel_max_mm})
    return one_cell(row, "travel_max_mm", plain(draw.choice(travels))) if travels else None


@kind("greatest stroke of another spring", beyond=True, missed="the only spring of its construction")
def stroke(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Spring)
    if row is None or row.stroke_max_mm is None or row.family is None:
        return None
    others = [each.cells()["stroke_max_mm"] for each in rows.where(Spring, "family", row.family)]
    given = [text for text in others if text]
    return one_cell(row, "stroke_max_mm", draw.choice(given)) if given else None


@kind("property class or thread of a weaker bolt", beyond=False, missed="the weaker bolt can take the torque too")
def weaker(rows: Ground, draw: Random) -> Fault | None:
    torque = pick(rows, draw, Torque)
    row = None if torque is None else rows.one(Fastener, torque.fastener)
    if row is None or row.thread is None or row.standard is None:
        return None
    cells = draw.choice(({"property_class": "4.6"}, {"thread": "M4"}, {"thread": "M5"}))
    return several_cells(row, cells, next(iter(cells)))


@kind("a digit too many in a spacer limit", beyond=True, missed="the shortest travel of a spring without volumes")
def spacers(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Fit)
    if row is None or row.spacer_limit is None:
        return None
    return one_cell(row, "spacer_limit", f"{row.spacer_limit}{draw.choice('0123')}")


@kind("a minus sign before a count", beyond=True)
def minus(rows: Ground, draw: Random) -> Fault | None:
    row = pick_statement(rows, draw)
    names = ("spacer_limit", "spacers_fitted", "rebound_clicks", "compression_clicks", "spacers")
    given = [name for name in names if row is not None and (row.cells().get(name) or "0") != "0"]
    if row is None or not given:
        return None
    column = draw.choice(given)
    return one_cell(row, column, f"-{row.cells()[column]}")
