"""Physics of a construction: springs that differ only in shaft length, their limits, and the lowers they go into."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from itertools import pairwise

from app.catalogue.tables import Fit, Spring
from app.physics.air_chambers import disc_area_m2
from app.rules.checks.envelope import FORM
from app.rules.checks.ratings import same_pressure
from app.rules.checks.slips import written
from app.rules.evidence import prints
from app.rules.family import Family
from app.rules.finding import Severity
from app.rules.registry import Violation, edit, rule

SIBLING_VOLUME = 0.03  # rounded volumes of one construction differ by up to this share of the chamber
FAR_VOLUME = 0.3  # no variation of a construction explains a larger difference
ENOUGH = 3  # this many siblings must agree before an odd one is refused; design, section 5
FAR_MM = 10  # lowers of one chassis and wheel never differ by more
SHARED = (
    "bore_mm",
    "shaft_diameter_mm",
    "negative_volume_ml",
    "port_travel_mm",
)  # equal in all springs of one construction


def _constructions(family: Family) -> Iterator[list[tuple[Fit, Spring]]]:
    """Fits of one chassis, wheel, spacer and construction whose shaft length sets the travel, in order of travel."""
    groups: dict[tuple[object, ...], list[tuple[Fit, Spring]]] = defaultdict(list)
    for row in family.of(Fit):
        spring = family.springs.get(row.spring)
        if spring is not None and spring.travel_set_by == "shaft length" and spring.family is not None:
            scope = row.wheel_size, row.variant, row.serial_from, row.fitted_part
            groups[row.chassis, spring.maker, spring.family, *scope, row.spacer].append((row, spring))
    for group in groups.values():
        if len(group) > 1:
            yield sorted(group, key=lambda pair: (pair[0].travel_mm, pair[0].id))


@rule(
    "spacer-limit-grows-with-travel",
    shape="family",
    severity="warn",
    tables=(Fit,),
    silenced_by=(*FORM, "spacers-fill-chamber", "travel-outside-chassis", "limit-differs-by-wheel"),
    passes=edit("fits", "fit-160", spacer_limit="4", confirmed="true"),
    fails=edit("fits", "fit-160", spacer_limit="5"),
)
def spacer_limit_grows_with_travel(family: Family, today: date) -> Iterator[Violation]:
    """A longer fit allows more spacers than a shorter one of the same construction.

    A longer stroke leaves less air at its end, so limits fall as travel grows. Two rows were probably swapped.

    Fix: check the spacer limits of both travels against the page.
    """
    for group in _constructions(family):
        stated = [fit for fit, _ in group if fit.spacer_limit is not None]
        for shorter, longer in pairwise(stated):
            if shorter.travel_mm < longer.travel_mm and (longer.spacer_limit or 0) > (shorter.spacer_limit or 0):
                text = f"{longer.id} allows {longer.spacer_limit} at {longer.travel_mm:g} mm, {shorter.id} only "
                yield Violation(longer, "spacer_limit", text + f"{shorter.spacer_limit} at {shorter.travel_mm:g} mm",
                          shorter, mutual=True)  # fmt: skip


@rule(
    "limit-differs-by-wheel",
    shape="family",
    severity="warn",
    tables=(Fit,),
    silenced_by=(*FORM, "spacers-fill-chamber", "pressure-limit-above-spring", "pressure-implausible", "unit-slip",
                 "digit-slip", "disagree-unrelated"),
    passes=edit("fits", "fit-160-small", chassis="fork-a", spring="spring-150-small", wheel_size="584", travel_mm="150",
                spacer="spacer-a", spacer_limit="4", source="manual-a", page="14"),
    fails=edit("fits", "fit-160-small", chassis="fork-a", spring="spring-150-small", wheel_size="584", travel_mm="150",
               spacer="spacer-a", spacer_limit="3", source="manual-a", page="14"),
)  # fmt: skip
def limit_differs_by_wheel(family: Family, today: date) -> Iterator[Violation]:
    """One spring has another spacer or pressure limit with another wheel at the same travel, and no other spring does.

    The wheel has no effect on the air chamber. Makers do print tables by wheel in which several lines differ, but a
    single line that differs was copied from another row.

    Fix: check both limits against the page; if both are right, copy its words into as_printed of one of them.
    """
    groups: dict[tuple[object, ...], list[Fit]] = defaultdict(list)
    for row in family.of(Fit):
        if row.wheel_size is not None:
            scope = row.variant, row.serial_from, row.damper, row.fitted_part
            groups[row.chassis, row.spring, row.travel_mm, row.spacer, *scope].append(row)
    unlike: dict[str, list[Violation]] = defaultdict(list)
    alike: dict[str, int] = defaultdict(int)
    for group in groups.values():
        first = group[0]
        for row in group[1:]:
            years = row.model_year_from == first.model_year_from and row.model_year_to == first.model_year_to
            if not years or row.wheel_size == first.wheel_size or row.travel_spacers != first.travel_spacers:
                continue
            name = _differing(row, first)
            if name is not None:
                wheels = " and ".join(map(str, first.wheel_size or ()))
                text = f"{written(row, name)}; {first.id} for wheel {wheels} says {written(first, name)}"
                unlike[row.chassis].append(Violation(row, name, text, first, mutual=True))
            else:
                alike[row.chassis] += 1
    for chassis, found in unlike.items():
        if len(found) == 1 and alike[chassis] >= AGREEING:
            yield found[0]._replace(severity="reject", nature="implausible")
        elif len(found) == 1 and not any(row["confirmed"] for row in (found[0].row, found[0].other) if row):
            yield found[0]


def _differing(row: Fit, other: Fit) -> str | None:
    """The limit in which two fits differ, or None if they agree wherever both state one."""
    if None not in (row.spacer_limit, other.spacer_limit) and row.spacer_limit != other.spacer_limit:
        return "spacer_limit"
    if None not in (row.pressure_limit, other.pressure_limit) and not same_pressure(row, other):
        return "pressure_limit"
    return None


@rule(
    "chamber-differs-from-siblings",
    shape="family",
    severity="warn",
    nature="implausible",
    tables=(Fit,),
    silenced_by=(
        *FORM,
        "travel-outside-chassis",
        "stroke-below-travel",
        "spacers-fill-chamber",
        "shaft-wider-than-bore",
        "bore-not-in-stanchion",
    ),
    passes=edit("springs", "spring-140", end_volume_ml="66"),
    fails=edit("springs", "spring-140", end_volume_ml="67"),
)
def chamber_differs_from_siblings(family: Family, today: date) -> Iterator[Violation]:
    """The positive chamber of a spring at full extension differs from that of its siblings with other shafts.

    If the shaft sets the travel, end volume plus swept volume is the same for all lengths. One of the figures was
    misread.

    Fix: check end volume, bore and travel of the siblings against the page.
    """
    for group in _constructions(family):
        whole: list[tuple[float, Fit, Spring]] = []
        for fit, spring in group:
            if spring.end_volume_ml is not None and spring.bore_mm is not None and spring.bore_mm > 0:
                swept_ml = disc_area_m2(spring.bore_mm / 1000) * fit.travel_mm * 1000
                whole.append((float(spring.end_volume_ml) + swept_ml, fit, spring))
        plain = [each for each in whole if not prints(each[2], "end_volume_ml")] or whole
        if len(whole) < 2:
            continue
        middle = sorted(volume for volume, _, _ in plain)[(len(plain) - 1) // 2]
        agreeing = len({fit.spring for volume, fit, _ in plain if abs(volume - middle) <= SIBLING_VOLUME / 3 * middle})
        for volume, fit, spring in whole:
            if abs(volume - middle) > max(2.0, SIBLING_VOLUME * middle):
                text = f"{volume:.0f} mL at full extension, its siblings have {middle:.0f} mL"
                far = abs(volume - middle) > FAR_VOLUME * middle
                severity: Severity = "reject" if agreeing >= (2 if far else ENOUGH) else "warn"
                doubted = ((spring, "end_volume_ml"), (spring, "bore_mm"), (fit, "travel_mm"))
                yield Violation(fit, "spring", text, severity=severity, figures=doubted)


@rule(
    "axle-to-crown-scatter",
    shape="family",
    severity="warn",
    nature="implausible",
    tables=(Fit,),
    silenced_by=(*FORM, "travel-outside-chassis", "axle-to-crown-implausible"),
    passes=edit("fits", "fit-140", axle_to_crown_mm="539"),
    fails=edit("fits", "fit-140", axle_to_crown_mm="539.1"),
)
def axle_to_crown_scatter(family: Family, today: date) -> Iterator[Violation]:
    """Axle-to-crown minus travel differs by more than 3 mm between fits with the same chassis and wheel.

    Crown and lowers are the same, so each millimetre of travel adds one. A travel or a length was misread.

    Fix: check travel and axle-to-crown against the page; state the wheel size if the lowers differ.
    """
    groups: dict[tuple[object, ...], list[tuple[float, Fit]]] = defaultdict(list)
    for row in family.of(Fit):
        if row.axle_to_crown_mm is not None:
            rest = float(row.axle_to_crown_mm) - row.travel_mm
            groups[row.chassis, row.wheel_size].append((rest, row))
    for group in groups.values():
        plain = [each for each in group if not prints(each[1], "axle_to_crown_mm")] or group
        middle = sorted(rest for rest, _ in plain)[(len(plain) - 1) // 2]
        agreeing = sum(abs(rest - middle) <= 3 for rest, _ in plain)
        for rest, row in group:
            if abs(rest - middle) > 3 + 1e-9:
                text = f"{row.axle_to_crown_mm} mm minus the travel is {rest:g} mm; the others have {middle:g} mm"
                severity: Severity = "reject" if agreeing >= 3 and abs(rest - middle) > FAR_MM else "warn"
                yield Violation(row, "axle_to_crown_mm", text, severity=severity)


@rule(
    "construction-differs",
    shape="family",
    severity="warn",
    nature="implausible",
    tables=(Fit,),
    silenced_by=(
        *FORM, "dimension-implausible", "shaft-wider-than-bore", "bore-not-in-stanchion", "port-beyond-travel",
        "chamber-differs-from-siblings",
    ),
    passes=edit("springs", "spring-140", shaft_diameter_mm=""),
    fails=edit("springs", "spring-140", shaft_diameter_mm="12"),
)  # fmt: skip
def construction_differs(family: Family, today: date) -> Iterator[Violation]:
    """A spring has another bore, shaft, negative volume or port than the other springs of its construction.

    Springs of one construction differ only in shaft length. A figure was misread, or the spring belongs to another
    family.

    Fix: check the figures of the siblings against the page, or name another family.
    """
    fits: dict[str, Fit] = {}
    for row in family.of(Fit):
        fits.setdefault(row.spring, row)
    constructions: dict[tuple[str, str], list[Spring]] = defaultdict(list)
    for id in fits:
        spring = family.springs.get(id)
        if spring is not None and spring.family is not None and spring.travel_set_by == "shaft length":
            constructions[spring.maker, spring.family].append(spring)
    for springs in constructions.values():
        for name in SHARED:
            odd = _odd_spring(springs, name)
            if odd is not None:
                spring, sure, usual = odd
                text = f"{name} of {spring.id} is {spring[name]}; its siblings have {usual}"
                yield Violation(
                    fits[spring.id], "spring", text, severity="reject" if sure else "warn", figures=((spring, name),)
                )


def _odd_spring(springs: list[Spring], name: str) -> tuple[Spring, bool, object] | None:
    """The spring whose figure differs from all the others, whether that is certain, and their figure."""
    given = sorted((each for each in springs if getattr(each, name) is not None), key=lambda each: each.id)
    figures: dict[object, list[Spring]] = defaultdict(list)
    for spring in given:
        figures[getattr(spring, name)].append(spring)
    if len(figures) != 2:
        return None
    (_, few), (usual, many) = sorted(figures.items(), key=lambda each: len(each[1]))
    return (few[-1], len(many) >= ENOUGH, usual) if len(few) == 1 else None


@rule(
    "stanchions-differ",
    shape="family",
    severity="warn",
    tables=(Fit,),
    silenced_by=(*FORM, "dimension-implausible", "bore-wider-than-stanchion", "bore-not-in-stanchion"),
    passes=edit("chassis", "fork-a-old", stanchion_diameter_mm=""),
    fails=edit("chassis", "fork-a-old", stanchion_diameter_mm="36"),
)
def stanchions_differ(family: Family, today: date) -> Iterator[Violation]:
    """Two generations use the same air spring, but their stanchions differ in outside diameter.

    The piston runs in the stanchion, so both have the same bore. With different outside diameters the walls would
    differ too.

    Fix: check both diameters against the pages, or name the spring of each generation.
    """
    takers: dict[str, dict[str, Fit]] = defaultdict(dict)
    for fit in family.of(Fit):
        spring = family.springs.get(fit.spring)
        stated = family.chassis[fit.chassis].stanchion_diameter_mm is not None
        if stated and spring is not None and spring.kind == "air":
            takers[spring.id].setdefault(fit.chassis, fit)
    told: set[str] = set()
    for several in takers.values():
        first, *others = sorted(several.values(), key=lambda each: each.chassis)
        usual = family.chassis[first.chassis].stanchion_diameter_mm
        for fit in others:
            own = family.chassis[fit.chassis].stanchion_diameter_mm
            if own != usual and fit.chassis not in told:
                told.add(fit.chassis)
                text = (
                    f"{fit.chassis} has stanchions of {own:g} mm; {first.chassis} with the same spring has {usual:g} mm"
                )
                yield Violation(fit, "spring", text, first)


AGREEING = 2  # this many lines must agree for both wheels before an odd one is refused; common practice, no source
STROKE_MM = 5.5  # how far the excess of stroke over travel varies within one construction


@rule(
    "stroke-unlike-siblings",
    shape="family",
    severity="warn",
    nature="implausible",
    tables=(Fit,),
    silenced_by=(*FORM, "stroke-below-travel", "travel-outside-chassis", "dimension-implausible",
                 "chamber-differs-from-siblings", "axle-to-crown-scatter"),
    passes=edit("springs", "spring-140", stroke_max_mm="150"),
    fails=edit("springs", "spring-140", stroke_max_mm="151"),
)  # fmt: skip
def stroke_unlike_siblings(family: Family, today: date) -> Iterator[Violation]:
    """The stroke of a spring exceeds its travel by more or less than it does in the other springs of its construction.

    Springs of one construction differ only in shaft length. The stroke was copied from another length.

    Fix: check stroke and travel of the siblings against the page.
    """
    for group in _constructions(family):
        over = [(float(spring.stroke_max_mm) - fit.travel_mm, fit, spring) for fit, spring in group
                if spring.stroke_max_mm is not None]  # fmt: skip
        if len(over) < 2:
            continue
        plain = [each for each in over if not prints(each[2], "stroke_max_mm")] or over
        middle = sorted(more for more, _, _ in plain)[(len(plain) - 1) // 2]
        agreeing = len({spring.id for more, _, spring in plain if abs(more - middle) <= 1})
        for more, fit, spring in over:
            if abs(more - middle) > STROKE_MM:
                severity: Severity = "reject" if agreeing >= ENOUGH else "warn"
                text = f"{spring.id} has {spring.stroke_max_mm} mm of stroke, {more:g} mm more than {fit.travel_mm:g}; "
                text += f"its siblings have {middle:g} mm more"
                doubted = ((spring, "stroke_max_mm"), (fit, "travel_mm"))
                yield Violation(fit, "spring", text, severity=severity, figures=doubted)
