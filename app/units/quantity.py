"""Quantities in answers, made from published digits or computed SI floats; `text` and `value` agree.

No user input arrives here: units come from the catalogue or from code, and digits are finite.
"""

from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Literal, NotRequired

from typing_extensions import TypedDict

from app.units.convert import (
    LEAST_STEPS,
    Role,
    exact,
    plain,
    round_limit,
    shifted,
    step_for,
    steps_rounded,
    within,
)
from app.units.preferences import AS_PUBLISHED, Units
from app.units.table import Kind, Unit, unit

QuantityBasis = Literal["published", "measured", "computed"]


class Quantity(TypedDict):
    """A value with its unit. `text` is the same for reading; `as_published` is present if the value was converted.

    `min` and `max` are present if there are limits. `basis` is present if an answer mixes published, measured and
    computed values.
    """

    value: float
    unit: str
    ucum: str
    text: str
    min: NotRequired[float]
    max: NotRequired[float]
    as_published: NotRequired[str]
    basis: NotRequired[str]


def quantity(
    kind: Kind,
    value: Decimal | None,
    published: str,
    *,
    minimum: Decimal | None = None,
    maximum: Decimal | None = None,
    role: Role = "nominal",
    to: Units = AS_PUBLISHED,
    basis: QuantityBasis | None = None,
) -> Quantity:
    """A published value, limits or both, shown in the chosen units.

    Unconverted, the digits are exactly as published. Converted, no limit loosens: a maximum rounds down, a minimum up,
    a nominal with limits to a value within them. `role` says whether a single value is a limit. Limits that are equal,
    or too close for any decimal of the shown unit to lie between them, stay as published. For two limits without a
    nominal, `value` is their middle, marked with the basis "computed", and `text` shows the limits only. Raises
    ValueError if there is nothing to show.
    """
    digits = None if value is None else str(value)
    low = None if minimum is None else str(minimum)
    high = None if maximum is None else str(maximum)
    return _built(kind, digits, published, low, high, role, to, basis).copy()


@lru_cache(maxsize=16384)
def _built(
    kind: Kind,
    digits: str | None,
    published: str,
    low: str | None,
    high: str | None,
    role: Role,
    to: Units,
    basis: QuantityBasis | None,
) -> Quantity:
    """Keyed by digits, because 7.30 and 7.3 are equal as decimals but not as published."""
    value, minimum, maximum = (None if each is None else Decimal(each) for each in (digits, low, high))
    start = unit(kind, published)
    as_published = _shown(start, value, minimum, maximum)
    target = to.shown(start)
    result = as_published if target is start else _converted(start, target, value, minimum, maximum, role)
    if result is None:
        result = as_published
    elif target is not start:
        result["as_published"] = as_published["text"]
    if basis is not None and "basis" not in result:
        result["basis"] = basis
    return result


def _converted(
    start: Unit, target: Unit, value: Decimal | None, minimum: Decimal | None, maximum: Decimal | None, role: Role
) -> Quantity | None:
    """In the target unit, or None if that is impossible without loosening a limit."""
    given = (value, minimum, maximum)
    moved = [None if each is None else shifted(each, start, target) for each in given]
    if all((each is None) == (digits is None) for each, digits in zip(given, moved, strict=True)):
        return _shown(target, *moved)
    nominal, low, high = (None if each is None else exact(each, start, target) for each in given)
    if low is not None and high is not None:
        fitted = within(nominal, low, high, target)
        return None if fitted is None else _shown(target, *fitted)
    return _one_sided(target, nominal, low, high, role)


def _one_sided(
    target: Unit, nominal: Fraction | None, low: Fraction | None, high: Fraction | None, role: Role
) -> Quantity:
    """A single value, a single limit, or a value with one limit, which it must not cross by rounding."""
    largest = next(each for each in (nominal, low, high) if each is not None)
    step = step_for(largest, target)
    shown_low = None if low is None else round_limit(low, step, "minimum")
    shown_high = None if high is None else round_limit(high, step, "maximum")
    shown = None if nominal is None else round_limit(nominal, step, role)
    if shown is not None and shown_low is not None:
        shown = max(shown, shown_low)
    if shown is not None and shown_high is not None:
        shown = min(shown, shown_high)
    return _shown(target, shown, shown_low, shown_high)


