"""Envelope: years, travel, wheels and dampers that the chassis does not have."""

from collections.abc import Iterator
from datetime import date

from app.catalogue.scopes import empty
from app.catalogue.serials import made_serials
from app.catalogue.tables import Row
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule

FORM = ("figure-not-positive", "figure-negative", "span-reversed", "year-implausible", "unit-unknown",
        "unit-of-another-kind", "unit-missing", "limits-crossed", "reference-missing")  # fmt: skip


@rule(
    "years-outside-chassis",
    shape="family",
    silenced_by=FORM,
    passes=edit("torques", "torque-cap", model_year_to="2025"),
    fails=edit("torques", "torque-cap", model_year_to="2026"),
)
def years_outside_chassis(family: Family, today: date) -> Iterator[Violation]:
    """A statement applies to years in which the chassis was not made.

    You cannot look up such a year. The year was misread, or the statement belongs to another generation.

    Fix: correct the years, name the chassis of that generation, or extend the years of the chassis if its source says
    so.
    """
    for row in family.given("model_year_from", "model_year_to"):
        yield from _years(family, row)
    for variant in family.variants.values():
        yield from _years(family, variant)


def _ends(low: float | None, high: float | None) -> str:
    if low is None or high is None:
        return f"from {low:g}" if low is not None else f"up to {high:g}"
    return f"{low:g} to {high:g}"


def _years(family: Family, row: Row) -> Iterator[Violation]:
    chassis = family.chassis[row["chassis"]]
    first, last = chassis.model_year_from, chassis.model_year_to
    if first is not None and last is not None and first > last:
        return  # span-reversed reports this
    for name in ("model_year_from", "model_year_to"):
        year = getattr(row, name)
        if year is not None and ((first is not None and year < first) or (last is not None and year > last)):
            yield Violation(row, name, f"{name} {year} is outside the years of {chassis.id}, {_ends(first, last)}")
            return


@rule(
    "travel-outside-chassis",
    shape="family",
    silenced_by=FORM,
    passes=edit("fits", "fit-coil", travel_mm="160", axle_to_crown_mm="556"),
    fails=edit("fits", "fit-coil", travel_mm="161", axle_to_crown_mm="557"),
)
def travel_outside_chassis(family: Family, today: date) -> Iterator[Violation]:
    """A fit or another statement names a travel that the chassis cannot be built to.

    Digits are easily swapped (150 and 510). A fork built beyond its travel range can hit the crown.

    Fix: check the travel against the page, or correct the travel range of the chassis.
    """
    for row in family.given("travel_mm", "travel_from_mm", "travel_to_mm"):
        chassis = family.chassis[row.chassis]
        low, high = chassis.travel_min_mm, chassis.travel_max_mm
        if low is not None and high is not None and low > high:
            continue  # span-reversed reports this
        for name in ("travel_mm",) if row.table == "fits" else ("travel_from_mm", "travel_to_mm"):
            travel = getattr(row, name)
            if travel is not None and ((low is not None and travel < low) or (high is not None and travel > high)):
                yield Violation(
                    row, name, f"{name} {travel:g} is outside the travel of {chassis.id}, {_ends(low, high)} mm"
                )
                break


@rule(
    "wheel-size-not-of-chassis",
    shape="family",
    silenced_by=FORM,
    passes=edit("limits", "limit-tyre-622", wheel_size="622"),
    fails=edit("limits", "limit-tyre-622", wheel_size="559"),
)
def wheel_size_not_of_chassis(family: Family, today: date) -> Iterator[Violation]:
    """A statement is for a wheel that does not fit the chassis.

    The statement never applies, so nobody would ever see it.

    Fix: correct the wheel size (bead seat diameter, ISO 5775), or add the wheel to the chassis.
    """
    for row in family.given("wheel_size"):
        wheels = family.chassis[row.chassis].wheel_sizes
        if wheels is not None and not set(row.wheel_size or ()) <= set(wheels):
            yield Violation(row, "wheel_size", f"{row.chassis} takes wheels {', '.join(map(str, wheels))}")


@rule(
    "damper-not-of-chassis",
    shape="family",
    silenced_by=FORM,
    passes=edit("fills", "fill-spring-leg-old", damper="damper-b"),
    fails=edit("fills", "fill-spring-leg", damper="damper-b"),
)
def damper_not_of_chassis(family: Family, today: date) -> Iterator[Violation]:
    """A statement or variant names a damper that the chassis was not made with.

    A damper is missing from the list of the chassis, or the row belongs to another chassis.

    Fix: correct the damper, or add it to the dampers of the chassis with the source that says so.
    """
    for row in family.given("damper"):
        dampers = family.chassis[row.chassis].dampers
        if dampers is not None and not set(row.damper or ()) <= set(dampers):
            yield Violation(row, "damper", f"{row.chassis} is listed with {', '.join(dampers)}")
    for variant in family.variants.values():
        dampers = family.chassis[variant.chassis].dampers
        if variant.dampers is not None and dampers is not None and not set(variant.dampers) <= set(dampers):
            yield Violation(variant, "dampers", f"{variant.chassis} is listed with {', '.join(dampers)}")


@rule(
    "scope-holds-nowhere",
    shape="family",
    silenced_by=(
        *FORM,
        "years-outside-chassis",
        "travel-outside-chassis",
        "variant-of-another-chassis",
        "serial-range-unreadable",
        "serial-ranges-overlap",
    ),
    passes=edit("limits", "limit-rider", variant="variant-a-pro", model_year_from="2024"),
    fails=edit("limits", "limit-rider", variant="variant-a-pro", model_year_from="2025"),
)
def scope_holds_nowhere(family: Family, today: date) -> Iterator[Violation]:
    """A statement never applies to a variant it names: none of its years or serial numbers is one of the variant.

    It can never be shown for that variant, so its information is lost.

    Fix: correct the years, the serial numbers or the variant.
    """
    for row in family.given("variant"):
        for id in row.variant or ():
            scope, variant = family.scope(row.replaced(variant=(id,))), family.all_variants.get(id)
            if empty(scope):
                yield Violation(row, "variant", f"{id} was not made in these years")
                continue
            made = None if variant is None else made_serials(variant)
            if scope.serials is not None and made is not None and not made.meets(scope.serials):
                yield Violation(row, "variant", f"the serial numbers of {id} are {made.text}")
