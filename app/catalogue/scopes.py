"""Scope algebra: the scope of a row as intervals and names. Pure; knows no database and no rule.

Years and travel are closed intervals, serials a range of one length; the other dimensions are a name. None stands for
any, and a dimension without bounds is infinite. Only resolved scopes are compared: two rows of one chassis, with its
own bounds in place of the empty ones.
"""

from collections.abc import Mapping
from math import inf
from typing import NamedTuple

from app.catalogue.serials import SerialRange, serial_range
from app.catalogue.tables import Chassis, Variant
from app.catalogue.tables.row import ScopedRow, TravelScopedRow, is_row_of


class Scope(NamedTuple):
    """A resolved scope. Years, travels (mm) and serials are closed intervals; one whose ends cross is empty."""

    year_from: float = -inf
    year_to: float = inf
    travel_from: float = -inf
    travel_to: float = inf
    variant: str | None = None
    spring: str | None = None
    damper: str | None = None
    wheel_size: int | None = None
    serials: SerialRange | None = None


EVERYWHERE = Scope()


def resolve(row: ScopedRow, chassis: Chassis | None, variants: Mapping[str, Variant]) -> Scope:
    """The scope of a statement or procedure; an empty bound is the chassis's own, or infinite if that states none.

    A variant with narrower years narrows the years. A fit has no travel dimension: travel is its value, not its scope.
    A variant that is not in `variants` narrows nothing.
    """
    year_from: float | None = row.model_year_from
    year_to: float | None = row.model_year_to
    if year_from is None:
        year_from = -inf if chassis is None or chassis.model_year_from is None else chassis.model_year_from
    if year_to is None:
        year_to = inf if chassis is None or chassis.model_year_to is None else chassis.model_year_to
    variant = row.variant
    if variant is not None and (described := variants.get(variant)) is not None:
        if described.model_year_from is not None and described.model_year_from > year_from:
            year_from = described.model_year_from
        if described.model_year_to is not None and described.model_year_to < year_to:
            year_to = described.model_year_to
    low, high = _travel(row, chassis)
    serials = serial_range(row.serial_from, row.serial_to)
    return Scope(year_from, year_to, low, high, variant, row.spring, row.damper, row.wheel_size, serials)


def _travel(row: ScopedRow, chassis: Chassis | None) -> tuple[float, float]:
    """The travels in mm that a row applies to; unlimited if its table has no such scope."""
    if not is_row_of(row, TravelScopedRow):
        return -inf, inf
    low, high = row.travel_from_mm, row.travel_to_mm
    if low is None:
        low = -inf if chassis is None or chassis.travel_min_mm is None else chassis.travel_min_mm
    if high is None:
        high = inf if chassis is None or chassis.travel_max_mm is None else chassis.travel_max_mm
    return low, high


def empty(scope: Scope) -> bool:
    """True if the ends of an interval cross, so that the scope is empty."""
    return (
        scope.year_from > scope.year_to
        or scope.travel_from > scope.travel_to
        or (scope.serials is not None and scope.serials.empty)
    )


def overlap(a: Scope, b: Scope) -> bool:
    """True if some configuration is in both: intervals intersect, and names are equal or open in one. Symmetric."""
    first, last, least, most, variant, spring, damper, wheel_size, serials = a
    other_first, other_last, other_least, other_most, other_variant, other_spring, other_damper, other_wheel, its = b
    return (
        (spring == other_spring or spring is None or other_spring is None)
        and first <= other_last
        and other_first <= last
        and (wheel_size == other_wheel or wheel_size is None or other_wheel is None)
        and least <= other_most
        and other_least <= most
        and (variant == other_variant or variant is None or other_variant is None)
        and (damper == other_damper or damper is None or other_damper is None)
        and (serials is None or its is None or serials.meets(its))
        and not (empty(a) or empty(b))
    )


def contains(wide: Scope, narrow: Scope) -> bool:
    """True if `narrow` lies within `wide` in every dimension. Reflexive and transitive."""
    return (
        wide.year_from <= narrow.year_from
        and narrow.year_to <= wide.year_to
        and wide.travel_from <= narrow.travel_from
        and narrow.travel_to <= wide.travel_to
        and (wide.variant is None or wide.variant == narrow.variant)
        and (wide.spring is None or wide.spring == narrow.spring)
        and (wide.damper is None or wide.damper == narrow.damper)
        and (wide.wheel_size is None or wide.wheel_size == narrow.wheel_size)
        and (wide.serials is None or (narrow.serials is not None and narrow.serials.within(wide.serials)))
    )


def narrower(a: Scope, b: Scope) -> bool:
    """True if `a` lies within `b` and differs from it: within in every dimension, strictly in one.

    A strict partial order.
    """
    return a != b and contains(b, a)
