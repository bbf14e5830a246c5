"""Slips: a figure that differs from its siblings by a confused unit or a lost digit, and an odd torque."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from operator import itemgetter

from app.catalogue.tables import Fastener, Fill, Fit, Guide, Interval, Limit, Row, Statement, Torque
from app.rules.bands import LIMITS, figure, first_known
from app.rules.checks.envelope import FORM
from app.rules.evidence import panels
from app.rules.family import NOMINAL, Family
from app.rules.finding import Severity
from app.rules.registry import Violation, edit, rule
from app.rules.siblings import ALIKE, ENOUGH, SiblingFigure, Slip, all_alike, slips
from app.rules.view import cell
from app.units.table import Kind

BEYOND = ("torque-outside-band", "torque-above-thread", "fill-outside-band", "pressure-implausible",
          "rider-mass-implausible", "limit-implausible", "axle-to-crown-implausible", "fastener-elsewhere",
          "pressure-limit-above-spring", "guide-pressure-above-limit", "oil-above-leg-volume",
          "interval-implausible")  # fmt: skip
UNITS: dict[Kind, str] = {"torque": "N·m", "pressure": "kPa", "volume": "mL", "length": "mm", "mass": "kg"}


SlipFigure = tuple[float, Row, str]  # a figure in the common unit of its siblings, its row and column
Sized = tuple[float, Row, str, str | None]  # with its thread
SlipGroup = tuple[Sequence[SlipFigure | Sized], tuple[Kind, ...], str]  # siblings, what they measure, their common unit


def _groups(family: Family) -> Iterator[SlipGroup]:
    """Siblings in the family: same position and kind, chamber, subject or spring; with the quantities they measure."""
    for table, groups in SIBLINGS:
        if table in family.judged:
            yield from groups(family)


def _torques(family: Family) -> Iterator[SlipGroup]:
    groups: dict[tuple[str, str], list[Sized]] = defaultdict(list)
    for row, fastener, column, torque in family.tightened:
        if not family.is_not_last_pass(row):
            groups[fastener.position, fastener.kind].append((torque, row, column, fastener.thread))
    for group in groups.values():
        yield group, ("torque",), "N·m"


def _fills(family: Family) -> Iterator[SlipGroup]:
    groups: dict[tuple[str, str, str | None], list[SlipFigure]] = defaultdict(list)
    for row in family.of(Fill):
        if (found := first_known(row, NOMINAL, "unit", "volume", "mL")) is not None:
            leg = row.chamber.endswith("lower leg")
            groups["lower leg" if leg else row.chamber, "volume", row.condition].append((found[1], row, found[0]))
        if row.level_mm is not None:
            groups[row.chamber, "length", row.condition].append((float(row.level_mm), row, "level_mm"))
    for (_, measures, _), group in groups.items():
        kind: Kind = "volume" if measures == "volume" else "length"
        yield group, (kind,), UNITS[kind]


def _limits(family: Family) -> Iterator[SlipGroup]:
    groups: dict[tuple[str, str], list[SlipFigure]] = defaultdict(list)
    for row in family.of(Limit):
        known = LIMITS.get(row.subject)
        kind: Kind = "mass" if known is not None and known[0] == "mass" else "length"
        for column in ("min", "max") if known is not None else ():
            if (found := figure(getattr(row, column), row.unit, kind, UNITS[kind])) is not None:
                groups[row.subject, column].append((found, row, column))
    for (subject, _), group in groups.items():
        measured: Kind = "mass" if LIMITS[subject][0] == "mass" else "length"
        yield group, (measured,), UNITS[measured]


def _pressures(family: Family) -> Iterator[SlipGroup]:
    groups: dict[str, list[SlipFigure]] = defaultdict(list)
    for row in family.of(Fit):
        if (found := figure(row.pressure_limit, row.pressure_unit, "pressure", "kPa")) is not None:
            groups[row.chassis].append((found, row, "pressure_limit"))
    for group in groups.values():
        yield group, ("pressure",), "kPa"


def _guides(family: Family) -> Iterator[SlipGroup]:
    """Pressure per mass of the rider: nearly constant along the lines of one guide, if both are right."""
    for lines in family.guide_groups:
        group: list[SlipFigure] = []
        for row in lines:
            pressure, mass, _ = family.guide_figures[row.id]
            if pressure is not None and mass is not None and mass > 0:
                group.append((pressure / mass, row, "pressure"))
        yield group, ("pressure", "mass"), "kPa per kg"


def _intervals(family: Family) -> Iterator[SlipGroup]:
    groups: dict[tuple[object, ...], list[SlipFigure]] = defaultdict(list)
    for row in family.of(Interval):
        if row.hours is not None:
            groups[row.operation, row.riding].append((float(row.hours), row, "hours"))
    for group in groups.values():
        yield group, (), "h"


SIBLINGS: tuple[tuple[type[Statement], Callable[[Family], Iterator[SlipGroup]]], ...] = (
    (Torque, _torques), (Fill, _fills), (Limit, _limits), (Fit, _pressures), (Guide, _guides), (Interval, _intervals),
)  # fmt: skip


def _found(family: Family) -> list[tuple[Slip, str]]:
    """The slips of a family with the unit they are reported in; computed once for both rules."""
    found = family.notes.get("slips")
    if found is None:
        found = []
        for group, kinds, unit in _groups(family):
            if len(group) > 1 and not all_alike([each[0] for each in group]):
                found += [(slip, unit) for slip in slips(_figures(group), kinds)]
        family.notes["slips"] = found
    return found


def _figures(group: Sequence[SlipFigure | Sized]) -> list[SiblingFigure]:
    """Siblings by the ids of their rows."""
    made = (SiblingFigure(each[1], each[2], each[0], *each[3:]) for each in group)
    return sorted(made, key=lambda each: each.row.id)


def written(row: Row, column: str) -> str:
    """A figure as written in its row, with its unit if the row names one."""
    return " ".join(each for each in (cell(row, column), cell(row, row.model.columns()[column].unit_column)) if each)


def _hit(slip: Slip, text: str) -> Violation:
    severity: Severity = "reject" if slip.certain else "warn"
    return Violation(slip.figure.row, slip.figure.column, text, slip.other, severity, mutual=not slip.certain)


@rule(
    "unit-slip",
    shape="family",
    nature="implausible",
    tables=(Torque, Fill, Limit, Fit, Guide, Interval),
    beside=(Fastener,),
    silenced_by=(*FORM, *BEYOND),
    passes=edit("guides", "guide-100", chassis="fork-a", spring="spring-150", damper="damper-a", chamber="positive",
                rider_mass_from="100", rider_mass_to="110", mass_unit="kg", pressure="99", pressure_unit="psi",
                source="manual-a", page="12"),
    fails=edit("guides", "guide-100", chassis="fork-a", spring="spring-150", damper="damper-a", chamber="positive",
               rider_mass_from="100", rider_mass_to="110", mass_unit="lb", pressure="99", pressure_unit="psi",
               source="manual-a", page="12"),
)  # fmt: skip
def unit_slip(family: Family, today: date) -> Iterator[Violation]:
    """A figure differs from its siblings by the factor between two units that are often confused.

    Manuals print N·m next to in·lbf, bar next to psi, and mL next to fl oz. The wrong one is off by a fixed factor.

    Fix: check figure and unit against the page; if the page prints it so, copy its words into as_printed.
    """
    for slip, unit in _found(family):
        if slip.reading is not None:
            meant, mistaken = slip.reading
            given = written(slip.figure.row, slip.figure.column)
            factor = f"{given} is {slip.factor:.3g} times its siblings, as if {meant} were {mistaken}"
            yield _hit(slip, f"{factor}; likely {slip.usual:.3g} {unit}")


@rule(
    "digit-slip",
    shape="family",
    nature="implausible",
    tables=(Torque, Fill, Limit, Fit, Guide, Interval),
    beside=(Fastener,),
    silenced_by=(*FORM, *BEYOND),
    passes=edit("intervals", "interval-2", chassis="fork-a-old", operation="full-service", hours="150",
                source="manual-old", page="19"),
    fails=edit("intervals", "interval-2", chassis="fork-a-old", operation="full-service", hours="20",
               source="manual-old", page="19"),
)  # fmt: skip
def digit_slip(family: Family, today: date) -> Iterator[Violation]:
    """A figure is ten times its siblings, or a tenth of them.

    A lost or moved decimal point is the most common typing slip.

    Fix: check the figure against the page; if the page prints it so, copy its words into as_printed.
    """
    for slip, unit in _found(family):
        if slip.reading is None:
            given = written(slip.figure.row, slip.figure.column)
            yield _hit(slip, f"{given} is {slip.factor:g} times its siblings; likely {slip.usual:.3g} {unit}")


@rule(
    "torque-differs-from-siblings",
    shape="family",
    severity="warn",
    nature="implausible",
    tables=(Torque,),
    beside=(Fastener,),
    silenced_by=(*FORM, *BEYOND, "unit-slip", "digit-slip", "unit-unlike-source", "disagree-unrelated"),
    passes=edit("torques", "torque-foot-damper", value="7.7", min="", max=""),
    fails=edit("torques", "torque-foot-damper", value="10.6", min="", max=""),
)
def torque_differs_from_siblings(family: Family, today: date) -> Iterator[Violation]:
    """A torque is more than half as high again as its siblings, or less than two thirds of them.

    Siblings are fasteners of one position, kind and thread in the family. The torque of the next thread size is off by
    about this much.

    Fix: check the torque against the page; name the thread if it differs.
    """
    groups: dict[tuple[object, ...], list[SlipFigure]] = defaultdict(list)
    for row, fastener, column, torque in family.tightened:
        if row.exception_to is None and not family.is_not_last_pass(row):
            groups[fastener.position, fastener.kind, fastener.thread].append((torque, row, column))
    for several in groups.values():
        for group, about in panels(several, itemgetter(1), "value"):
            yield from _odd_torques(group, None if about is None else about[1])


def _odd_torques(group: Sequence[SlipFigure], about: Row | None) -> Iterator[Violation]:
    """The torques that differ from the middle one of their group; only that of `about` if it is given."""
    if len(group) < 2 or all_alike([torque for torque, _, _ in group]):
        return
    ordered = sorted(group, key=lambda each: (each[0], each[1].id))
    usual, middle, _ = ordered[(len(ordered) - 1) // 2]
    for torque, odd, column in ordered:
        if about in (None, odd) and not usual / ALIKE <= torque <= usual * ALIKE:
            others = [each for each, row, _ in group if row is not odd]
            severity: Severity = "reject" if len(others) >= ENOUGH and all_alike(others) else "warn"
            text = f"{written(odd, column)}; its siblings are near {usual:.3g} N·m"
            yield Violation(odd, column, text, middle, severity, mutual=len(group) == 2)
