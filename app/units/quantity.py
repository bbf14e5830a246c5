"""Quantities in answers, made from published digits or computed SI floats; `text` and `value` agree.

No user input arrives here: units come from the catalogue or from code, and digits are finite.
"""

from collections.abc import Mapping
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any, Literal, NamedTuple, NotRequired

from typing_extensions import TypedDict

from app.physics.band import SHARE
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

QuantityKind = Literal["exact", "toleranced", "range", "at_most", "at_least", "estimate"]
QuantityBasis = Literal["published", "measured", "computed"]


class Quantity(TypedDict):
    """A figure with its unit. `kind` says which of `value`, `min` and `max` it has.

    exact: `value`. toleranced: `value` with `min`, `max` or both. range: `min` and `max`. at_most: `max`. at_least:
    `min`. estimate: a computed `value`; `min` to `max` contains the true one at least `share_percent` times in 100, if
    that is known.

    `target` is the figure to set if a range leaves it open. `text` is all of it for reading; `as_published` is present
    if it was converted. `basis` is present if an answer mixes published, measured and computed values.
    """

    kind: QuantityKind
    value: NotRequired[float]
    min: NotRequired[float]
    max: NotRequired[float]
    target: NotRequired[float]
    share_percent: NotRequired[float]
    unit: str
    ucum: str
    text: str
    as_published: NotRequired[str]
    basis: NotRequired[QuantityBasis]


def quantity(
    kind: Kind,
    value: Decimal | None,
    published: str,
    *,
    minimum: Decimal | None = None,
    maximum: Decimal | None = None,
    rounding: Role = "nominal",
    is_set: bool = False,
    to: Units = AS_PUBLISHED,
    basis: QuantityBasis | None = None,
) -> Quantity:
    """A published value, limits or both, shown in the chosen units.

    Unconverted, the digits are exactly as published. Converted, no limit loosens: a maximum rounds down, a minimum up,
    a value with limits to one within them. `rounding` rounds a value like a limit. Limits that are equal, or too close
    for any decimal of the shown unit to lie between them, stay as published. `is_set`: a mechanic sets this figure, so
    a range gets a `target`. Raises ValueError if there is nothing to show.
    """
    digits = None if value is None else str(value)
    low = None if minimum is None else str(minimum)
    high = None if maximum is None else str(maximum)
    return _built(kind, digits, published, low, high, rounding, is_set, to, basis).copy()


@lru_cache(maxsize=16384)
def _built(
    kind: Kind,
    digits: str | None,
    published: str,
    low: str | None,
    high: str | None,
    rounding: Role,
    is_set: bool,
    to: Units,
    basis: QuantityBasis | None,
) -> Quantity:
    """Keyed by digits, because 7.30 and 7.3 are equal as decimals but not as published."""
    value, minimum, maximum = (None if each is None else Decimal(each) for each in (digits, low, high))
    start = unit(kind, published)
    target = to.shown(start)
    given = _Figures(value, minimum, maximum)
    converted = None if target is start else _converted(start, target, given, rounding)
    result = _shown(start, given, is_set) if converted is None else _shown(target, converted, is_set)
    if converted is not None:
        result["as_published"] = _text(start, given.simplified())
    if basis is not None:
        result["basis"] = basis
    return result


class _Figures(NamedTuple):
    """What is given of a figure, in one unit."""

    value: Decimal | None
    low: Decimal | None
    high: Decimal | None

    def simplified(self) -> "_Figures":
        """Without a negative zero; limits that are equal are the value itself."""
        value, low, high = (None if each is None else _unsigned_zero(each) for each in self)
        if low is not None and low == high and value in (None, low):
            return _Figures(low if value is None else value, None, None)
        return _Figures(value, low, high)


def _converted(start: Unit, target: Unit, given: _Figures, rounding: Role) -> _Figures | None:
    """In the target unit, or None if that is impossible without loosening a limit."""
    moved = [None if each is None else shifted(each, start, target) for each in given]
    if all((each is None) == (digits is None) for each, digits in zip(given, moved, strict=True)):
        return _Figures(*moved)
    nominal, low, high = (None if each is None else exact(each, start, target) for each in given)
    if low is not None and high is not None:
        fitted = within(nominal, low, high, target)
        return None if fitted is None else _Figures(*fitted)
    return _one_sided(target, nominal, low, high, rounding)


def _one_sided(
    target: Unit, nominal: Fraction | None, low: Fraction | None, high: Fraction | None, rounding: Role
) -> _Figures:
    """A single value, a single limit, or a value with one limit, which it must not cross by rounding."""
    largest = next((each for each in (nominal, low, high) if each is not None), Fraction(0))
    step = step_for(largest, target)
    shown_low = None if low is None else round_limit(low, step, "minimum")
    shown_high = None if high is None else round_limit(high, step, "maximum")
    shown = None if nominal is None else round_limit(nominal, step, rounding)
    if shown is not None and shown_low is not None:
        shown = max(shown, shown_low)
    if shown is not None and shown_high is not None:
        shown = min(shown, shown_high)
    return _Figures(shown, shown_low, shown_high)


def _shown(where: Unit, given: _Figures, is_set: bool = False) -> Quantity:
    """The shape of the answer from final digits; nothing is rounded here but a target."""
    figures = given.simplified()
    more: dict[str, float] = {}
    if is_set and figures.value is None and figures.low is not None and figures.high is not None:
        more["target"] = float(middle(figures.low, figures.high))
    return _made(_kind(figures), where, _text(where, figures), figures, more)


