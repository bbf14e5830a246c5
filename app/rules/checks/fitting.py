"""Relations between the parts of a fork: springs, spacers, chambers, fluids and travels."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from itertools import combinations, pairwise
from operator import itemgetter

from app.catalogue.tables import (
    Fastener,
    Fill,
    Fit,
    Grease,
    Guide,
    Limit,
    Reading,
    Spring,
    Statement,
    Torque,
)
from app.rules.bands import figure
from app.rules.checks.envelope import FORM
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule

SPRUNG: tuple[type[Statement], ...] = (Fill, Grease, Guide, Reading)  # statements about one spring of several


@rule(
    "coil-with-air-parts",
    shape="family",
    tables=(Fit,),
    silenced_by=FORM,
    passes=edit("fits", "fit-coil", spacer_limit="0"),
    fails=edit("fits", "fit-coil", spacer="spacer-a", spacer_limit="3"),
)
def coil_with_air_parts(family: Family, today: date) -> Iterator[Violation]:
    """A fit of a coil has volume spacers or a fill pressure.

    A coil has no air chamber to shrink or fill. The spring or the figure was copied from another line.

    Fix: name the air spring that the line is about, or clear the spacers and the pressure.
    """
    for row in family.of(Fit):
        spring = family.springs.get(row.spring)
        if spring is None or spring.kind != "coil":
            continue
        for name in ("spacer", "spacer_limit", "spacers_fitted", "pressure_limit"):
            if row[name]:
                yield Violation(row, name, f"{name} {row[name]}, but {spring.id} is a coil", spring)
                break


@rule(
    "travel-spacers-unlike-spring",
    shape="family",
    tables=(Fit,),
    silenced_by=(*FORM, "coil-with-air-parts"),
    passes=edit(
        "fits",
        "fit-spaced",
        chassis="fork-a",
        spring="spring-150",
        travel_mm="150",
        travel_spacer="ring-a",
        travel_spacers="0",
        axle_to_crown_mm="546",
        spacer="spacer-a",
        spacer_limit="4",
        source="bulletin-a",
        page="14",
        exception_to="",
        wheel_size="622",
    ),
    fails=edit(
        "fits",
        "fit-spaced",
        chassis="fork-a",
        spring="spring-150",
        travel_mm="140",
        travel_spacer="ring-a",
        travel_spacers="1",
        axle_to_crown_mm="536",
        source="manual-a",
        page="14",
    ),
)
def travel_spacers_unlike_spring(family: Family, today: date) -> Iterator[Violation]:
    """A fit has travel spacers, but the shaft length of its spring sets the travel.

    Only one of the two sets the travel. If you add a spacer to the right shaft, you lose travel.

    Fix: check spring and spacers against the page; if the spring row is wrong, correct what sets its travel.
    """
    for row in family.of(Fit):
        spring = family.springs.get(row.spring)
        if spring is not None and spring.travel_set_by == "shaft length" and row.travel_spacers:
            text = f"{row.travel_spacers} travel spacers, but the shaft of {spring.id} sets the travel"
            yield Violation(row, "travel_spacers", text, spring)


@rule(
    "travel-spacers-wrong-way",
    shape="family",
    nature="implausible",
    tables=(Fit,),
    silenced_by=(*FORM, "travel-spacers-unlike-spring", "travel-outside-chassis", "axle-to-crown-scatter"),
    passes=edit("fits", "fit-coil-140", chassis="fork-a", spring="spring-coil", travel_mm="140", travel_spacer="ring-a",
                travel_spacers="2", axle_to_crown_mm="536", source="manual-a", page="14"),
    fails=edit("fits", "fit-coil-160", chassis="fork-a", spring="spring-coil", travel_mm="160", travel_spacer="ring-a",
               travel_spacers="2", axle_to_crown_mm="556", source="manual-a", page="14"),
)  # fmt: skip
def travel_spacers_wrong_way(family: Family, today: date) -> Iterator[Violation]:
    """More travel spacers on one spring give more travel, or the same travel as fewer do.

    Each spacer shortens the travel. Two lines were swapped.

    Fix: check the travel and the number of spacers of both lines against the page.
    """
    groups: dict[tuple[object, ...], list[Fit]] = defaultdict(list)
    for row in family.of(Fit):
        if row.travel_spacers is not None:
            scope = row.variant, row.serial_from, row.wheel_size, row.model_year_from, row.fitted_part
            groups[row.chassis, row.spring, row.travel_spacer, *scope].append(row)
    for rows in groups.values():
        ordered = sorted(rows, key=lambda each: (each.travel_spacers or 0, each.id))
        for fewer, more in pairwise(ordered):
            if fewer.travel_spacers != more.travel_spacers and more.travel_mm >= fewer.travel_mm:
                text = f"{more.travel_spacers} spacers give {more.travel_mm:g} mm, {fewer.travel_spacers} in "
                text += f"{fewer.id} {fewer.travel_mm:g} mm"
                yield Violation(more, "travel_spacers", text, fewer, mutual=True)


def _springs_of(family: Family, chassis: str) -> dict[str, Spring | None]:
    """The springs that are fitted to a chassis; None for an unknown one."""
    return {fit.spring: family.springs.get(fit.spring) for fit in family.fits_of_chassis.get(chassis, [])}


def possible_springs(family: Family, row: Statement) -> list[Spring]:
    """The springs a statement can be about: its own, else all of its chassis; none if one of them is unknown."""
    if row.spring is not None:
        own = family.springs.get(row.spring)
        return [] if own is None else [own]
    fitted = _springs_of(family, row.chassis).values()
    known = [spring for spring in fitted if spring is not None]
    return known if len(known) == len(fitted) else []


@rule(
    "spring-not-of-chassis",
    shape="family",
    nature="implausible",
    tables=SPRUNG,
    beside=(Fit,),
    silenced_by=(
        *FORM,
        "variant-of-another-chassis",
        "fastener-elsewhere",
        "guide-for-another-spring",
        "travel-outside-chassis",
        "scope-holds-nowhere",
    ),
    passes=edit("fills", "fill-spring-leg", spring="spring-150"),
    fails=edit("fills", "fill-spring-leg", spring="spring-plain"),
    printed=edit("fills", "fill-spring-leg", spring="spring-plain", as_printed="With plain air 150: 10 mL"),
)
def spring_not_of_chassis(family: Family, today: date) -> Iterator[Violation]:
    """A statement is about a spring that no fit of its chassis lists, or about travels that the spring does not have.

    It could never be shown. The spring belongs to another fork, or its fit is missing.

    Fix: name the spring of this chassis, or add its fit; if the page says so, copy its words into as_printed.
    """
    fitted: dict[tuple[str, str], list[float]] = defaultdict(list)
    for fit in family.of(Fit):
        fitted[fit.chassis, fit.spring].append(fit.travel_mm)
    for row in family.given("spring", "spring_choice"):
        if row.model not in SPRUNG or row.chassis not in family.fits_of_chassis:
            continue
        for column in ("spring", "spring_choice"):
            spring = getattr(row, column, None)
            if spring is None or spring not in family.springs:
                continue
            travels = fitted.get((row.chassis, spring))
            if travels is None:
                yield Violation(row, column, f"no fit of {row.chassis} lists {spring}")
                break
            if row["travel_from_mm"] is None and row["travel_to_mm"] is None:
                continue
            scope = family.scope(row)
            if not any(scope.travel_from <= travel <= scope.travel_to for travel in travels):
                given = ", ".join(f"{travel:g}" for travel in sorted(set(travels)))
                yield Violation(row, column, f"{spring} gives {given} mm, outside the travels of this row")
                break


@rule(
    "fill-without-chamber",
    shape="family",
    tables=(Fill,),
    beside=(Fit,),
    silenced_by=(*FORM, "spring-not-of-chassis", "fluid-of-another-use"),
    passes=edit("fills", "fill-piston", chassis="fork-a", spring="spring-150", chamber="above the air piston",
                fluid="oil-bath", value="3", unit="mL", source="manual-a", page="15"),
    fails=edit("fills", "fill-piston", chassis="fork-a", spring="spring-coil", chamber="above the air piston",
               fluid="oil-bath", value="3", unit="mL", source="manual-a", page="15"),
)  # fmt: skip
def fill_without_chamber(family: Family, today: date) -> Iterator[Violation]:
    """Oil goes into a chamber that is not there: above the piston of a coil, or into a damper that cannot be opened.

    The chamber, spring or damper in this line belongs to another fork.

    Fix: name the chamber as the page does, and the spring or damper that it is in.
    """
    for row in family.of(Fill):
        if row.chamber in ("above the air piston", "negative chamber"):
            springs = possible_springs(family, row)
            if springs and all(spring.kind == "coil" for spring in springs):
                yield Violation(row, "chamber", f"{springs[0].id} is a coil and has no such chamber", springs[0])
        elif row.chamber == "damper":
            dampers = [family.dampers.get(name) for name in family.dampers_of(row)]
            if dampers and all(each is not None and each.serviceable == "no" for each in dampers):
                text = f"{', '.join(family.dampers_of(row))} cannot be serviced, so it is not filled"
                yield Violation(row, "chamber", text, dampers[0], nature="implausible")


@rule(
    "negative-without-valve",
    shape="family",
    tables=(Guide,),
    beside=(Fit,),
    silenced_by=(*FORM, "spring-not-of-chassis", "guide-for-another-spring"),
    passes=edit("guides", "guide-neg", chassis="fork-a", spring="spring-plain", chamber="negative",
                rider_mass_from="70", rider_mass_to="80", mass_unit="kg", pressure="70", pressure_unit="psi",
                source="manual-a", page="12", as_printed="70 psi"),
    fails=edit("guides", "guide-neg", chassis="fork-a", spring="spring-150", chamber="negative", rider_mass_from="70",
               rider_mass_to="80", mass_unit="kg", pressure="70", pressure_unit="psi", source="manual-a", page="12"),
)  # fmt: skip
def negative_without_valve(family: Family, today: date) -> Iterator[Violation]:
    """A guide gives a pressure for a negative chamber that has no valve of its own.

    If a port joins the chambers, there is no second pressure to set. The line is for another spring.

    Fix: correct the chamber, or how the negative chamber of the spring is charged.
    """
    for row in family.of(Guide):
        if row.chamber != "negative" or row.pressure is None:
            continue
        springs = possible_springs(family, row)
        if springs and all(spring.negative in ("port", "coil", "none") for spring in springs):
            text = f"the negative chamber of {springs[0].id} is charged by: {springs[0].negative}"
            yield Violation(row, "chamber", text, springs[0])


@rule(
    "fluid-unsafe-for-seals",
    shape="family",
    tables=(Fill, Grease),
    silenced_by=("reference-missing",),
    passes=edit("fluids", "oil-bath", seal_safe=""),
    fails=edit("fluids", "oil-damper", seal_safe="false"),
)
def fluid_unsafe_for_seals(family: Family, today: date) -> Iterator[Violation]:
    """A fork is filled or greased with a fluid that is listed as harmful to its seals.

    Swollen seals leak air and oil. The row names the wrong fluid, or the fluid's own row is wrong.

    Fix: name the fluid that the page names, or correct the row of the fluid.
    """
    for table in (Fill, Grease):
        for row in family.statements[table] if table in family.judged else ():
            fluid = family.fluids.get(row["fluid"] or "")
            if fluid is not None and fluid.seal_safe is False:
                yield Violation(row, "fluid", f"{fluid.id} is listed as unsafe for seals", fluid)


@rule(
    "guide-rider-above-limit",
    shape="family",
    tables=(Guide,),
    beside=(Limit,),
    silenced_by=(*FORM, "rider-mass-implausible", "unit-slip", "limit-implausible", "disagree-unrelated"),
    passes=edit("limits", "limit-rider", max="90.1"),
    fails=edit("limits", "limit-rider", max="89"),
)
def guide_rider_above_limit(family: Family, today: date) -> Iterator[Violation]:
    """Every rider a guide is for is heavier than the fork allows.

    Such a rider would use a fork that its maker forbids. The limit or the masses were misread.

    Fix: check the masses, the limit and their units against the pages.
    """
    limits: dict[str, list[tuple[float, Limit]]] = defaultdict(list)
    for limit in family.of(Limit):
        if limit.subject != "rider mass":
            continue
        most = figure(limit.max, limit.unit, "mass", "kg")
        scope = limit.variant, limit.spring, limit.serial_from, limit.serial_to, limit.fitted_part
        if most is not None and all(each is None for each in scope):
            limits[limit.chassis].append((most, limit))
    widest_of = {chassis: max(found, key=itemgetter(0)) for chassis, found in limits.items()}
    for row in family.of(Guide) if limits else ():
        lightest = family.guide_figures[row.id].lightest
        if lightest is None or row.chassis not in widest_of:
            continue
        most, widest = widest_of[row.chassis]
        if lightest > most * 1.005:
            text = f"riders from {row.rider_mass_from} {row.mass_unit}; the limit is {widest.max} {widest.unit}"
            yield Violation(row, "rider_mass_from", text, widest, mutual=True)


@rule(
    "stage-torque-falls",
    shape="family",
    nature="implausible",
    tables=(Torque,),
    silenced_by=(*FORM, "torque-outside-band", "unit-slip", "digit-slip", "disagree-unrelated"),
    passes=edit("torques", "torque-cap-2", chassis="fork-a", fastener="cap-a", stage="2", value="30", unit="N·m",
                source="manual-a", page="16"),
    fails=edit("torques", "torque-cap-2", chassis="fork-a", fastener="cap-a", stage="2", value="20", unit="N·m",
               source="manual-a", page="16"),
)  # fmt: skip
def stage_torque_falls(family: Family, today: date) -> Iterator[Violation]:
    """A later pass tightens a fastener to less than an earlier one.

    A wrench set below the torque already reached does not turn the bolt. Two passes were swapped.

    Fix: check both passes against the page.
    """
    passes: dict[tuple[object, ...], list[tuple[int, float, Torque, str]]] = defaultdict(list)
    for row, _, column, torque in family.tightened:
        if row.exception_to is None and family.last_passes[row.chassis, row.fastener] > 1:
            passes[row.chassis, row.fastener, id(family.scope(row))].append((row.stage or 1, torque, row, column))
    for found in passes.values():
        for (stage, least, earlier, _), (later, torque, row, column) in combinations(
            sorted(found, key=lambda each: (each[0], each[2].id)), 2
        ):
            if stage < later and torque < least * 0.995:
                text = f"pass {later} to {torque:.3g} N·m, pass {stage} to {least:.3g} N·m"
                yield Violation(row, column, text, earlier, mutual=True)
                break


CROWN_PLACES = ("upper crown", "lower crown")


@rule(
    "crown-not-there",
    shape="family",
    tables=(Fastener, Limit),
    silenced_by=FORM,
    passes=edit(
        "limits",
        "limit-height",
        chassis="fork-a",
        subject="steerer above the crown",
        max="200",
        unit="mm",
        source="manual-a",
        page="4",
    ),
    fails=edit(
        "limits",
        "limit-height",
        chassis="fork-a",
        subject="stanchion height in the crown",
        max="200",
        unit="mm",
        source="manual-a",
        page="4",
    ),
)
def crown_not_there(family: Family, today: date) -> Iterator[Violation]:
    """A fork with a single crown has an upper or lower crown bolt, or a stanchion height in a crown.

    Only a fork with two crowns has these. The row belongs to another fork, or the crowns were misread.

    Fix: check the crowns of the chassis against the page, or name the chassis that the row is about.
    """
    single = {id for id, row in family.chassis.items() if row.crowns == "single"}
    for fastener in family.own_fasteners.values():
        if fastener.chassis in single and any(word in fastener.position for word in CROWN_PLACES):
            yield Violation(fastener, "position", f"{fastener.chassis} has a single crown")
    for row in family.of(Limit) if Limit in family.judged else ():
        if row.chassis in single and row.subject == "stanchion height in the crown":
            yield Violation(row, "subject", f"{row.chassis} has a single crown")
