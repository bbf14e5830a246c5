"""Slips: a figure that differs from its siblings by a confused unit or a lost digit; an odd drive or fluid."""

from collections import defaultdict
from collections.abc import Callable, Iterator
from datetime import date

from app.catalogue.tables import Fastener, Fill, Fit, Guide, Interval, Limit, Row, Statement, Torque
from app.rules.bands import LIMITS, figure
from app.rules.checks.envelope import FORM
from app.rules.family import Family
from app.rules.finding import Severity
from app.rules.registry import Hit, edit, rule
from app.rules.siblings import ALIKE, ENOUGH, Figure, Slip, all_alike, slips
from app.rules.view import cell
from app.units.table import Kind

BEYOND = ("torque-outside-band", "torque-above-thread", "fill-outside-band", "pressure-implausible",
          "rider-mass-implausible", "limit-implausible", "axle-to-crown-implausible", "fastener-elsewhere",
          "pressure-limit-above-spring", "guide-pressure-above-limit", "oil-above-leg-volume",
          "interval-implausible")  # fmt: skip
UNITS: dict[Kind, str] = {"torque": "N·m", "pressure": "kPa", "volume": "mL", "length": "mm", "mass": "kg"}


Group = tuple[list[Figure], tuple[Kind, ...], str]  # siblings, what they measure, their common unit


def _figure(row: Row, column: str, unit_column: str | None, kind: Kind) -> Figure | None:
    fields = row.__dict__
    written = fields[column]
    if written is None:
        return None
    spelling = "mm" if unit_column is None else fields[unit_column]
    value = figure(written, spelling, kind, UNITS[kind])
    return None if value is None else Figure(row, column, value)


def _groups(family: Family) -> Iterator[Group]:
    """Siblings in the family: same position and kind, chamber, subject or spring; with what they measure."""
    for table, groups in SIBLINGS:
        if table in family.judged:
            yield from groups(family)


def _torques(family: Family) -> Iterator[Group]:
    groups: dict[tuple[str, str], list[Figure]] = defaultdict(list)
    for found, fastener in _fastened(family):
        groups[fastener.position, fastener.kind].append(found)
    for group in groups.values():
        yield group, ("torque",), "N·m"


def _fastened(family: Family) -> Iterator[tuple[Figure, Fastener]]:
    """The torques in N·m, the nominal before the limits, with their fasteners."""
    for row in family.of(Torque):
        fastener = family.fasteners.get(row.fastener)
        column = "value" if row.value is not None else "max" if row.max is not None else "min"
        if fastener is not None and (found := _figure(row, column, "unit", "torque")) is not None:
            yield found, fastener


def _fills(family: Family) -> Iterator[Group]:
    groups: dict[tuple[str, str], list[Figure]] = defaultdict(list)
    for row in family.of(Fill):
        column = "value" if row.value is not None else "max" if row.max is not None else "min"
        if (found := _figure(row, column, "unit", "volume")) is not None:
            leg = row.chamber.endswith("lower leg")
            groups["lower leg" if leg else row.chamber, "volume"].append(found)
        if (found := _figure(row, "level_mm", None, "length")) is not None:
            groups[row.chamber, "length"].append(found)
    for (_, measures), group in groups.items():
        kind: Kind = "volume" if measures == "volume" else "length"
        yield group, (kind,), UNITS[kind]


def _limits(family: Family) -> Iterator[Group]:
    groups: dict[tuple[str, str], list[Figure]] = defaultdict(list)
    for row in family.of(Limit):
        known = LIMITS.get(row.subject)
        kind: Kind = "mass" if known is not None and known[0] == "mass" else "length"
        for column in ("min", "max"):
            if known is not None and (found := _figure(row, column, "unit", kind)) is not None:
                groups[row.subject, column].append(found)
    for (subject, _), group in groups.items():
        measured: Kind = "mass" if LIMITS[subject][0] == "mass" else "length"
        yield group, (measured,), UNITS[measured]


def _pressures(family: Family) -> Iterator[Group]:
    groups: dict[str, list[Figure]] = defaultdict(list)
    for row in family.of(Fit):
        if (found := _figure(row, "pressure_limit", "pressure_unit", "pressure")) is not None:
            groups[row.chassis].append(found)
    for group in groups.values():
        yield group, ("pressure",), "kPa"


def _guides(family: Family) -> Iterator[Group]:
    """Pressure per mass of the rider: nearly one figure along the lines of one guide, if pressure or mass is right."""
    for lines in family.guide_groups:
        group: list[Figure] = []
        for row in lines:
            pressure, mass, _ = family.guide_figures[row.id]
            if pressure is not None and mass is not None and mass > 0:
                group.append(Figure(row, "pressure", pressure / mass))
        yield group, ("pressure", "mass"), "kPa per kg"


