"""Physics of springs: what chambers hold, bores that fit, guides that give a sag. Formulas: app.physics."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from itertools import pairwise

from app.catalogue.agreement import pascals
from app.catalogue.tables import Chassis, Fit, Guide, Spring
from app.physics.air_chambers import disc_area_m2
from app.rules.checks.envelope import FORM
from app.rules.finding import Severity
from app.rules.registry import Hit, edit, rule
from app.rules.view import Family, RowView

WALL_MM = 1.0  # least difference of diameter and bore of a stanchion, both walls; design, section 5
USUAL_BORE = (0.75, 0.97)  # bore over stanchion diameter; design, section 5
SAME_MM = 0.2  # bores printed with one decimal
SIBLING_VOLUME = 0.03  # share of the chamber by which rounded volumes of one construction differ
FAR_VOLUME = 0.3  # share beyond which no variation of a construction explains a volume
FAR_MM = 10  # no lowers of one chassis and wheel differ by more


@rule(
    "spacers-fill-chamber",
    shape="family",
    silenced_by=FORM,
    passes=edit("spacers", "spacer-a", volume_ml="12.2"),
    fails=edit("spacers", "spacer-a", volume_ml="12.3"),
)
def spacers_fill_chamber(family: Family, today: date) -> Iterator[Hit]:
    """The volume spacers a fit may carry take up all the air the chamber has at full travel.

    V_end - k*v must leave air: otherwise the piston strikes the spacers before the fork has its travel.

    Mend: compare the spacer limit, the volume of the spacer and the chamber's end volume with the pages.
    """
    for row in family.of(Fit):
        spring, spacer = family.springs.get(row.spring), family.spacers.get(row.spacer or "")
        if spring is None or spacer is None or row.spacer_limit is None:
            continue
        if spring.end_volume_ml is not None and spacer.volume_ml is not None:
            taken = row.spacer_limit * spacer.volume_ml
            if taken >= spring.end_volume_ml:
                text = f"{row.spacer_limit} × {spacer.volume_ml} mL fill the {spring.end_volume_ml} mL of {spring.id}"
                yield Hit(row, "spacer_limit", text)


@rule(
    "bore-not-in-stanchion",
    shape="family",
    silenced_by=FORM,
    passes=edit("chassis", "fork-a-old", stanchion_diameter_mm="33.1"),
    fails=edit("chassis", "fork-a-old", stanchion_diameter_mm="33"),
)
def bore_not_in_stanchion(family: Family, today: date) -> Iterator[Hit]:
    """The bore of a spring does not go into the stanchion of a chassis it is said to fit.

    A wall of less than half a millimetre is none; the spring belongs to another chassis, or a diameter is misread.

    Mend: compare bore and stanchion diameter with the pages, or name the spring of this chassis.
    """
    for row in family.of(Fit):
        spring, chassis = family.springs.get(row.spring), family.chassis[row.chassis]
        if spring is None or spring.bore_mm is None:
            continue
        if chassis.stanchion_bore_mm is not None and spring.bore_mm > chassis.stanchion_bore_mm + SAME_MM:
            yield Hit(row, "spring", f"{spring.id} has a bore of {spring.bore_mm:g} mm, the stanchion "
                      f"{chassis.stanchion_bore_mm:g} mm")  # fmt: skip
        elif chassis.stanchion_diameter_mm is not None and spring.bore_mm >= chassis.stanchion_diameter_mm - WALL_MM:
            yield Hit(row, "spring", f"{spring.id} has a bore of {spring.bore_mm:g} mm, the stanchion an outside of "
                      f"{chassis.stanchion_diameter_mm:g} mm")  # fmt: skip


@rule(
    "bore-unusual",
    shape="family",
    severity="warn",
    silenced_by=(*FORM, "bore-not-in-stanchion"),
    passes=edit("chassis", "fork-a-old", stanchion_diameter_mm="42.6"),
    fails=edit("chassis", "fork-a-old", stanchion_diameter_mm="42.7"),
)
def bore_unusual(family: Family, today: date) -> Iterator[Hit]:
    """A spring's bore is unusually wide or narrow for the stanchion, whose own bore is not stated.

    Between 0.75 and 0.97 of the outside diameter is usual (common practice, no source); others are rare.

    Mend: compare both diameters with the pages; state the stanchion bore of the chassis if they are right.
    """
    for row in family.of(Fit):
        spring, chassis = family.springs.get(row.spring), family.chassis[row.chassis]
        if spring is None or spring.bore_mm is None or not chassis.stanchion_diameter_mm or chassis.stanchion_bore_mm:
            continue
        share = spring.bore_mm / chassis.stanchion_diameter_mm
        if not USUAL_BORE[0] <= share <= USUAL_BORE[1]:
            yield Hit(row, "spring", f"the bore of {spring.id} is {share:.2f} of the stanchion's diameter")


@rule(
    "bore-wider-than-stanchion",
    shape="row",
    tables=(Chassis,),
    silenced_by=FORM,
    passes=edit("chassis", "fork-a-old", stanchion_bore_mm="33.9"),
    fails=edit("chassis", "fork-a-old", stanchion_bore_mm="34.0"),
)
def bore_wider_than_stanchion(view: RowView, today: date) -> Iterator[Hit]:
    """The inside of a stanchion is stated as wide as its outside.

    A wall of less than half a millimetre is none; the two cells were exchanged or misread.

    Mend: compare both diameters with the page.
    """
    outside, inside = view.row.__dict__["stanchion_diameter_mm"], view.row.__dict__["stanchion_bore_mm"]
    if outside is not None and inside is not None and inside >= outside - WALL_MM:
        yield Hit(view.row, "stanchion_bore_mm", f"{inside:g} mm does not fit into {outside:g} mm")


@rule(
    "shaft-wider-than-bore",
    shape="row",
    tables=(Spring,),
    silenced_by=FORM,
    passes=edit("springs", "spring-140", shaft_diameter_mm="31.9"),
    fails=edit("springs", "spring-140", shaft_diameter_mm="32"),
)
def shaft_wider_than_bore(view: RowView, today: date) -> Iterator[Hit]:
    """The shaft of a spring is as wide as the bore its piston runs in.

    Nothing would be left for the negative chamber; the two cells were exchanged.

    Mend: compare both diameters with the page.
    """
    shaft, bore = view.row.__dict__["shaft_diameter_mm"], view.row.__dict__["bore_mm"]
    if shaft is not None and bore is not None and shaft >= bore:
        yield Hit(view.row, "shaft_diameter_mm", f"a shaft of {shaft:g} mm fills a bore of {bore:g} mm")


@rule(
    "port-beyond-travel",
    shape="family",
    silenced_by=FORM,
    passes=edit("springs", "spring-140", port_travel_mm="35"),
    fails=edit("springs", "spring-140", port_travel_mm="35.1"),
)
def port_beyond_travel(family: Family, today: date) -> Iterator[Hit]:
    """The port that joins both chambers lies beyond the first quarter of the travel.

    A fork that joins its chambers at sag has no spring there; a decimal point is missing.

    Mend: compare the port travel with the page; it is a few millimetres.
    """
    for row in family.of(Fit):
        spring = family.springs.get(row.spring)
        if spring is not None and spring.port_travel_mm is not None and spring.port_travel_mm > row.travel_mm / 4:
            yield Hit(row, "spring", f"the port of {spring.id} lies at {spring.port_travel_mm} of {row.travel_mm:g} mm")


def _constructions(family: Family) -> Iterator[list[tuple[Fit, Spring]]]:
    """Fits of one chassis, wheel, spacer and construction whose travel is set by shaft length, by travel."""
    groups: dict[tuple[object, ...], list[tuple[Fit, Spring]]] = defaultdict(list)
    for row in family.of(Fit):
        spring = family.springs.get(row.spring)
        if spring is not None and spring.travel_set_by == "shaft length" and spring.family is not None:
            groups[row.chassis, spring.maker, spring.family, row.wheel_size, row.variant, row.spacer].append(
                (row, spring)
            )
    for group in groups.values():
        if len(group) > 1:
            yield sorted(group, key=lambda pair: (pair[0].travel_mm, pair[0].id))


@rule(
    "spacer-limit-grows-with-travel",
    shape="family",
    severity="warn",
    silenced_by=(*FORM, "spacers-fill-chamber", "travel-outside-chassis"),
    passes=edit("fits", "fit-160", spacer_limit="4"),
    fails=edit("fits", "fit-160", spacer_limit="5"),
)
def spacer_limit_grows_with_travel(family: Family, today: date) -> Iterator[Hit]:
    """A longer fit may carry more spacers than a shorter one of the same construction.

    With a longer stroke less air is left at its end, so limits fall as travel grows; two rows were probably exchanged.

    Mend: compare the spacer limits of both travels with the page.
    """
    for group in _constructions(family):
        stated = [fit for fit, _ in group if fit.spacer_limit is not None]
        for shorter, longer in pairwise(stated):
            if shorter.travel_mm < longer.travel_mm and (longer.spacer_limit or 0) > (shorter.spacer_limit or 0):
                text = f"{longer.id} may carry {longer.spacer_limit} at {longer.travel_mm:g} mm, {shorter.id} only "
                yield Hit(longer, "spacer_limit", text + f"{shorter.spacer_limit} at {shorter.travel_mm:g} mm", shorter,
                          mutual=True)  # fmt: skip


@rule(
    "limit-differs-by-wheel",
    shape="family",
    severity="warn",
    silenced_by=(*FORM, "spacers-fill-chamber", "pressure-limit-above-spring", "pressure-implausible", "unit-slip",
                 "digit-slip", "spacer-limit-grows-with-travel", "disagree-unrelated"),
    passes=edit("fits", "fit-160-small", chassis="fork-a", spring="spring-150-small", wheel_size="584", travel_mm="150",
                spacer="spacer-a", spacer_limit="4", source="manual-a", page="14"),
    fails=edit("fits", "fit-160-small", chassis="fork-a", spring="spring-150-small", wheel_size="584", travel_mm="150",
               spacer="spacer-a", spacer_limit="3", source="manual-a", page="14"),
)  # fmt: skip
def limit_differs_by_wheel(family: Family, today: date) -> Iterator[Hit]:
    """One spring at one travel may carry other spacers or another pressure with another wheel.

    The wheel does not touch the air chamber; one of the two limits belongs to another line of the table.

    Mend: compare both limits with the page.
    """
    groups: dict[tuple[object, ...], list[Fit]] = defaultdict(list)
    for row in family.of(Fit):
        if row.wheel_size is not None:
            groups[row.chassis, row.spring, row.travel_mm, row.spacer, row.variant, row.damper].append(row)
    for group in groups.values():
        first = group[0]
        for row in group[1:]:
            years = row.model_year_from == first.model_year_from and row.model_year_to == first.model_year_to
            if not years or row.wheel_size == first.wheel_size or row.travel_spacers != first.travel_spacers:
                continue
            for name in ("spacer_limit", "pressure_limit"):
                here, there = row.__dict__[name], first.__dict__[name]
                if (
                    here is not None
                    and there is not None
                    and here != there
                    and row.pressure_unit == first.pressure_unit
                ):
                    text = f"{row.id} says {here}, {first.id} for wheel {first.wheel_size} {there}"
                    yield Hit(row, name, text, first, mutual=True)
                    break


@rule(
    "chamber-differs-from-siblings",
    shape="family",
    severity="warn",
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
def chamber_differs_from_siblings(family: Family, today: date) -> Iterator[Hit]:
    """The positive chamber of a spring at full extension differs from that of its siblings with other shafts.

    Where the shaft sets the travel, V_end + A*T is one volume for all lengths; one of the figures is misread.

    Mend: compare end volume, bore and travel of the siblings with the page.
    """
    for group in _constructions(family):
        whole: list[tuple[float, Fit]] = []
        for fit, spring in group:
            if spring.end_volume_ml is not None and spring.bore_mm is not None and spring.bore_mm > 0:
                swept_ml = disc_area_m2(spring.bore_mm / 1000) * fit.travel_mm * 1000
                whole.append((float(spring.end_volume_ml) + swept_ml, fit))
        if len(whole) < 2:
            continue
        middle = sorted(volume for volume, _ in whole)[(len(whole) - 1) // 2]
        agreeing = sum(abs(volume - middle) <= SIBLING_VOLUME * middle for volume, _ in whole)
        for volume, fit in whole:
            if abs(volume - middle) > max(2.0, SIBLING_VOLUME * middle):
                text = f"{volume:.0f} mL at full extension, its siblings have {middle:.0f} mL"
                severity: Severity = (
                    "reject" if agreeing >= 2 and abs(volume - middle) > FAR_VOLUME * middle else "warn"
                )
                yield Hit(fit, "spring", text, severity=severity)


@rule(
    "axle-to-crown-scatter",
    shape="family",
    severity="warn",
    silenced_by=(*FORM, "travel-outside-chassis", "axle-to-crown-implausible"),
    passes=edit("fits", "fit-140", axle_to_crown_mm="539"),
    fails=edit("fits", "fit-140", axle_to_crown_mm="539.1"),
)
def axle_to_crown_scatter(family: Family, today: date) -> Iterator[Hit]:
    """Axle-to-crown less travel differs by more than 3 mm between fits of one chassis and wheel.

    Crown and lowers are the same, so each millimetre of travel adds one; a travel or a length is misread.

    Mend: compare travel and axle-to-crown with the page; state the wheel size where the lowers differ.
    """
    groups: dict[tuple[object, ...], list[tuple[float, Fit]]] = defaultdict(list)
    for row in family.of(Fit):
        if row.axle_to_crown_mm is not None:
            rest = float(row.axle_to_crown_mm) - row.travel_mm
            groups[row.chassis, row.wheel_size, row.variant, row.source].append((rest, row))
    for group in groups.values():
        middle = sorted(rest for rest, _ in group)[(len(group) - 1) // 2]
        agreeing = sum(abs(rest - middle) <= 3 for rest, _ in group)
        for rest, row in group:
            if abs(rest - middle) > 3 + 1e-9:
                text = f"less the travel it is {rest:g} mm, that of others {middle:g} mm"
                severity: Severity = "reject" if agreeing >= 3 and abs(rest - middle) > FAR_MM else "warn"
                yield Hit(row, "axle_to_crown_mm", text, severity=severity)


def _ladders(family: Family) -> Iterator[list[Guide]]:
    """Guides of one chassis, chamber and scope, by rider mass."""
    groups: dict[tuple[object, ...], list[Guide]] = defaultdict(list)
    for row in family.of(Guide):
        if row.pressure is not None and row.rider_mass_from is not None:
            groups[row.chassis, row.chamber, family.scope(row), row.mass_unit, row.mass_is, row.source].append(row)
    for group in groups.values():
        if len(group) > 1:
            yield sorted(group, key=lambda row: (row.rider_mass_from or 0, row.id))


@rule(
    "guide-pressure-not-rising",
    shape="family",
    severity="warn",
    silenced_by=(*FORM, "pressure-implausible", "rider-mass-implausible", "unit-slip", "digit-slip"),
    passes=edit("guides", "guide-80", pressure="72", pressure_min="70"),
    fails=edit("guides", "guide-80", pressure="71", pressure_min="70"),
)
def guide_pressure_not_rising(family: Family, today: date) -> Iterator[Hit]:
    """A heavier rider is given no more pressure than a lighter one.

    Sag at one pressure grows with mass; the pressures or the masses of two lines were exchanged.

    Mend: compare both lines with the page.
    """
    for ladder in _ladders(family):
        for lighter, heavier in pairwise(ladder):
            less, more = (pascals(row.pressure, row.pressure_unit) for row in (lighter, heavier))
            if less is not None and more is not None and more <= less:
                text = f"{heavier.id} says {heavier.pressure} {heavier.pressure_unit}, {lighter.id} for lighter riders "
                yield Hit(
                    heavier, "pressure", text + f"{lighter.pressure} {lighter.pressure_unit}", lighter, mutual=True
                )


@rule(
    "sag-unusual",
    shape="row",
    severity="warn",
    tables=(Guide,),
    silenced_by=FORM,
    passes=edit("guides", "guide-coil", sag_percent="40"),
    fails=edit("guides", "guide-coil", sag_percent="41"),
)
def sag_unusual(view: RowView, today: date) -> Iterator[Hit]:
    """A guide aims at a sag outside 10 to 40 percent.

    Forks are ridden at 15 to 30 percent (common practice, no source); a millimetre figure may stand for a percentage.

    Mend: compare the sag with the page; write millimetres as a share of the travel.
    """
    sag = view.row.__dict__["sag_percent"]
    if sag is not None and not 10 <= sag <= 40:
        yield Hit(view.row, "sag_percent", f"{sag} % is outside 10 to 40 %")
