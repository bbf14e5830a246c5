"""Completeness: facts missing from a job card for a listed fit. Warnings only; a gap is shown, never guessed."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from itertools import pairwise

from app.catalogue.agreement import kilograms
from app.catalogue.tables import Chassis, Fastener, Fill, Fit, Guide, Torque, Use
from app.rules.checks.envelope import FORM
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule

LOWER_LEGS = ("spring-side lower leg", "damper-side lower leg")
PERHAPS = ("unit-slip", "digit-slip", "rider-mass-implausible", "disagree-unrelated", "stated-twice")


@rule(
    "fastener-without-torque",
    shape="family",
    severity="warn",
    tables=(Fastener,),
    beside=(Torque,),
    silenced_by=("fastener-elsewhere", "subject-changed"),
    passes=edit("fasteners", "cap-new", spring="spring-140", position="top cap", kind="cap", side="spring side"),
    fails=edit("fasteners", "cap-new", chassis="fork-a", position="top cap", kind="cap", side="damper side"),
)
def fastener_without_torque(family: Family, today: date) -> Iterator[Violation]:
    """A fastener of a chassis has no torque.

    The job card can only say: tighten, torque not known.

    Fix: add the torque, or an instruction if the source gives no figure.
    """
    told = {row.fastener for row in family.of(Torque)}
    for row in family.own_fasteners.values():
        if row.id not in told:
            yield Violation(row, "id", "no torque is known for it")


@rule(
    "lower-leg-without-oil",
    shape="family",
    severity="warn",
    tables=(Chassis,),
    beside=(Fill, Fit),
    silenced_by=("fluid-of-another-use", "reference-missing"),
    passes=edit("fits", "fit-140", model_year_from="2023"),
    fails=edit("fits", "fit-b", chassis="fork-b", spring="spring-150", travel_mm="150", source="manual-a", page="14"),
)
def lower_leg_without_oil(family: Family, today: date) -> Iterator[Violation]:
    """A chassis with listed springs has no oil volume for one of its lower legs.

    Both legs are refilled in every job that opens the lowers.

    Fix: add the fill that the source gives for this leg.
    """
    filled = {(row.chassis, row.chamber) for row in family.of(Fill)}
    for chassis in family.fits_of_chassis:
        for leg in LOWER_LEGS:
            if (chassis, leg) not in filled:
                yield Violation(family.chassis[chassis], "id", f"no oil is known for the {leg}")


@rule(
    "spring-without-limit",
    shape="family",
    severity="warn",
    tables=(Fit,),
    silenced_by=FORM,
    passes=edit(
        "fits",
        "fit-plain",
        chassis="fork-a",
        spring="spring-plain",
        travel_mm="150",
        source="manual-a",
        page="14",
        pressure_limit="160",
        pressure_unit="psi",
    ),
    fails=edit(
        "fits", "fit-plain", chassis="fork-a", spring="spring-plain", travel_mm="150", source="manual-a", page="14"
    ),
)
def spring_without_limit(family: Family, today: date) -> Iterator[Violation]:
    """An air spring is fitted, but no maximum fill pressure is known for it.

    A set-up could exceed the maximum, and nothing would stop it.

    Fix: enter the limit of the fit or of the spring.
    """
    for row in family.of(Fit):
        spring = family.springs.get(row.spring)
        if spring is not None and spring.kind == "air" and row.pressure_limit is None and spring.pressure_limit is None:
            yield Violation(row, "pressure_limit", f"neither this fit nor {spring.id} states a limit")


Bracket = tuple[float, float | None, Guide]  # both ends in kg, and their line


def brackets(family: Family) -> list[list[Bracket]]:
    """The mass brackets of the guides of one chassis, chamber, scope and source, by lower end; computed once."""
    found: list[list[Bracket]] | None = family.notes.get("brackets")
    if found is None:
        groups: dict[tuple[object, ...], list[Bracket]] = defaultdict(list)
        for place, group in enumerate(family.guide_groups):
            for row in group:
                _, low, high = family.guide_figures[row.id]
                if low is None and high is None:  # the unit is unknown: compare the figures as given
                    low, high = kilograms(row.rider_mass_from, None), kilograms(row.rider_mass_to, None)
                if low is not None or high is not None:
                    groups[place, row.mass_is].append((low or 0.0, high, row))
        several = (each for each in groups.values() if len(each) > 1)
        found = [sorted(each, key=lambda bracket: (bracket[0], bracket[2].id)) for each in several]
        family.notes["brackets"] = found
    return found


@rule(
    "mass-bracket-gap",
    shape="family",
    severity="warn",
    tables=(Guide,),
    silenced_by=(*FORM, *PERHAPS),
    passes=edit("guides", "guide-100", chassis="fork-a", spring="spring-150", damper="damper-a", chamber="positive",
                rider_mass_from="100", rider_mass_to="110", mass_unit="kg", mass_is="with gear", pressure="99",
                pressure_unit="psi", source="manual-a", page="12"),
    fails=edit("guides", "guide-100", chassis="fork-a", spring="spring-150", damper="damper-a", chamber="positive",
               rider_mass_from="102", rider_mass_to="110", mass_unit="kg", mass_is="with gear", pressure="99",
               pressure_unit="psi", source="manual-a", page="12"),
)  # fmt: skip
def mass_bracket_gap(family: Family, today: date) -> Iterator[Violation]:
    """Two lines of a guide leave out the riders between them.

    Such a rider gets no start pressure although there is a guide. A line was missed, or a mass misread.

    Fix: add the missing line, or correct the masses.
    """
    for group in brackets(family):
        for (_, end, lighter), (start, _, heavier) in pairwise(group):
            if end is not None and start > end * 1.001 and not _next_whole(lighter, heavier):
                text = f"riders between {lighter.rider_mass_to} and {heavier.rider_mass_from} {heavier.mass_unit} are "
                yield Violation(heavier, "rider_mass_from", text + "left out", lighter)


def _next_whole(lighter: Guide, heavier: Guide) -> bool:
    """True for brackets printed in whole kilograms or pounds, such as 55 to 64 and 65 to 74: no rider is left out."""
    end, start = lighter.rider_mass_to, heavier.rider_mass_from
    if end is None or start is None or lighter.mass_unit != heavier.mass_unit:
        return False
    return start - end == 1 and end == end.to_integral_value()


@rule(
    "replace-without-part",
    shape="family",
    severity="warn",
    tables=(Fastener,),
    beside=(Use,),
    silenced_by=("reference-missing",),
    passes=edit("fasteners", "foot-spring", reuse="replace"),
    fails=edit("fasteners", "cap-a", reuse="replace"),
)
def replace_without_part(family: Family, today: date) -> Iterator[Violation]:
    """A fastener must be replaced, but no part is listed for its position.

    The mechanic would find out with the fork already open that a new bolt is needed.

    Fix: add a use of the part for that position.
    """
    bought = {(row.chassis, row.position) for row in family.of(Use)}
    for row in family.own_fasteners.values():
        if row.reuse == "replace" and (row.chassis, row.position) not in bought:
            yield Violation(row, "reuse", f"no part is listed for the {row.position}")