def _intervals(family: Family) -> Iterator[Group]:
    groups: dict[tuple[object, ...], list[Figure]] = defaultdict(list)
    for row in family.of(Interval):
        if row.hours is not None:
            groups[row.operation, row.riding].append(Figure(row, "hours", float(row.hours)))
    for group in groups.values():
        yield group, (), "h"


SIBLINGS: tuple[tuple[type[Statement], Callable[[Family], Iterator[Group]]], ...] = (
    (Torque, _torques), (Fill, _fills), (Limit, _limits), (Fit, _pressures), (Guide, _guides), (Interval, _intervals),
)  # fmt: skip


def _found(family: Family) -> list[tuple[Slip, str]]:
    """The slips of a family with the unit they are told in; worked out once for both rules."""
    found = family.notes.get("slips")
    if found is None:
        found = []
        for group, kinds, unit in _groups(family):
            if len(group) > 1 and not all_alike(group):
                found += [(slip, unit) for slip in slips(sorted(group, key=lambda each: each.row.id), kinds)]
        family.notes["slips"] = found
    return found


def _written(figure: Figure) -> str:
    """The figure as it stands in its row, with its unit where the row names one."""
    row, column = figure.row, figure.column
    return " ".join(each for each in (cell(row, column), cell(row, type(row).columns()[column].unit_column)) if each)


def _hit(slip: Slip, text: str) -> Hit:
    severity: Severity = "reject" if slip.certain else "warn"
    return Hit(slip.figure.row, slip.figure.column, text, slip.other, severity, mutual=not slip.certain)


@rule(
    "unit-slip",
    shape="family",
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
def unit_slip(family: Family, today: date) -> Iterator[Hit]:
    """A figure differs from its siblings by the factor between two units that are often confused.

    N·m and in·lbf, bar and psi, mL and fl oz stand side by side in manuals; the wrong one is off by a factor.

    Mend: compare figure and unit with the page; if the figure is right, set confirmed after reading it twice.
    """
    for slip, unit in _found(family):
        if slip.reading is not None:
            meant, written = slip.reading
            factor = f"{_written(slip.figure)} is {slip.factor:.3g} times its siblings, as if {meant} were {written}"
            text = f"{factor}; likely {slip.usual:.3g} {unit}"
            yield _hit(slip, text)


@rule(
    "digit-slip",
    shape="family",
    tables=(Torque, Fill, Limit, Fit, Guide, Interval),
    beside=(Fastener,),
    silenced_by=(*FORM, *BEYOND),
    passes=edit("intervals", "interval-2", chassis="fork-a-old", operation="full-service", hours="150",
                source="manual-old", page="19"),
    fails=edit("intervals", "interval-2", chassis="fork-a-old", operation="full-service", hours="20",
               source="manual-old", page="19"),
)  # fmt: skip
def digit_slip(family: Family, today: date) -> Iterator[Hit]:
    """A figure is ten times its siblings, or a tenth of them.

    A decimal point lost or moved is the commonest slip of the hand.

    Mend: compare the figure with the page; if it is right, set confirmed after reading it twice.
    """
    for slip, unit in _found(family):
        if slip.reading is None:
            text = f"{_written(slip.figure)} is {slip.factor:g} times its siblings; likely {slip.usual:.3g} {unit}"
            yield _hit(slip, text)


@rule(
    "torque-differs-from-siblings",
    shape="family",
    severity="warn",
    tables=(Torque,),
    beside=(Fastener,),
    silenced_by=(*FORM, *BEYOND, "unit-slip", "digit-slip", "unit-unlike-source", "disagree-unrelated"),
    passes=edit("torques", "torque-foot-damper", value="7.7", min="", max=""),
    fails=edit("torques", "torque-foot-damper", value="10.6", min="", max=""),
)
def torque_differs_from_siblings(family: Family, today: date) -> Iterator[Hit]:
    """A torque is more than half as high again as those of its siblings, or less than two thirds of them.

    Siblings are fasteners of one position, kind and thread in the family; the torque of the next thread size looks so.

    Mend: compare the torque with the page; name the thread where it differs.
    """
    groups: dict[tuple[object, ...], list[Figure]] = defaultdict(list)
    for found, fastener in _fastened(family):
        fields = found.row.__dict__
        if fields["exception_to"] is None and not fields["confirmed"]:
            groups[fastener.position, fastener.kind, fastener.thread, fields["stage"] or 1].append(found)
    for group in groups.values():
        if len(group) < 2 or all_alike(group):
            continue
        ordered = sorted(group, key=lambda each: (each.value, each.row.id))
        middle = ordered[(len(ordered) - 1) // 2]
        for odd in ordered:
            if not middle.value / ALIKE <= odd.value <= middle.value * ALIKE:
                others = [each for each in group if each is not odd]
                severity: Severity = "reject" if len(others) >= ENOUGH and all_alike(others) else "warn"
                text = f"{_written(odd)}; its siblings are near {middle.value:.3g} N·m"
                yield Hit(odd.row, odd.column, text, middle.row, severity, mutual=len(group) == 2)
