"""Slips in a guide: the one line that does not fit the others."""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date

from app.catalogue.tables import Guide
from app.rules.checks.air import ladders
from app.rules.checks.envelope import FORM
from app.rules.evidence import panels
from app.rules.family import Family
from app.rules.finding import Severity
from app.rules.registry import Violation, edit, rule
from app.rules.siblings import ALIKE, ENOUGH

LEAST_LINES = 5
STRAIGHT = 0.05  # how far the other lines may be off their own straight line: pressures are printed in round figures
OFF, FAR_OFF = 0.09, 0.12  # a visible deviation, and one that no rounding explains
ROUNDED = 1.0  # a line may be off by this many printed steps: pressures are rounded to 5 psi or half a bar
LadderPoint = tuple[float, float]


@rule(
    "guide-line-off",
    shape="family",
    severity="warn",
    nature="implausible",
    tables=(Guide,),
    silenced_by=(*FORM, "pressure-implausible", "rider-mass-implausible", "unit-slip", "digit-slip",
                 "guide-pressure-above-limit", "disagree-unrelated"),
    passes=edit("guides", "guide-100", chassis="fork-a", spring="spring-150", damper="damper-a", chamber="positive",
                rider_mass_from="100", rider_mass_to="110", mass_unit="kg", mass_is="with gear", pressure="105",
                pressure_unit="psi", source="manual-a", page="12"),
    fails=edit("guides", "guide-100", chassis="fork-a", spring="spring-150", damper="damper-a", chamber="positive",
               rider_mass_from="100", rider_mass_to="110", mass_unit="kg", mass_is="with gear", pressure="112",
               pressure_unit="psi", source="manual-a", page="12"),
)  # fmt: skip
def guide_line_off(family: Family, today: date) -> Iterator[Violation]:
    """One line of a guide gives a pressure that does not fit its other lines.

    At the same sag, pressure rises in a straight line with load (app.physics.air_spring). If all lines but one do, that
    one was misread.

    Fix: check pressure and masses of the line against the page; if they are printed so, copy the words of the page into
    as_printed.
    """
    for each in ladders(family):
        for ladder, about in panels(each, _itself, "pressure"):
            yield from _off_the_line(family, ladder, about)


def _itself(row: Guide) -> Guide:
    return row


def _off_the_line(family: Family, ladder: Sequence[Guide], about: Guide | None) -> Iterator[Violation]:
    found = _points(family, ladder)
    if len(found) < LEAST_LINES:
        return
    offs = _left_out(found)
    at = max(range(len(found)), key=lambda each: offs[each])
    off, row = offs[at], ladder[at]
    if off < OFF or about not in (None, row) or off * found[at][1] <= ROUNDED * _step(family, ladder):
        return
    rest = max(_left_out(found[:at] + found[at + 1 :]))
    if rest <= STRAIGHT and off > 2 * rest:
        severity: Severity = "reject" if off >= FAR_OFF else "warn"
        text = f"{row.pressure} {row.pressure_unit} is {off:.0%} off the line of the other {len(found) - 1}"
        yield Violation(row, "pressure", text, severity=severity)


def _step(family: Family, ladder: Sequence[Guide]) -> float:
    """The step, in kPa, in which the pressures of a guide are printed: their greatest common divisor."""
    printed = [row.pressure for row in ladder if row.pressure is not None]
    places = max(max(0, -int(each.as_tuple().exponent)) for each in printed)
    whole = math.gcd(*(int(each.scaleb(places)) for each in printed))
    first = family.guide_figures[ladder[0].id].pressure or 0.0
    return first * whole / (float(printed[0]) * 10**places) if printed[0] else 0.0


def _points(family: Family, ladder: Sequence[Guide]) -> list[LadderPoint]:
    """Mass in kg and pressure in kPa of each line; empty if one of them is unknown."""
    found = []
    for row in ladder:
        pressure, mass, _ = family.guide_figures[row.id]
        if mass is None or pressure is None or pressure <= 0:
            return []
        found.append((mass, pressure))
    return found


def _left_out(points: Sequence[LadderPoint]) -> list[float]:
    """How far each point is from the least-squares line of all the others, as a share of the value on that line.

    The residual against the line without the point is e/(1 - h) with the residual e and the leverage
    h = 1/n + (x - mean)²/sum of (x - mean)² of the line through all (the leave-one-out identity of least squares).
    """
    count = len(points)
    mean_x, mean_y = sum(x for x, _ in points) / count, sum(y for _, y in points) / count
    spread = sum((x - mean_x) ** 2 for x, _ in points)
    if spread == 0:
        return [0.0] * count
    slope = sum((x - mean_x) * (y - mean_y) for x, y in points) / spread
    found = []
    for x, y in points:
        leverage = 1 / count + (x - mean_x) ** 2 / spread
        expected = y - (y - mean_y - slope * (x - mean_x)) / (1 - leverage) if leverage < 1 - 1e-9 else y
        found.append(abs(y / expected - 1) if expected > 0 else 1.0)
    return found


@rule(
    "guide-sag-unlike",
    shape="family",
    severity="warn",
    nature="implausible",
    tables=(Guide,),
    silenced_by=(*FORM, "disagree-unrelated"),
    passes=edit("guides", "guide-70", sag_percent=""),
    fails=edit("guides", "guide-70", sag_percent="21"),
)
def guide_sag_unlike(family: Family, today: date) -> Iterator[Violation]:
    """One line of a guide aims for another sag than the others, which all agree.

    A guide is written for one sag. The odd one was misread, or is in millimetres.

    Fix: check the sag against the page; if the page prints it so, copy its words into as_printed.
    """
    for ladder, about in (panel for each in ladders(family) for panel in panels(each, _itself, "sag_percent")):
        stated = [row for row in ladder if row.sag_percent is not None]
        counts = Counter(row.sag_percent for row in stated)
        if len(counts) == 2 and len(stated) > ENOUGH and min(counts.values()) == 1:
            (usual, _), (odd, _) = counts.most_common(2)
            row = next(row for row in stated if row.sag_percent == odd)
            if about in (None, row):
                far = abs(math.log(float(odd or 1) / float(usual or 1))) > math.log(ALIKE)
                severity: Severity = "reject" if far else "warn"
                yield Violation(row, "sag_percent", f"{odd} %; the other lines aim at {usual} %", severity=severity)
