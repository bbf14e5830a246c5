"""Scope algebra: the scope of a row as intervals and names. Pure; knows no database and no rule.

Years and travel are closed intervals, serials a range of one length; the other dimensions are a name or a set of
names. None stands for any, and a dimension without bounds is infinite. Only resolved scopes are compared: two rows of
one chassis, with its own bounds in place of the empty ones.
"""

from collections.abc import Collection, Hashable, Mapping
from math import inf
from typing import NamedTuple

from app.catalogue.serials import SerialRange, serial_range
from app.catalogue.tables import Chassis, Part, Variant
from app.catalogue.tables.row import ScopedRow, TravelScopedRow, is_row_of


class FittedPart(NamedTuple):
    """A part that must be fitted, and its kind: a fork has one part of each kind, so two of one kind never meet."""

    kind: str
    part: str


class Scope(NamedTuple):
    """A resolved scope. Years, travels (mm) and serials are closed intervals; one whose ends cross is empty."""

    year_from: float = -inf
    year_to: float = inf
    travel_from: float = -inf
    travel_to: float = inf
    variant: frozenset[str] | None = None
    spring: str | None = None
    damper: frozenset[str] | None = None
    wheel_size: frozenset[int] | None = None
    serials: SerialRange | None = None
    fitted_part: FittedPart | None = None


EVERYWHERE = Scope()


def resolve(
    row: ScopedRow, chassis: Chassis | None, variants: Mapping[str, Variant], parts: Mapping[str, Part]
) -> Scope:
    """The scope of a statement or procedure; an empty bound is the chassis's own, or infinite if that states none.

    Variants with narrower years narrow the years; of several, those that were not made in them are left out. A fit has
    no travel dimension: travel is its value, not its scope. A variant that is not in `variants` narrows nothing, and a
    part that is not in `parts` is the only one of its kind.
    """
    year_from: float | None = row.model_year_from
    year_to: float | None = row.model_year_to
    if year_from is None:
        year_from = -inf if chassis is None or chassis.model_year_from is None else chassis.model_year_from
    if year_to is None:
        year_to = inf if chassis is None or chassis.model_year_to is None else chassis.model_year_to
    variant = None
    if row.variant is not None:
        variant, year_from, year_to = _variants(row.variant, variants, year_from, year_to)
    low, high = _travel(row, chassis)
    damper = None if row.damper is None else frozenset(row.damper)
    wheel_size = None if row.wheel_size is None else frozenset(row.wheel_size)
    serials = serial_range(row.serial_from, row.serial_to)
    fitted = None if row.fitted_part is None else fitted_part(row.fitted_part, parts)
    return Scope(year_from, year_to, low, high, variant, row.spring, damper, wheel_size, serials, fitted)


def fitted_part(id: str, parts: Mapping[str, Part]) -> FittedPart:
    """A part with its kind; one that is not in `parts` is the only one of its kind."""
    part = parts.get(id)
    return FittedPart(id if part is None else part.kind, id)


def _variants(
    ids: Collection[str], variants: Mapping[str, Variant], first: float, last: float
) -> tuple[frozenset[str], float, float]:
    """Those of the variants that were made in some of the years, and the years from the first to the last of these."""
    made: dict[str, tuple[float, float]] = {}
    for id in ids:
        own = variants.get(id)
        low = -inf if own is None or own.model_year_from is None else own.model_year_from
        high = inf if own is None or own.model_year_to is None else own.model_year_to
        made[id] = max(first, low), min(last, high)
    within = {id: years for id, years in made.items() if years[0] <= years[1]}
    if not within:
        return frozenset(ids), inf, -inf
    return frozenset(within), min(low for low, _ in within.values()), max(high for _, high in within.values())


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
    """True if some configuration is in both: intervals intersect, names are shared or open in one. Symmetric.

    Years in a gap between the variants of one scope count as its own.
    """
    first, last, least, most, variant, spring, damper, wheel_size, serials, fitted = a
    (
        other_first, other_last, other_least, other_most, other_variant, other_spring, other_damper, other_wheel, its,
        other_fitted,
    ) = b  # fmt: skip
    return (
        (spring == other_spring or spring is None or other_spring is None)
        and first <= other_last
        and other_first <= last
        and _meet(wheel_size, other_wheel)
        and least <= other_most
        and other_least <= most
        and _meet(variant, other_variant)
        and _meet(damper, other_damper)
        and (serials is None or its is None or serials.meets(its))
        and not excludes(fitted, other_fitted)
        and not (empty(a) or empty(b))
    )


def contains(wide: Scope, narrow: Scope) -> bool:
    """True if `narrow` lies within `wide` in every dimension. Reflexive and transitive."""
    return (
        wide.year_from <= narrow.year_from
        and narrow.year_to <= wide.year_to
        and wide.travel_from <= narrow.travel_from
        and narrow.travel_to <= wide.travel_to
        and _within(narrow.variant, wide.variant)
        and (wide.spring is None or wide.spring == narrow.spring)
        and _within(narrow.damper, wide.damper)
        and _within(narrow.wheel_size, wide.wheel_size)
        and (wide.serials is None or (narrow.serials is not None and narrow.serials.within(wide.serials)))
        and (wide.fitted_part is None or wide.fitted_part == narrow.fitted_part)
    )


def excludes(a: FittedPart | None, b: FittedPart | None) -> bool:
    """True if no fork has both parts: they are two of one kind."""
    return a is not None and b is not None and a.kind == b.kind and a.part != b.part


def _meet(a: frozenset[Hashable] | None, b: frozenset[Hashable] | None) -> bool:
    return a is None or b is None or a == b or not a.isdisjoint(b)


def _within(narrow: frozenset[Hashable] | None, wide: frozenset[Hashable] | None) -> bool:
    return wide is None or (narrow is not None and narrow <= wide)


def narrower(a: Scope, b: Scope) -> bool:
    """True if `a` lies within `b` and differs from it: within in every dimension, strictly in one.

    A strict partial order.
    """
    return a != b and contains(b, a)
