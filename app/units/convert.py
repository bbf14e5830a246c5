"""Exact conversion within one quantity kind, and rounding that never loosens a limit. Knows nothing of user input.

Everything is a fraction until the last step. A converted maximum rounds down and a minimum up (ISO 80000-1 annex B:
given limits are respected by rounding in one direction; ANSI/IEEE 268, now IEEE/ASTM SI 10), anything else to the
nearest, ties to even (ISO 80000-1 annex B.3 rule A).
"""

from decimal import Decimal, localcontext
from fractions import Fraction
from functools import lru_cache
from typing import Literal

from app.units.table import Unit

Role = Literal["nominal", "maximum", "minimum"]

LEAST_STEPS = 20  # a value shown in fewer steps than this would be off by more than 2.5 %
_FINEST = 30  # how often a step may be divided by ten
_LONGEST_EXACT = 40  # significant digits of an exact decimal string


@lru_cache(maxsize=4096)
def linear(start: Unit, target: Unit) -> tuple[Fraction, Fraction]:
    """Factor and offset from one unit to another of the same kind: `target value = value * factor + offset`."""
    if start.kind != target.kind:
        raise ValueError(f"{start.name} ({start.kind}) and {target.name} ({target.kind}) are of different kinds")
    return start.factor / target.factor, (start.offset - target.offset) / target.factor


def exact(value: Decimal | Fraction, start: Unit, target: Unit) -> Fraction:
    """The value in the target unit, without rounding."""
    factor, offset = linear(start, target)
    return Fraction(value) * factor + offset


def decimal_text(number: Fraction) -> str:
    """A plain decimal string: all digits if they end within 40, else 28 significant digits."""
    with localcontext() as context:
        context.prec = _LONGEST_EXACT
        quotient = Decimal(number.numerator) / Decimal(number.denominator)
        if Fraction(quotient) != number:
            context.prec = 28
            quotient = +quotient
    return plain(quotient.normalize() if quotient else Decimal(0))


def plain(value: Decimal) -> str:
    """Digits unchanged, without an exponent: 7.30 stays 7.30."""
    return format(value, "f")


def round_limit(value: Fraction | Decimal, step: Decimal, role: Role) -> Decimal:
    """To a multiple of `step`: a maximum down, a minimum up, a nominal to the nearest, ties to even."""
    count = Fraction(value) / Fraction(step)
    return steps_rounded(count.numerator, count.denominator, step, role)


def steps_rounded(above: int, below: int, step: Decimal, role: Role) -> Decimal:
    """Like `round_limit`, of above/below steps; below > 0, and the two need not be free of common factors."""
    whole, rest = divmod(above, below)
    if role == "minimum":
        whole += rest > 0
    elif role == "nominal":
        whole += 2 * rest > below or (2 * rest == below and whole % 2 == 1)
    return _scaled(whole, step)


def _scaled(whole: int, step: Decimal) -> Decimal:
    """`whole` times `step`, with as many decimals as the step has."""
    digits, exponent = _parts(str(step))
    mantissa = whole * digits
    if exponent > 0:
        mantissa, exponent = mantissa * 10**exponent, 0
    return Decimal(f"{mantissa}E{exponent}")


def half_last_digit(figure: Decimal) -> Decimal:
    """Half a unit of a figure's last written digit, in its own unit: 0.05 for 7.0."""
    exponent = figure.as_tuple().exponent
    return Decimal(5).scaleb((exponent if isinstance(exponent, int) else 0) - 1)


@lru_cache(maxsize=256)
def _parts(step: str) -> tuple[int, int]:
    """The digits of a step as a whole number, and the power of ten. By text: 0.10 and 0.1 are equal."""
    _, digits, exponent = Decimal(step).as_tuple()
    if not isinstance(exponent, int):
        raise ValueError("a step is a finite number")
    return int("".join(map(str, digits))), exponent


def step_for(value: Fraction, target: Unit) -> Decimal:
    """The target's display step, divided by ten until the value spans at least 20 steps (not for temperatures)."""
    step = target.step
    if value == 0 or target.kind == "temperature":
        return step
    for _ in range(_FINEST):
        if abs(value) >= LEAST_STEPS * Fraction(step):
            break
        step = step.scaleb(-1)
    return step


def shifted(value: Decimal, start: Unit, target: Unit) -> Decimal | None:
    """The published digits with the point moved, if the factor is a power of ten; else None."""
    factor, offset = linear(start, target)
    if offset:
        return None
    power = len(str(factor.numerator)) - len(str(factor.denominator))
    if factor != Fraction(10) ** power:
        return None
    sign, digits, exponent = value.as_tuple()
    if not isinstance(exponent, int):
        raise ValueError("only a finite number can be converted")
    return Decimal((sign, digits, exponent + power))


def within(
    value: Fraction | None, minimum: Fraction, maximum: Fraction, target: Unit
) -> tuple[Decimal | None, Decimal, Decimal] | None:
    """A nominal and its two limits at one step that is fine enough for the rounded limits to stay apart, with the
    nominal within.

    None if the limits are equal or nearly so: then no converted value may be shown.
    """
    if minimum >= maximum:
        return None
    step = step_for(value if value is not None else maximum, target)
    for _ in range(_FINEST):
        low, high = round_limit(minimum, step, "minimum"), round_limit(maximum, step, "maximum")
        if low < high:
            if value is None:
                return None, low, high
            return min(max(round_limit(value, step, "nominal"), low), high), low, high
        step = step.scaleb(-1)
    return None
