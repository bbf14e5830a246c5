"""Physics of springs: chamber volumes, bores that fit, pressures that rise with the rider's mass."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from itertools import pairwise

from app.catalogue.tables import Chassis, Fit, Guide, Spring
from app.rules.checks.envelope import FORM
from app.rules.family import Family
from app.rules.finding import Severity
from app.rules.registry import Violation, edit, rule
from app.rules.view import RowView

WALL_MM = 1.0  # smallest difference of diameter and bore of a stanchion, both walls; design, section 5
SAME_MM = 0.2  # bores printed with one decimal
ALIKE = 0.995  # ratio of two pressures that look equal when printed in another unit; common practice, no source


@rule(
    "spacers-fill-chamber",
    shape="family",
    tables=(Fit,),
    silenced_by=FORM,
    passes=edit("spacers", "spacer-a", volume_ml="12.2"),
    fails=edit("spacers", "spacer-a", volume_ml="12.3"),
)
def spacers_fill_chamber(family: Family, today: date) -> Iterator[Violation]:
    """The volume spacers allowed in a fit would fill all the air space the chamber has at full travel.

    Some air must be left at the end of the stroke. Otherwise the piston hits the spacers before the fork reaches full
    travel.

    Fix: check the spacer limit, the volume of the spacer and the chamber's end volume against the pages.
    """
    for row in family.of(Fit):
        spring, spacer = family.springs.get(row.spring), family.spacers.get(row.spacer or "")
        if spring is None or spacer is None or row.spacer_limit is None:
            continue
        if spring.end_volume_ml is not None and spacer.volume_ml is not None:
            taken = row.spacer_limit * spacer.volume_ml
            if taken >= spring.end_volume_ml:
                guess = spring.geometry_basis in (None, "estimated")
                text = f"{row.spacer_limit} × {spacer.volume_ml} mL fills the {spring.end_volume_ml} mL of {spring.id}"
                doubted = ((row, "spacer_limit"), (spring, "end_volume_ml"), (spacer, "volume_ml"))
                yield Violation(
                    row, "spacer_limit", text, figures=doubted, nature="implausible" if guess else "impossible"
                )


@rule(
    "bore-not-in-stanchion",
    shape="family",
    tables=(Fit,),
    silenced_by=FORM,
    passes=edit("springs", "spring-150-small", bore_mm="32.2"),
    fails=edit("springs", "spring-150-small", bore_mm="32.3"),
)
def bore_not_in_stanchion(family: Family, today: date) -> Iterator[Violation]:
    """The bore of a spring is too wide for the stanchion of a chassis it is listed for.

    No stanchion has a wall thinner than half a millimetre. The spring belongs to another chassis, or a diameter was
    misread.

    Fix: check bore and stanchion diameter against the pages, or name the spring of this chassis.
    """
    for row in family.of(Fit):
        spring, chassis = family.springs.get(row.spring), family.chassis[row.chassis]
        if spring is None or spring.bore_mm is None:
            continue
        if chassis.stanchion_bore_mm is not None and spring.bore_mm > chassis.stanchion_bore_mm + SAME_MM:
            inside = ((spring, "bore_mm"), (chassis, "stanchion_bore_mm"))
            yield Violation(
                row, "spring", f"{spring.id} has a bore of {spring.bore_mm:g} mm, the stanchion a bore of "
                f"{chassis.stanchion_bore_mm:g} mm", spring, figures=inside, nature="implausible",
            )  # fmt: skip
        elif chassis.stanchion_diameter_mm is not None and spring.bore_mm >= chassis.stanchion_diameter_mm - WALL_MM:
            outside = ((spring, "bore_mm"), (chassis, "stanchion_diameter_mm"))
            close = spring.bore_mm < chassis.stanchion_diameter_mm
            yield Violation(
                row, "spring", f"{spring.id} has a bore of {spring.bore_mm:g} mm, the stanchion an outside diameter "
                f"of {chassis.stanchion_diameter_mm:g} mm", spring, figures=outside,
                nature="implausible" if close else "impossible",
            )  # fmt: skip


@rule(
    "bore-wider-than-stanchion",
    shape="row",
    tables=(Chassis,),
    silenced_by=FORM,
    passes=edit("chassis", "fork-a-old", stanchion_bore_mm="33.9"),
    fails=edit("chassis", "fork-a-old", stanchion_bore_mm="34.0"),
)
def bore_wider_than_stanchion(view: RowView, today: date) -> Iterator[Violation]:
    """The inside diameter of a stanchion is as large as its outside diameter, or nearly.

    No stanchion has a wall thinner than half a millimetre. The two cells were swapped, or one was misread.

    Fix: check both diameters against the page.
    """
    outside, inside = view.row["stanchion_diameter_mm"], view.row["stanchion_bore_mm"]
    if outside is not None and inside is not None and inside >= outside - WALL_MM:
        yield Violation(view.row, "stanchion_bore_mm", f"{inside:g} mm does not fit into {outside:g} mm")


@rule(
    "shaft-wider-than-bore",
    shape="row",
    tables=(Spring,),
    silenced_by=FORM,
    passes=edit("springs", "spring-150-small", bore_mm="20", shaft_diameter_mm="19.9"),
    fails=edit("springs", "spring-150-small", bore_mm="20", shaft_diameter_mm="20"),
)
def shaft_wider_than_bore(view: RowView, today: date) -> Iterator[Violation]:
    """The shaft of a spring is as thick as the bore its piston runs in, or thicker.

    No space would be left for the negative chamber. The two cells were probably swapped.

    Fix: check both diameters against the page.
    """
    shaft, bore = view.row["shaft_diameter_mm"], view.row["bore_mm"]
    if shaft is not None and bore is not None and shaft >= bore:
        yield Violation(view.row, "shaft_diameter_mm", f"a shaft of {shaft:g} mm would fill the bore of {bore:g} mm")


@rule(
    "port-beyond-travel",
    shape="family",
    tables=(Fit,),
    silenced_by=FORM,
    passes=edit("springs", "spring-150-small", port_travel_mm="37.5"),
    fails=edit("springs", "spring-150-small", port_travel_mm="37.6"),
)
def port_beyond_travel(family: Family, today: date) -> Iterator[Violation]:
    """The port that joins the two air chambers is more than a quarter of the way into the travel.

    A fork whose chambers are joined at sag would have no spring there. A decimal point is probably missing.

    Fix: check the port travel against the page. It is usually a few millimetres.
    """
    for row in family.of(Fit):
        spring = family.springs.get(row.spring)
        if spring is not None and spring.port_travel_mm is not None and spring.port_travel_mm > row.travel_mm / 4:
            beyond = spring.port_travel_mm >= row.travel_mm
            yield Violation(
                row, "spring", f"the port of {spring.id} is at {spring.port_travel_mm} of {row.travel_mm:g} mm", spring,
                figures=((spring, "port_travel_mm"), (row, "travel_mm")),
                nature="impossible" if beyond else "implausible",
            )  # fmt: skip


def ladders(family: Family) -> list[list[Guide]]:
    """Guides of one chassis, chamber and scope, by rider mass; computed once for all rules."""
    found: list[list[Guide]] | None = family.notes.get("ladders")
    if found is None:
        groups: dict[tuple[object, ...], list[Guide]] = defaultdict(list)
        for place, group in enumerate(family.guide_groups):
            for row in group:
                if row.pressure is not None and row.rider_mass_from is not None:
                    groups[place, row.mass_unit, row.mass_is].append(row)
        several = (group for group in groups.values() if len(group) > 1)
        found = [sorted(group, key=lambda row: (row.rider_mass_from or 0, row.id)) for group in several]
        family.notes["ladders"] = found
    return found


@rule(
    "guide-pressure-not-rising",
    shape="family",
    severity="warn",
    tables=(Guide,),
    silenced_by=(*FORM, "pressure-implausible", "rider-mass-implausible", "unit-slip", "digit-slip", "guide-line-off"),
    passes=edit("guides", "guide-80", pressure="71", pressure_min="70"),
    fails=edit("guides", "guide-80", pressure="69", pressure_min="66"),
)
def guide_pressure_not_rising(family: Family, today: date) -> Iterator[Violation]:
    """A heavier rider is given less pressure than a lighter one.

    Heavier riders need more pressure for the same sag. Two neighbouring lines may print the same pressure, but it never
    falls. The pressures or the masses of two lines were swapped.

    Fix: check both lines against the page.
    """
    for ladder in ladders(family):
        for lighter, heavier in pairwise(ladder):
            less, more = family.guide_figures[lighter.id].pressure, family.guide_figures[heavier.id].pressure
            if less is not None and more is not None and more < less * ALIKE:
                text = f"{heavier.id} says {heavier.pressure} {heavier.pressure_unit}, {lighter.id} for lighter riders "
                yield Violation(
                    heavier, "pressure", text + f"{lighter.pressure} {lighter.pressure_unit}", lighter, mutual=True
                )


SAGS = ("sag_percent", "sag_min_percent", "sag_max_percent")


@rule(
    "sag-unusual",
    shape="row",
    severity="warn",
    tables=(Guide,),
    silenced_by=(*FORM, "guide-sag-unlike"),
    reads=SAGS,
    passes=edit("guides", "guide-coil", sag_percent="40"),
    fails=edit("guides", "guide-coil", sag_percent="41"),
)
def sag_unusual(view: RowView, today: date) -> Iterator[Violation]:
    """A guide aims for a sag outside 10 to 40 percent.

    Forks are ridden at 15 to 30 percent (common practice, no source). The figure may be in millimetres. A sag below 5
    or above 60 percent is refused.

    Fix: check the sag against the page; convert millimetres to a percentage of the travel.
    """
    for name in SAGS:
        sag = view.row[name]
        if sag is not None and not 10 <= sag <= 40:
            severity: Severity = "warn" if 5 <= sag <= 60 else "reject"
            yield Violation(view.row, name, f"{sag} % is outside 10 to 40 %", severity=severity)
            return