def _made(kind: QuantityKind, where: Unit, text: str, figures: _Figures, more: Mapping[str, float]) -> Quantity:
    named = zip(("value", "min", "max"), figures, strict=True)
    numbers = {name: float(each) for name, each in named if each is not None}
    made: Any = {"kind": kind, **numbers, **more, "unit": where.name, "ucum": where.ucum, "text": text}
    return made  # type: ignore[no-any-return]


def _kind(figures: _Figures) -> QuantityKind:
    limited = figures.low is not None or figures.high is not None
    if figures.value is not None:
        return "toleranced" if limited else "exact"
    if not limited:
        raise ValueError("a quantity needs a value or a limit")
    if figures.low is None:
        return "at_most"
    return "at_least" if figures.high is None else "range"


def middle(low: Decimal, high: Decimal) -> Decimal:
    """The middle of a range to the last digit of its ends, ties to even; so it never leaves the range."""
    last_digit = min(int(each.as_tuple().exponent) for each in (low, high))
    return ((low + high) / 2).quantize(Decimal(1).scaleb(last_digit), ROUND_HALF_EVEN)


def figure_to_set(value: Decimal | None, low: Decimal | None, high: Decimal | None) -> Decimal:
    """The one figure to set of a published one: the value, else the middle of a range, else the only limit."""
    if value is None and low is not None and high is not None:
        return middle(low, high)
    return next(each for each in (value, low, high) if each is not None)


def _text(where: Unit, figures: _Figures) -> str:
    """`6.8 N·m`, `6.8 N·m (6.5–7.5)`, `6.5–7.5 N·m`, `≥ 6.5 N·m`, `≤ 7.5 N·m`, of simplified figures."""
    value, low, high = figures
    limits = _limits(low, high)
    if value is None:
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
    """Digits and unit as text; there is no space before the degree and minute of angle (SI Brochure 5.4.3).

    A ratio is a number alone.
    """
    if where.name == "ratio":
        return digits
    return digits + ("" if where.name in ("°", "′") else " ") + where.name


def to_set(shown: Quantity) -> float:
    """The one figure to set: the value, else the target of a range, else the only limit."""
    return next(shown[name] for name in ("value", "target", "max", "min") if name in shown)


def bare_limit(shown: Quantity) -> str:
    """A limit for a sentence that says itself that it is one: `160 psi` for `≤ 160 psi`."""
    return shown["text"].removeprefix("≤ ").removeprefix("≥ ")


def _unsigned_zero(value: Decimal) -> Decimal:
    return value.copy_abs() if value == 0 else value


def computed(
    kind: Kind,
    si_value: float,
    usual: str,
    *,
    band: tuple[float, float] | None = None,
    share: float | None = SHARE,
    rounding: Role = "nominal",
    to: Units = AS_PUBLISHED,
    step: Decimal | None = None,
    basis: QuantityBasis | None = "computed",
    band_in_text: bool = True,
) -> Quantity:
    """A computed value in coherent SI (the kind's base) shown in the chosen unit, rounded to its display step.

    `usual` is the unit if nothing was chosen. A band is a spread, not a limit: it rounds outward, so it still covers
    the same values; `share` is how often it contains the true one, None if that is unknown. Without `band_in_text` it
    is in `min` and `max` but not in `text`. Raises ValueError for a value that is not finite.
    """
    target = _usual(to, kind, usual)
    try:
        ratios = [each.as_integer_ratio() for each in (si_value, *(band or ()))]
    except (OverflowError, ValueError) as error:
        raise ValueError("a computed quantity must be finite") from error
    by = step or _fine_enough(ratios[0], target)
    counting = _step_ratio(target, str(by))
    roles: tuple[Role, ...] = (rounding, "maximum", "minimum")
    shown = [
        _unsigned_zero(steps_rounded(*_counted(each, counting), by, its))
        for each, its in zip(ratios, roles, strict=False)
    ]
    if band is None:
        result = _shown(target, _Figures(shown[0], None, None))
    else:
        figures = _Figures(*shown)
        more = {} if share is None else {"share_percent": round(share * 100, 1)}
        text = _text(target, figures.simplified() if band_in_text else _Figures(shown[0], None, None))
        result = _made("estimate", target, text, figures, more)
    if basis is not None:
        result["basis"] = basis
    return result


@lru_cache(maxsize=1024)
def _usual(to: Units, kind: Kind, usual: str) -> Unit:
    return to.usual(kind, usual)


def _fine_enough(ratio: tuple[int, int], target: Unit) -> Decimal:
    """Like `step_for`, of an SI value as a ratio: the display step if it is fine enough, else a finer one."""
    above, below = _counted(ratio, _step_ratio(target, str(target.step)))
    if above == 0 or abs(above) >= LEAST_STEPS * below:
        return target.step
    return step_for(_fraction(ratio, target), target)


def _fraction(ratio: tuple[int, int], target: Unit) -> Fraction:
    return (Fraction(*ratio) - target.offset) / target.factor


def _counted(ratio: tuple[int, int], counting: tuple[int, int, int]) -> tuple[int, int]:
    """How many steps an SI value is, as a ratio that is not reduced, because reducing costs most."""
    of_value, of_one, below = counting
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
