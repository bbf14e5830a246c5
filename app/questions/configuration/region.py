"""The region of a request: the part of a chassis's configurations that the given parameters leave open.

An omitted parameter is unknown, never "any": the region then includes every possible value. Values outside the years,
travel, wheels, dampers and variants of the chassis are refused, naming the nearest valid one. A serial of no shape that
the catalogue knows is unknown too.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from math import inf
from typing import TypeVar

from rapidfuzz import process

from app.catalogue.columns import write_number
from app.catalogue.scopes import FittedPart, Scope, excludes
from app.catalogue.serials import SerialRange, has_serial, made_serials, one_serial
from app.catalogue.tables import Chassis, Variant
from app.errors import Fault, Invalid
from app.units.measure import Measure, parse_measure, parse_wheel_size

DIMENSIONS = ("model_year", "travel", "variant", "serial", "spring", "damper", "wheel_size", "fitted_part")


@dataclass(frozen=True, slots=True)
class Region:
    """Closed intervals of years and travel (mm), and for each name dimension the set of possible ids; None means open.

    A set of one is decided. `variants` are None if the variant is unknown: the fork may also be of none that is listed.
    `not_made` are the variants that were not made in these years. `serials` are a single serial, those of the variant,
    or None for unknown. `fitted` are the parts known to be fitted; a kind that is not among them is unknown.
    """

    years: tuple[float, float] = (-inf, inf)
    travel: tuple[float, float] = (-inf, inf)
    variants: frozenset[str] | None = None
    springs: frozenset[str] | None = None
    dampers: frozenset[str] | None = None
    wheel_sizes: frozenset[int] | None = None
    serials: SerialRange | None = None
    not_made: frozenset[str] = frozenset()
    fitted: tuple[FittedPart, ...] = ()

    def may_hold(self, scope: Scope) -> bool:
        """True if the scope applies to some configuration of the region."""
        return (
            max(self.years[0], scope.year_from) <= min(self.years[1], scope.year_to)
            and max(self.travel[0], scope.travel_from) <= min(self.travel[1], scope.travel_to)
            and (scope.variant is None or self._has_variant(scope.variant))
            and (self.springs is None or scope.spring is None or scope.spring in self.springs)
            and (self.dampers is None or scope.damper is None or not scope.damper.isdisjoint(self.dampers))
            and (
                self.wheel_sizes is None
                or scope.wheel_size is None
                or not scope.wheel_size.isdisjoint(self.wheel_sizes)
            )
            and (self.serials is None or scope.serials is None or scope.serials.meets(self.serials))
            and (scope.fitted_part is None or not any(excludes(scope.fitted_part, each) for each in self.fitted))
        )

    def _has_variant(self, possible: frozenset[str]) -> bool:
        if self.variants is None:
            return not possible <= self.not_made
        return not possible.isdisjoint(self.variants)

    def open_in(self, scope: Scope) -> list[str]:
        """The parameters for which the scope does not cover the whole region; empty if it surely applies."""
        parameters = []
        if scope.year_from > self.years[0] or scope.year_to < self.years[1]:
            parameters.append("model_year")
        if scope.travel_from > self.travel[0] or scope.travel_to < self.travel[1]:
            parameters.append("travel")
        if scope.variant is not None and not (self.variants is not None and self.variants <= scope.variant):
            parameters.append("variant")
        if scope.serials is not None and not (self.serials is not None and self.serials.within(scope.serials)):
            parameters.append("serial")
        if scope.spring is not None and self.springs != frozenset({scope.spring}):
            parameters.append("spring")
        if scope.damper is not None and not (self.dampers is not None and self.dampers <= scope.damper):
            parameters.append("damper")
        if scope.wheel_size is not None and not (self.wheel_sizes is not None and self.wheel_sizes <= scope.wheel_size):
            parameters.append("wheel_size")
        if scope.fitted_part is not None and scope.fitted_part not in self.fitted:
            parameters.append("fitted_part")
        return parameters

    def within(self, scope: Scope) -> "Region":
        """The part of the region to which the scope applies."""
        return Region(
            (max(self.years[0], scope.year_from), min(self.years[1], scope.year_to)),
            (max(self.travel[0], scope.travel_from), min(self.travel[1], scope.travel_to)),
            self.variants if scope.variant is None else _shared(self.variants, scope.variant - self.not_made),
            self.springs if scope.spring is None else frozenset({scope.spring}),
            self.dampers if scope.damper is None else _shared(self.dampers, scope.damper),
            self.wheel_sizes if scope.wheel_size is None else _shared(self.wheel_sizes, scope.wheel_size),
            _both(self.serials, scope.serials),
            self.not_made,
            self.fitted if scope.fitted_part is None else (*self.fitted, scope.fitted_part),
        )


@dataclass(frozen=True, slots=True)
class Given:
    """The parsed parameters of a configuration."""

    travel: Measure | None = None
    model_year: int | None = None
    variant: str | None = None
    spring: str | None = None
    damper: str | None = None
    wheel_size: int | None = None
    serial: str | None = None
    fitted_parts: tuple[str, ...] = ()


K = TypeVar("K", str, int)


def _shared(asked: frozenset[K] | None, stated: frozenset[K]) -> frozenset[K]:
    return stated if asked is None else asked & stated


def _both(asked: SerialRange | None, stated: SerialRange | None) -> SerialRange | None:
    return asked or stated if asked is None or stated is None else asked.both(stated)


def given(
    *,
    travel: str | None = None,
    model_year: int | None = None,
    variant: str | None = None,
    spring: str | None = None,
    damper: str | None = None,
    wheel_size: str | None = None,
    serial: str | None = None,
    fitted_part: str | None = None,
) -> Given:
    """Parse the parameters; a serial in capitals, fitted parts separated by semicolons.

    Raises Invalid with a fault for each that cannot be parsed.
    """
    faults: list[Fault] = []
    length: Measure | None = None
    wheel: int | None = None
    if travel is not None:
        try:
            length = parse_measure(
                travel, kind="length", usual="mm", parameter="travel", minimum=Decimal(0), maximum=Decimal(1000)
            )
        except Invalid as refusal:
            faults += refusal.faults
    if wheel_size is not None:
        try:
            wheel = parse_wheel_size(wheel_size)
        except Invalid as refusal:
            faults += refusal.faults
    if faults:
        raise Invalid(faults[0].text, faults)
    stamped = None if serial is None else serial.strip().upper() or None
    fitted = tuple(dict.fromkeys(id for each in (fitted_part or "").split(";") if (id := each.strip())))
    return Given(length, model_year, variant, spring, damper, wheel, stamped, fitted)


def region(
    chassis: Chassis,
    variants: Mapping[str, Variant],
    asked: Given,
    *,
    travels: Iterable[float] = (),
    springs: Iterable[str] = (),
    serial: str | None = None,
    fitted: tuple[FittedPart, ...] = (),
) -> Region:
    """The region of a question about one chassis; `travels` and `springs` are those of its fits.

    `serial` is the serial asked for, if its shape is known. One in the range of exactly one variant decides the
    variant. `fitted` are the parts asked for. Raises Invalid with one fault for each parameter outside the range of the
    chassis.
    """
    faults: list[Fault] = []
    of_variant: list[Fault] = []
    variant = _one_of("variant", asked.variant, variants, of_variant)
    if serial is not None:
        variant = _variant_of_serial(variants, variant, serial, of_variant)
    years = _years(chassis, variants.get(variant or ""), asked, faults)
    travel = _travel(chassis, asked, frozenset(travels), faults)
    faults += of_variant
    faults += _two_of_a_kind(fitted)
    damper = _one_of("damper", asked.damper, chassis.dampers, faults)
    spring = _one_of("spring", asked.spring, frozenset(springs) or None, faults)
    if asked.wheel_size is not None and chassis.wheel_sizes and asked.wheel_size not in chassis.wheel_sizes:
        nearest = min(chassis.wheel_sizes, key=lambda size: abs(size - (asked.wheel_size or 0)))
        text = f"{chassis.name} takes {_words(chassis.wheel_sizes)} mm wheels (bead seat diameter)"
        faults.append(Fault("wheel-size-outside", text, parameter="wheel_size", suggestion=str(nearest)))
    if faults:
        raise Invalid(faults[0].text, faults)
    wheels = chassis.wheel_sizes if asked.wheel_size is None else (asked.wheel_size,)
    return Region(
        years,
        travel,
        None if variant is None else frozenset({variant}),
        frozenset({spring}) if spring is not None else (frozenset(springs) or None),
        frozenset({damper}) if damper is not None else (frozenset(chassis.dampers) if chassis.dampers else None),
        None if wheels is None else frozenset(wheels),
        _serials(variants.get(variant or ""), serial),
        frozenset(id for id, each in variants.items() if not _made_in(each, years)),
        fitted,
    )


def _made_in(variant: Variant, years: tuple[float, float]) -> bool:
    first, last = variant.model_year_from, variant.model_year_to
    return (first is None or first <= years[1]) and (last is None or last >= years[0])


def _two_of_a_kind(fitted: tuple[FittedPart, ...]) -> Iterator[Fault]:
    for at, each in enumerate(fitted):
        other = next((one for one in fitted[:at] if excludes(one, each)), None)
        if other is not None:
            text = f"{other.part} and {each.part} are of one kind ({each.kind}), so no fork has both: leave one out"
            yield Fault("fitted-parts-exclude", text, parameter="fitted_part", suggestion=other.part)


def _variant_of_serial(
    variants: Mapping[str, Variant], variant: str | None, serial: str, faults: list[Fault]
) -> str | None:
    """The variant asked for, else the only one whose range has the serial; a fault if the two exclude each other."""
    ranged = [id for id, each in variants.items() if made_serials(each) is not None and has_serial(each, serial)]
    decided = ranged[0] if len(ranged) == 1 else None
    asked = variants.get(variant or "")
    if asked is None:
        return variant or decided
    if has_serial(asked, serial) is False:
        text = f"the serial {serial} is not one of {asked.name} ({_serials_of(asked)}): check both, or leave one out"
        faults.append(Fault("serial-of-another-variant", text, parameter="variant", suggestion=decided))
    return variant


def _serials_of(variant: Variant) -> str:
    made = made_serials(variant)
    return f"like {variant.serial_pattern}" if made is None else made.text


def _serials(variant: Variant | None, serial: str | None) -> SerialRange | None:
    if serial is not None:
        return one_serial(serial)
    return None if variant is None else made_serials(variant)


def _years(chassis: Chassis, variant: Variant | None, asked: Given, faults: list[Fault]) -> tuple[float, float]:
    low = -inf if chassis.model_year_from is None else chassis.model_year_from
    high = inf if chassis.model_year_to is None else chassis.model_year_to
    fork_name = chassis.name
    if variant is not None:
        low = max(low, -inf if variant.model_year_from is None else variant.model_year_from)
        high = min(high, inf if variant.model_year_to is None else variant.model_year_to)
        fork_name = f"{chassis.name}, {variant.name}"
        fork_name += "" if asked.variant is not None else f" (serial {asked.serial})"
    year = asked.model_year
    if year is None:
        return low, high
    if not low <= year <= high:
        nearest = low if year < low else high
        text = f"{fork_name} was made for model years {_ends(low, high)}, not {year}"
        faults.append(Fault("model-year-outside", text, parameter="model_year", suggestion=write_number(nearest)))
    return year, year


def _travel(chassis: Chassis, asked: Given, travels: frozenset[float], faults: list[Fault]) -> tuple[float, float]:
    low = -inf if chassis.travel_min_mm is None else chassis.travel_min_mm
    high = inf if chassis.travel_max_mm is None else chassis.travel_max_mm
    if asked.travel is None:
        return low, high
    value = float(asked.travel.value)
    half = float(asked.travel.half_last_digit)
    matches = sorted(travel for travel in travels if abs(travel - value) <= half) if half else []
    if len(matches) > 1:
        text = f"{asked.travel.given_text} may be {_words(matches)} mm: choose one"
        faults.append(Fault("travel-ambiguous", text, parameter="travel", suggestion=write_number(matches[0])))
    if matches:
        value = matches[0]
    elif not low <= value <= high:
        offered = [travel for travel in travels if low <= travel <= high]
        nearest = min(offered, key=lambda each: abs(each - value)) if offered else low if value < low else high
        text = f"{chassis.name} can be built to {_ends(low, high)} mm, not {write_number(value)} mm"
        faults.append(Fault("travel-outside", text, parameter="travel", suggestion=write_number(nearest)))
    return value, value


def _one_of(parameter: str, value: str | None, known: Iterable[str] | None, faults: list[Fault]) -> str | None:
    names = list(known or ())
    if value is None or not names or value in names:
        return value
    best = process.extractOne(value, names)
    text = f"{parameter} must be one of {_words(names)} here"
    faults.append(Fault(f"{parameter}-outside", text, parameter=parameter, suggestion=best[0] if best else None))
    return value


def _words(values: Iterable[object]) -> str:
    texts = [write_number(value) if isinstance(value, float) else str(value) for value in values]
    shown = texts[:12] + ([f"{len(texts) - 12} more"] if len(texts) > 12 else [])
    return shown[0] if len(shown) == 1 else ", ".join(shown[:-1]) + " or " + shown[-1]


def _ends(low: float, high: float) -> str:
    if low == high:
        return write_number(low)
    if low == -inf:
        return f"up to {write_number(high)}"
    return f"from {write_number(low)}" if high == inf else f"{write_number(low)}–{write_number(high)}"
