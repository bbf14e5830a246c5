"""Set-up guides and readings, compared with each other and with the rider's weight. No stated volumes are needed."""

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date
from itertools import combinations
from operator import itemgetter
from statistics import median

from app.catalogue.tables import Adjustment, Fit, Guide, Reading, is_row_of
from app.physics.load import STANDARD_GRAVITY_M_S2
from app.rules.bands import ADJUSTED, Bounds, figure
from app.rules.checks.air import ladders
from app.rules.checks.envelope import FORM
from app.rules.checks.slips import BEYOND
from app.rules.evidence import panels
from app.rules.family import Family
from app.rules.finding import Severity
from app.rules.registry import Violation, edit, rule
from app.rules.view import RowView
from app.units.table import find

LOADED = Bounds(0.065, 0.25)  # see `pressure-unlike-load`; common practice, no source
LOADED_AT_ALL = Bounds(0.05, 0.36)
OTHERS_ALIKE, UNLIKE = 1.45, 1.75  # ratio of shares: guides of one fork that agree, and one that does not
USUAL_SAG = 0.20  # for a guide that states none; common practice, no source
STANCHION_WALLS_MM = 3.5  # outside diameter minus bore, if only the outside is known; common practice, no source
ORDER = Bounds(0.95, 1.35)  # start pressure of a shorter fork over that of one up to 40 mm longer, for the same rider
NEAR_MM = 40
TOLD = (*FORM, *BEYOND, "unit-slip", "digit-slip", "guide-line-off", "disagree-unrelated",
        "guide-pressure-not-rising", "sag-unusual")  # fmt: skip


def _bore_mm(family: Family, row: Guide | Reading) -> float | None:
    """The widest known bore of the springs a row can be about, else that of the stanchion, stated or estimated."""
    kept: dict[tuple[str, str | None], float | None] = family.notes.setdefault("bores", {})
    about = row.chassis, row.spring
    if about not in kept:
        kept[about] = _bore_of(family, row)
    return kept[about]


def _bore_of(family: Family, row: Guide | Reading) -> float | None:
    fits = family.fits_of_chassis.get(row.chassis, [])
    named = {row.spring} if row.spring is not None else {fit.spring for fit in fits}
    springs = [spring for id in named if id is not None and (spring := family.springs.get(id)) is not None]
    bores = [spring.bore_mm for spring in springs if spring.kind == "air" and spring.bore_mm is not None]
    if bores:
        return max(bores)
    chassis = family.chassis[row.chassis]
    if chassis.stanchion_bore_mm is not None:
        return chassis.stanchion_bore_mm
    outside = chassis.stanchion_diameter_mm
    return None if outside is None or not springs else outside - STANCHION_WALLS_MM


def _borne(pressure_kpa: float, bore_mm: float, mass_kg: float, sag: float) -> float:
    """Force of the air on the piston over the rider's weight, times the sag as a share: p*A/(m*g)*s."""
    force_n = pressure_kpa * 1000 * math.pi / 4e6 * bore_mm**2
    return force_n / (mass_kg * STANDARD_GRAVITY_M_S2) * sag


@rule(
    "pressure-unlike-load",
    shape="family",
    severity="warn",
    nature="implausible",
    tables=(Guide, Reading),
    beside=(Fit,),
    silenced_by=TOLD,
    passes=edit("readings", "reading-sag", pressure="165"),
    fails=edit("readings", "reading-sag", pressure="167"),
)
def pressure_unlike_load(family: Family, today: date) -> Iterator[Violation]:
    """A guide or a reading at sag has a pressure that would not carry its rider at that sag on any fork.

    A softer spring sags more, so p*A/(m*g) times the sag is nearly the same for all air forks, 0.11 to 0.17 (common
    practice, no source). Outside 0.065 to 0.25, or more than 1.75 times off the other guides of the fork, pounds were
    entered as kilograms, or a decimal point moved.

    Fix: check pressure, mass and their units against the page; if they are printed so, copy the words of the page into
    as_printed.
    """
    if Guide in family.judged:
        yield from _guides_borne(family)
    for reading in family.of(Reading) if Reading in family.judged else ():
        found = _share_of_reading(family, reading)
        if found is not None and not LOADED.holds(found):
            yield _told(reading, found, not LOADED_AT_ALL.holds(found))


