"""Fits that fail exactly one condition, nearest first. A fit is never inferred from a bore."""

from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence
from math import inf
from typing import Literal

from app.catalogue.columns import write_number
from app.catalogue.offers import Offer, giving
from app.catalogue.scopes import Scope, excludes, resolve
from app.catalogue.tables import Chassis, Fit
from app.questions.configuration.chassis_context import ChassisContext
from app.questions.configuration.region import Given, Region

Reason = Literal[
    "model-year-outside",
    "travel-differs",
    "wheel-size-differs",
    "damper-differs",
    "variant-differs",
    "serial-differs",
    "fitted-part-differs",
    "other-generation",
]


class Miss:
    """A fit that fails one condition, and its distance from the question."""

    __slots__ = ("code", "distance", "fit", "other", "text")

    def __init__(self, fit: Fit, code: Reason, text: str, distance: float, other: Chassis | None = None) -> None:
        self.fit = fit
        self.code = code
        self.text = text
        self.distance = distance
        self.other = other


def near_misses(
    context: ChassisContext,
    offered: Mapping[str, Sequence[Offer]],
    wanted: Given,
    where: Region,
    answered: Collection[Fit],
) -> list[Miss]:
    """Fits of this chassis that fail one condition, and fits of its other generations; nearest first.

    `offered` lists the fits of each generation. Distance: 1 per year, 1 per 5 mm of travel, 1 for another damper,
    variant or serial, 4 for another wheel, 5 and the years between them for another generation.
    """
    found: list[Miss] = []
    answering = {(fit.spring, fit.travel_mm) for fit in answered}
    missing = {id: [offer for offer in offers if offer not in answering] for id, offers in offered.items()}
    for fit, scope in context.scoped(giving(context.snapshot, context.chassis.id, missing.pop(context.chassis.id))):
        reasons = list(_failing(fit, scope, wanted, where))
        if len(reasons) == 1:
            found.append(reasons[0])
    travel = where.travel[0] if wanted.travel is not None else None
    elsewhere = {
        id: those for id, offers in missing.items() if (those := [each for each in offers if travel in (None, each[1])])
    }
    if elsewhere:
        for other in context.snapshot.many(Chassis, elsewhere).values():
            found += _of_generation(context, other, elsewhere[other.id], where)
    return sorted(found, key=lambda miss: (miss.distance, miss.fit.id))


def _failing(fit: Fit, scope: Scope, wanted: Given, where: Region) -> Iterable[Miss]:
    if wanted.travel is not None and fit.travel_mm != where.travel[0]:
        apart = abs(fit.travel_mm - where.travel[0])
        text = f"gives {write_number(fit.travel_mm)} mm, not {write_number(where.travel[0])} mm"
        yield Miss(fit, "travel-differs", text, apart / 5)
    low, high = where.years
    if scope.year_from > high or scope.year_to < low:
        text = f"listed for {_years(scope)}, not {_span(low, high)}"
        yield Miss(fit, "model-year-outside", text, max(scope.year_from - high, low - scope.year_to))
    if _apart(scope.variant, where.variants):
        yield Miss(fit, "variant-differs", f"listed for variant {_or(scope.variant)}, not {_or(where.variants)}", 1)
    if scope.serials is not None and where.serials is not None and not scope.serials.meets(where.serials):
        text = f"listed for serials {scope.serials.text}, not {where.serials.text}"
        yield Miss(fit, "serial-differs", text, 1)
    if _apart(scope.damper, where.dampers):
        yield Miss(fit, "damper-differs", f"listed with damper {_or(scope.damper)}, not {_or(where.dampers)}", 1)
    if _apart(scope.wheel_size, where.wheel_sizes):
        text = f"listed for {_or(scope.wheel_size)} mm wheels, not {_or(where.wheel_sizes)} mm"
        yield Miss(fit, "wheel-size-differs", text, 4)
    other = next((each for each in where.fitted if excludes(scope.fitted_part, each)), None)
    if other is not None and scope.fitted_part is not None:
        text = f"listed with {other.kind} {scope.fitted_part.part}, not {other.part}"
        yield Miss(fit, "fitted-part-differs", text, 1)


def _apart(stated: frozenset[Hashable] | None, asked: frozenset[Hashable] | None) -> bool:
    return stated is not None and asked is not None and stated.isdisjoint(asked)


def _or(values: frozenset[Hashable] | None) -> str:
    return " or ".join(sorted(map(str, values or ())))


def _of_generation(context: ChassisContext, other: Chassis, offered: Sequence[Offer], where: Region) -> Iterable[Miss]:
    """Fits of another generation that fail nothing else; its years and variants are its own."""
    years = (other.model_year_from, other.model_year_to)
    apart = 0.0
    if years[0] is not None and where.years[1] < years[0]:
        apart = years[0] - where.years[1]
    elif years[1] is not None and where.years[0] > years[1]:
        apart = where.years[0] - years[1]
    low = -inf if years[0] is None else years[0]
    high = inf if years[1] is None else years[1]
    named = f"{other.name} {_span(low, high)}"
    fits = giving(context.snapshot, other.id, offered)
    context.with_parts(fit.fitted_part for fit in fits if fit.fitted_part is not None)
    for fit in fits:
        if _fails_elsewhere(resolve(fit, other, {}, context.parts), where):
            continue
        yield Miss(fit, "other-generation", f"fits {named}, another generation", 5 + apart, other)


def _fails_elsewhere(scope: Scope, where: Region) -> bool:
    """Whether damper, wheel, serial or a fitted part rules out a fit of another generation."""
    return (
        _apart(scope.damper, where.dampers)
        or _apart(scope.wheel_size, where.wheel_sizes)
        or (scope.serials is not None and where.serials is not None and not scope.serials.meets(where.serials))
        or any(excludes(scope.fitted_part, each) for each in where.fitted)
    )


def _years(scope: Scope) -> str:
    return _span(scope.year_from, scope.year_to)


def _span(low: float, high: float) -> str:
    if low == -inf:
        return "any year" if high == inf else f"up to {high:.0f}"
    if high == inf:
        return f"from {low:.0f}"
    return f"{low:.0f}" if low == high else f"{low:.0f}–{high:.0f}"
