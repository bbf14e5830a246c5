"""Parses a parameter that is a measure: a plain number in its usual unit, or a number with a unit.

Raises Invalid, naming the parameter and the fix, for anything but a finite decimal number of sensible size with a known
unit of the right kind. The time is bounded by the length of the text.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from app.errors import Invalid
from app.units.convert import exact, half_last_digit, linear
from app.units.table import LONGEST_SPELLING, Kind, Unit, find, unit

LONGEST_MEASURE = 64
_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,15}(?:\.[0-9]{0,15})?|\.[0-9]{1,15})(?:[eE][+-]?[0-9]{1,5}(?![0-9]))?")
_LARGEST = Decimal("1e12")
_SMALLEST = Decimal("1e-12")

# ISO 5775 bead seat diameters by their names in the trade; the names are common practice, no source.
WHEEL_NAMES = {"29": 622, "27.5": 584, "26": 559}
_CALLED = {bead_seat: name for name, bead_seat in WHEEL_NAMES.items()}
_WHEEL_LEAST, _WHEEL_MOST = 200, 700


@dataclass(frozen=True, slots=True)
class Measure:
    """`value` is in `unit`, the usual unit of `kind`; the rest is as given.

    `half_last_digit`, in the usual unit, is half a unit of the last given digit if a unit was given, else 0: a length
    with a unit matches an offered travel within it.
    """

    kind: Kind
    value: Decimal
    unit: str
    given_text: str
    given_value: Decimal
    given_unit: str
    with_unit: bool
    half_last_digit: Decimal


@dataclass(frozen=True, slots=True)
class MeasureReading:
    """One sag reading at one gauge pressure, `38mm@72psi`."""

    travel: Measure
    pressure: Measure


def parse_number(text: str, *, parameter: str | None = None) -> Decimal:
    """A finite decimal of at most 15 digits before and after the point, with a size of 0 or 1e-12 to 1e12; -0 is 0.

    Raises Invalid: `not-a-number`, `number-too-large`, `number-too-small`, `too-long`.
    """
    number, rest = _split(text, parameter)
    if rest:
        raise _not_a_number(parameter, text)
    return number


def parse_measure(
    text: str,
    *,
    kind: Kind,
    usual: str,
    parameter: str,
    also: Mapping[Kind, str] | None = None,
    minimum: Decimal | None = None,
    maximum: Decimal | None = None,
) -> Measure:
    """Read `150`, `150 mm` or `5.9in`. `also` names further kinds that a unit may choose, each with its usual unit.

    `minimum` and `maximum`, in the usual unit of `kind`, are inclusive and apply to that kind only. Raises Invalid: the
    codes of `parse_number`, `unit-unknown`, `unit-of-another-kind`, `out-of-range`.
    """
    number, spelling = _split(text, parameter)
    chosen, usual_name, given = kind, usual, unit(kind, usual)
    if spelling:
        chosen, usual_name, given = _with_kind(spelling, kind, usual, also or {}, parameter)
    target = unit(chosen, usual_name)
    value = number if given == target else _decimal(number, given, target)
    if chosen == kind:
        _check_range(value, minimum, maximum, target, parameter)
    half = Decimal(0)
    if spelling:
        factor = linear(given, target)[0]
        half = half_last_digit(number) * Decimal(factor.numerator) / Decimal(factor.denominator)
    return Measure(chosen, value, target.name, text.strip(), number, given.name, bool(spelling), half)


def parse_reading(text: str, *, parameter: str = "reading") -> MeasureReading:
    """Read `38mm@72psi`: a sag and its gauge pressure; plain numbers are mm and psi. Raises Invalid."""
    travel, at, pressure = text.partition("@")
    if not at or "@" in pressure:
        sentence = f"{parameter} must be a sag and a gauge pressure joined by @, such as 38mm@72psi"
        raise Invalid.one("reading-malformed", sentence, parameter=parameter, suggestion="38mm@72psi")
    return MeasureReading(
        parse_measure(travel, kind="length", usual="mm", parameter=parameter),
        parse_measure(pressure, kind="pressure", usual="psi", parameter=parameter),
    )


def parse_wheel_size(text: str, *, parameter: str = "wheel_size") -> int:
    """A bead seat diameter in mm (ISO 5775), or `29`, `27.5`, `26` for 622, 584, 559. Raises Invalid."""
    bare = text.strip().removesuffix('"').removesuffix("″").removesuffix("in").rstrip() if len(text) <= 12 else ""
    if bare in WHEEL_NAMES:
        return WHEEL_NAMES[bare]
    bare = bare.removesuffix("mm").rstrip()
    if len(bare) == 3 and bare.isascii() and bare.isdigit() and _WHEEL_LEAST <= int(bare) <= _WHEEL_MOST:
        return int(bare)
    raise Invalid.one(
        "wheel-size-unknown",
        f"{parameter} must be a bead seat diameter in mm (622, 584, 559, …) or one of 29, 27.5, 26",
        parameter=parameter,
    )


def _split(text: str, parameter: str | None) -> tuple[Decimal, str]:
    """The leading number and what follows it, stripped."""
    if len(text) > LONGEST_MEASURE:
        sentence = f"{parameter or 'a number'} may have at most {LONGEST_MEASURE} characters"
        raise Invalid.one("too-long", sentence, parameter=parameter)
    stripped = text.strip()
    found = _NUMBER.match(stripped)
    rest = stripped[found.end() :] if found else ""
    if found is None or rest[:1].isdigit() or rest[:1] in (".", ","):
        raise _not_a_number(parameter, text)
    number = Decimal(found[0])
    if abs(number) > _LARGEST:
        raise Invalid.one("number-too-large", f"{parameter or 'a number'} must be at most 1e12", parameter=parameter)
    if number and abs(number) < _SMALLEST:
        raise Invalid.one(
            "number-too-small", f"{parameter or 'a number'} must be 0 or at least 1e-12", parameter=parameter
        )
    return number if number else number.copy_abs(), rest.strip()


def _not_a_number(parameter: str | None, text: str) -> Invalid:
    fixed = text.strip().replace(",", ".", 1)
    comma = "," in text and len(text) <= LONGEST_SPELLING and _NUMBER.match(fixed) is not None
    sentence = f"{parameter or 'this'} must be a number, or a number with a unit, such as 150 or 5.9in"
    if comma:
        sentence += "; use a decimal point"
    return Invalid.one("not-a-number", sentence, parameter=parameter, suggestion=fixed if comma else None)


def _with_kind(
    spelling: str, kind: Kind, usual: str, also: Mapping[Kind, str], parameter: str
) -> tuple[Kind, str, Unit]:
    kinds_so_spelt = {each.kind: each for each in find(spelling)}
    for other, other_usual in {kind: usual, **also}.items():
        if other in kinds_so_spelt:
            return other, other_usual, kinds_so_spelt[other]
    return kind, usual, unit(kind, spelling, parameter=parameter)


def _decimal(number: Decimal, given: Unit, target: Unit) -> Decimal:
    """Exact if the digits end within the context's 28, else rounded to 28 significant digits."""
    fraction = exact(number, given, target)
    return Decimal(fraction.numerator) / Decimal(fraction.denominator)


def _check_range(value: Decimal, minimum: Decimal | None, maximum: Decimal | None, where: Unit, parameter: str) -> None:
    if (minimum is None or value >= minimum) and (maximum is None or value <= maximum):
        return
    ends = [f"at least {minimum:f} {where.name}"] if minimum is not None else []
    ends += [f"at most {maximum:f} {where.name}"] if maximum is not None else []
    nearest = minimum if minimum is not None and value < minimum else maximum
    raise Invalid.one(
        "out-of-range",
        f"{parameter} must be {' and '.join(ends)}",
        parameter=parameter,
        suggestion=None if nearest is None else f"{nearest:f}",
    )


def wheel_called(bead_seat: int) -> str:
    """A bead seat in mm with the wheel's name: `29 in (622 mm)`; `507 mm` for a wheel without a name here."""
    return f"{_CALLED[bead_seat]} in ({bead_seat} mm)" if bead_seat in _CALLED else f"{bead_seat} mm"
