"""The answers of `/v1/units` and `/v1/convert`: the table for a unit picker, and one exact conversion with its
factor.
"""

from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Literal, NotRequired

from typing_extensions import TypedDict

from app.errors import Invalid
from app.units.convert import Role, decimal_text, exact, linear, plain, round_limit, shifted, step_for
from app.units.definitions import BASES
from app.units.measure import parse_number
from app.units.preferences import PARAMETERS, SYSTEM_UNITS
from app.units.quantity import Quantity, with_unit
from app.units.table import KINDS, Unit, common_kind, units_of

Rounding = Literal["nearest", "up", "down", "none"]
ROUNDINGS: dict[Rounding, Role | None] = {"nearest": "nominal", "up": "minimum", "down": "maximum", "none": None}
MOST_DIGITS = 12


class UnitRow(TypedDict):
    """One unit: `base value = value * factor + offset`, both decimal strings; 28 significant digits if they do
    not end.
    """

    unit: str
    ucum: str
    spellings: list[str]
    display_step: str
    factor: str
    offset: NotRequired[str]


class KindRow(TypedDict):
    """One kind with its coherent SI base, the parameter that overrides its unit, and the unit of each system."""

    kind: str
    meaning: str
    base: str
    units: list[UnitRow]
    parameter: NotRequired[str]
    metric: NotRequired[str]
    imperial: NotRequired[str]


class UnitTable(TypedDict):
    """All kinds."""

    kinds: list[KindRow]


class Conversion(TypedDict):
    """`exact` is the unrounded result, `result = value * factor + offset`; all three are decimal strings."""

    kind: str
    result: Quantity
    exact: str
    factor: str
    offset: NotRequired[str]


@cache
def unit_table() -> UnitTable:
    """The complete table; the same object each time. Do not change it."""
    return UnitTable(kinds=[_kind_row(kind) for kind in KINDS])


def _kind_row(kind: str) -> KindRow:
    known = next(each for each in KINDS if each == kind)
    row = KindRow(
        kind=kind,
        meaning=BASES[known].meaning,
        base=BASES[known].name,
        units=[_unit_row(each) for each in units_of(known)],
    )
    parameter = next((name for name, overridden in PARAMETERS.items() if overridden == known), None)
    if parameter is not None:
        row["parameter"] = parameter
    if known in SYSTEM_UNITS["metric"]:
        row["metric"] = SYSTEM_UNITS["metric"][known]
        row["imperial"] = SYSTEM_UNITS["imperial"][known]
    return row


def _unit_row(each: Unit) -> UnitRow:
    row = UnitRow(
        unit=each.name,
        ucum=each.ucum,
        spellings=list(each.spellings),
        display_step=plain(each.step),
        factor=decimal_text(each.factor),
    )
    if each.offset:
        row["offset"] = decimal_text(each.offset)
    return row


def convert(value: str, start: str, target: str, *, rounding: str = "nearest", digits: int | None = None) -> Conversion:
    """Convert a number given as text between two units of one kind: the answer for value, from, to, round and digits.

    `digits` are decimals after the point; without it the target's display step applies, or the given digits if only the
    point moves. `none` gives up to 17 significant digits. Raises Invalid: `not-a-number` and similar codes,
    `unit-unknown`, `unit-of-another-kind`, `rounding-unknown`, `digits-out-of-range`.
    """
    if rounding not in ROUNDINGS:
        sentence = f"round must be one of {', '.join(ROUNDINGS)}"
        raise Invalid.one("rounding-unknown", sentence, parameter="round", suggestion="nearest")
    role = next(role for name, role in ROUNDINGS.items() if name == rounding)
    if digits is not None and not 0 <= digits <= MOST_DIGITS:
        sentence = f"digits, the number of decimals, must be between 0 and {MOST_DIGITS}"
        raise Invalid.one("digits-out-of-range", sentence, parameter="digits")
    given = parse_number(value, parameter="value")
    here, there = common_kind(start, target)
    unrounded = exact(given, here, there)
    shown = _rounded(given, unrounded, here, there, role, digits)
    factor, offset = linear(here, there)
    answer = Conversion(
        kind=here.kind,
        result=Quantity(
            kind="exact",
            value=float(shown),
            unit=there.name,
            ucum=there.ucum,
            text=with_unit(plain(shown), there),
            as_published=with_unit(plain(given), here),
        ),
        exact=decimal_text(unrounded),
        factor=decimal_text(factor),
    )
    if offset:
        answer["offset"] = decimal_text(offset)
    return answer


def _rounded(
    given: Decimal, unrounded: Fraction, here: Unit, there: Unit, role: Role | None, digits: int | None
) -> Decimal:
    """The digits to show; never a negative zero."""
    if role is None:
        shown = Decimal(f"{Decimal(decimal_text(unrounded)):.17g}")
    elif digits is not None:
        shown = round_limit(unrounded, Decimal(1).scaleb(-digits), role)
    else:
        moved = shifted(given, here, there)
        shown = round_limit(unrounded, step_for(unrounded, there), role) if moved is None else moved
    return shown if shown else shown.copy_abs()