def _shown(where: Unit, value: Decimal | None, low: Decimal | None, high: Decimal | None) -> Quantity:
    """The shape of the answer from final digits; nothing is rounded here."""
    value, low, high = (None if each is None else _unsigned_zero(each) for each in (value, low, high))
    if value is None and low is not None and low == high:
        value = low
    only_limits = value is None and low is not None and high is not None
    if only_limits and low is not None and high is not None:
        value = (low + high) / 2
    representative = next((each for each in (value, low, high) if each is not None), None)
    if representative is None:
        raise ValueError("a quantity needs a value or a limit")
    result = Quantity(
        value=float(representative), unit=where.name, ucum=where.ucum, text=_text(where, value, low, high, only_limits)
    )
    if low is not None:
        result["min"] = float(low)
    if high is not None:
        result["max"] = float(high)
    if only_limits:
        result["basis"] = "computed"
    return result


def _text(where: Unit, value: Decimal | None, low: Decimal | None, high: Decimal | None, only_limits: bool) -> str:
    """`6.8 N·m`, `6.8 N·m (6.5–7.5)`, `6.5–7.5 N·m`, `≥ 6.5 N·m`, `≤ 7.5 N·m`."""
    limits = "" if value is not None and low == high == value else _limits(low, high)
    if value is None or only_limits:
        return with_unit(limits, where)
    return with_unit(plain(value), where) + (f" ({limits})" if limits else "")


def _limits(low: Decimal | None, high: Decimal | None) -> str:
    if low is not None and high is not None:
        joint = " to " if low < 0 else "–"
        return plain(low) + joint + plain(high)
    if low is not None:
        return f"≥ {plain(low)}"
    return "" if high is None else f"≤ {plain(high)}"


def with_unit(digits: str, where: Unit) -> str:
    """Digits and unit as text; there is no space before the degree and minute of angle (SI Brochure 5.4.3)."""
    return digits + ("" if where.name in ("°", "′") else " ") + where.name


def _unsigned_zero(value: Decimal) -> Decimal:
    return value.copy_abs() if value == 0 else value


def computed(
    kind: Kind,
    si_value: float,
    usual: str,
    *,
    band: tuple[float, float] | None = None,
    role: Role = "nominal",
    to: Units = AS_PUBLISHED,
    step: Decimal | None = None,
    basis: QuantityBasis | None = "computed",
    band_in_text: bool = True,
) -> Quantity:
    """A computed value in coherent SI (the kind's base) shown in the chosen unit, rounded to its display step.

    `usual` is the unit if nothing was chosen. A band is a spread, not a limit: it rounds outward, so it still covers
    the same values; without `band_in_text` it is in `min` and `max` but not in `text`. Raises ValueError for a value
    that is not finite.
    """
    target = _usual(to, kind, usual)
    try:
        ratios = [each.as_integer_ratio() for each in (si_value, *(band or ()))]
    except (OverflowError, ValueError) as error:
        raise ValueError("a computed quantity must be finite") from error
    by = step or _fine_enough(ratios[0], target)
    roles: tuple[Role, ...] = (role, "maximum", "minimum")
    shown = [_rounded(each, target, by, its) for each, its in zip(ratios, roles, strict=False)]
    result = _shown(target, shown[0], *(shown[1:] or (None, None)))
    if band is not None and not band_in_text:
        result["text"] = _text(target, shown[0], None, None, False)
    if basis is not None:
        result["basis"] = basis
    return result


@lru_cache(maxsize=1024)
def _usual(to: Units, kind: Kind, usual: str) -> Unit:
    return to.usual(kind, usual)


def _fine_enough(ratio: tuple[int, int], target: Unit) -> Decimal:
    """Like `step_for`, of an SI value as a ratio: the display step if it is fine enough, else a finer one."""
    above, below = _counted(ratio, target, str(target.step))
    if above == 0 or abs(above) >= LEAST_STEPS * below:
        return target.step
    return step_for(_fraction(ratio, target), target)


def _fraction(ratio: tuple[int, int], target: Unit) -> Fraction:
    return (Fraction(*ratio) - target.offset) / target.factor


def _rounded(ratio: tuple[int, int], target: Unit, step: Decimal, role: Role) -> Decimal:
    return steps_rounded(*_counted(ratio, target, str(step)), step, role)


def _counted(ratio: tuple[int, int], target: Unit, step: str) -> tuple[int, int]:
    """How many steps of the target an SI value is, as a ratio that is not reduced, because reducing costs most."""
    of_value, of_one, below = _step_ratio(target, step)
    return ratio[0] * of_value + ratio[1] * of_one, ratio[1] * below


@lru_cache(maxsize=1024)
def _step_ratio(target: Unit, step: str) -> tuple[int, int, int]:
    """(a, b, c) so that the SI value n/d is (n*a + d*b)/(d*c) steps. By digits: 0.10 and 0.1 are equal."""
    offset, scale = target.offset, target.factor * Fraction(step)
    return (
        offset.denominator * scale.denominator,
        -offset.numerator * scale.denominator,
        offset.denominator * scale.numerator,
    )