def _guides_borne(family: Family) -> Iterator[Violation]:
    """The middle line of each guide whose share is outside every fork's range, or unlike the family's other guides."""
    found: list[tuple[Guide, float]] = []
    for ladder in ladders(family):
        borne = sorted((share, row.id, row) for row in ladder if (share := _share_of_guide(family, row)) is not None)
        if len(borne) == len(ladder):
            share, _, row = borne[len(borne) // 2]
            found.append((row, share))
    for place, (row, share) in enumerate(found):
        others = [each for at, (_, each) in enumerate(found) if at != place]
        alike = len(others) > 1 and max(others) <= OTHERS_ALIKE * min(others)
        unlike = alike and not median(others) / UNLIKE <= share <= median(others) * UNLIKE
        if unlike or not LOADED.holds(share):
            yield _told(row, share, unlike or not LOADED_AT_ALL.holds(share))


def _told(row: Guide | Reading, share: float, sure: bool) -> Violation:
    severity: Severity = "reject" if sure else "warn"
    text = f"at {row.pressure} {row.pressure_unit} the air carries {share:.2g} of the rider at this sag; "
    text += "forks are near 0.13"
    return Violation(row, "pressure", text, severity=severity)


def _share_of_guide(family: Family, row: Guide) -> float | None:
    pressure, lightest, heaviest = family.guide_figures[row.id]
    if pressure is None or lightest is None or row.chamber == "negative":
        return None
    bore = _bore_mm(family, row)
    mass = lightest if heaviest is None else (lightest + heaviest) / 2
    sag = _sag(row)
    return None if bore is None or mass <= 0 else _borne(pressure, bore, mass, sag)


def _sag(row: Guide) -> float:
    """The sag of a guide as a share of the travel: its figure, else the middle of its range."""
    given = [each for each in (row.sag_min_percent, row.sag_max_percent) if each is not None]
    if row.sag_percent is not None:
        given = [row.sag_percent]
    return float(sum(given)) / len(given) / 100 if given else USUAL_SAG


def _share_of_reading(family: Family, row: Reading) -> float | None:
    pressure = figure(row.pressure, row.pressure_unit, "pressure", "kPa")
    mass = figure(row.rider_mass, row.mass_unit, "mass", "kg")
    if row.state != "at sag" or pressure is None or mass is None or mass <= 0 or row.at_travel_mm is None:
        return None
    fits = family.fits_of_chassis.get(row.chassis, [])
    travels = {fit.travel_mm for fit in fits if fit.spring == row.spring}
    bore = _bore_mm(family, row)
    if bore is None or not travels or max(travels) <= 0:
        return None
    return _borne(pressure, bore, mass, float(row.at_travel_mm) / max(travels))


@rule(
    "guide-travels-out-of-order",
    shape="family",
    severity="warn",
    nature="implausible",
    tables=(Guide,),
    beside=(Fit,),
    silenced_by=(*TOLD, "pressure-unlike-load"),
    passes=edit("guides", "guide-again", chassis="fork-a", spring="spring-140", damper="damper-a", chamber="positive",
                rider_mass_from="70", rider_mass_to="80", mass_unit="kg", mass_is="with gear", pressure="95",
                pressure_unit="psi", sag_percent="20", source="manual-a", page="12"),
    fails=edit("guides", "guide-again", chassis="fork-a", spring="spring-140", damper="damper-a", chamber="positive",
               rider_mass_from="70", rider_mass_to="80", mass_unit="kg", mass_is="with gear", pressure="97",
               pressure_unit="psi", sag_percent="20", source="manual-a", page="12"),
)  # fmt: skip
def guide_travels_out_of_order(family: Family, today: date) -> Iterator[Violation]:
    """The guides for two travels of a fork do not fit together: the shorter gets less pressure, or a third more.

    At the same percentage of sag a longer fork takes a little less pressure, 3 to 20 % less for 20 mm
    (app.physics.air_spring). Any other difference means the guide of another fork or spring.

    Fix: check both guides against the pages; if they are printed so, copy the words into as_printed of the line that is
    named.
    """
    groups: dict[tuple[object, ...], list[tuple[float, Guide, dict[float, float]]]] = defaultdict(list)
    for lines in _guides(family):
        row = lines[0]
        travel = _travel_mm(family, row)
        if travel is not None:
            pressures = _pressures(family, lines)
            groups[row.chassis, row.chamber, row.variant, row.serial_from, row.damper, row.wheel_size, row.fitted_part,
                   row.mass_is, row.sag_percent, row.source].append((travel, row, pressures))  # fmt: skip
    for several in groups.values():
        for group, about in panels(several, itemgetter(1), "pressure"):
            for found in _disorder(sorted(group, key=lambda each: (each[0], each[1].id))):
                if about is None or about[1] in (found.row, found.other):
                    yield found if about is None else found._replace(mutual=True)


def _guides(family: Family) -> Iterator[list[Guide]]:
    """The lines of each guide, by mass."""
    for group in family.guide_groups:
        lines = [row for row in group if family.guide_figures[row.id].pressure is not None]
        if lines:
            yield sorted(lines, key=lambda row: (family.guide_figures[row.id].lightest or 0, row.id))


def _travel_mm(family: Family, row: Guide) -> float | None:
    """The travel of a guide: the middle of its scope, else the one travel of its spring's fits; None if for several."""
    if row.travel_from_mm is not None and row.travel_to_mm is not None:
        return (row.travel_from_mm + row.travel_to_mm) / 2
    if row.spring is None:
        return None
    travels = {fit.travel_mm for fit in family.fits_of_chassis.get(row.chassis, []) if fit.spring == row.spring}
    return travels.pop() if len(travels) == 1 else None


def _pressures(family: Family, lines: Sequence[Guide]) -> dict[float, float]:
    found = {}
    for row in lines:
        pressure, lightest, _ = family.guide_figures[row.id]
        if pressure is not None and lightest is not None:
            found[lightest] = pressure
    return found


Printed = tuple[float, Guide, dict[float, float]]  # travel, first line, pressures by mass


def _disorder(group: list[Printed]) -> Iterator[Violation]:
    """The guides that do not fit the others: refused if two others fit each other but not this one."""
    against: dict[int, list[int]] = defaultdict(list)
    going: set[tuple[int, int]] = set()
    for (at, shorter), (other, longer) in combinations(enumerate(group), 2):
        ratio = _ratio(shorter, longer)
        if ratio is None:
            continue
        if ORDER.holds(ratio):
            going |= {(at, other), (other, at)}
        else:
            against[at].append(other)
            against[other].append(at)
    while against:
        at = max(against, key=lambda each: (len(against[each]), each))
        others = against.pop(at)
        for each in others:
            against[each].remove(at)
            if not against[each]:
                del against[each]
        sure = any((one, two) in going for one, two in combinations(others, 2))
        row, other_row = group[at][1], group[others[0]][1]
        text = f"{row.pressure} {row.pressure_unit}: for the same rider it is out of line with {other_row.id}, of "
        text += "another travel"
        yield Violation(row, "pressure", text, other_row, "reject" if sure else "warn", mutual=not sure)


def _ratio(shorter: Printed, longer: Printed) -> float | None:
    """Pressure of the shorter over that of the longer: the median over all riders they share."""
    if not 0 < longer[0] - shorter[0] <= NEAR_MM:
        return None
    shared = [shorter[2][mass] / longer[2][mass] for mass in shorter[2] if longer[2].get(mass)]
    return median(shared) if shared else None


@rule(
    "adjustment-unit-unlike-target",
    shape="row",
    tables=(Adjustment,),
    silenced_by=FORM,
    reads=("target", "value", "unit"),
    passes=edit("adjustments", "adjustment-e-bike", unit="bar", value="0.5"),
    fails=edit("adjustments", "adjustment-e-bike", unit="%"),
)
def adjustment_unit_unlike_target(view: RowView, today: date) -> Iterator[Violation]:
    """An adjustment has a unit that its target does not have, or adds a part of a click.

    A pressure has a unit of pressure and a sag is in percent; clicks and turns are counted and have no unit. Anything
    else cannot be added to the guide.

    Fix: correct the target or the unit; leave the unit empty for clicks and turns.
    """
    row = view.row
    assert is_row_of(row, Adjustment)
    kind, usual, _ = ADJUSTED[row.target]
    if row.unit is not None and all(each.kind != kind for each in find(row.unit)):
        counted = f"{usual} have no unit" if not kind else f"{row.target} is a {kind}"
        yield Violation(row, "unit", f"{row.unit}, but {counted}")
    elif usual == "clicks" and row.value is not None and row.value % 1:
        yield Violation(row, "value", f"{row.value} is no whole number of clicks")


@rule(
    "adjustment-implausible",
    shape="row",
    nature="implausible",
    tables=(Adjustment,),
    silenced_by=(*FORM, "adjustment-unit-unlike-target"),
    reads=("target", "value", "unit"),
    passes=edit("adjustments", "adjustment-e-bike", value="40"),
    fails=edit("adjustments", "adjustment-e-bike", value="80"),
)
def adjustment_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """An adjustment adds nothing, or so much that it is no adjustment.

    A condition moves a pressure by some psi and a knob by a few clicks (common practice, no source). More is usually
    the whole figure for that condition, which belongs into a guide of its own.

    Fix: check the amount against the page; enter a whole figure as a guide.
    """
    row = view.row
    assert is_row_of(row, Adjustment)
    kind, unit, band = ADJUSTED[row.target]
    if row.value is None:
        return
    amount = float(row.value) if kind in ("", "percent") else figure(row.value, row.unit, kind, unit)
    if amount is not None and not band.holds(abs(amount)):
        yield Violation(row, "value", f"{abs(amount):.4g} {unit} is not within {band.low:g} to {band.high:g} {unit}")
