"""Compares figures with their siblings: finds a confused unit or digit. Arithmetic on floats."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from statistics import median
from typing import NamedTuple

from app.catalogue.tables import Row
from app.rules.evidence import prints
from app.units.convert import linear
from app.units.table import Kind, unit

CLOSE = 0.03  # a ratio within 3 % of a factor is that factor; design, section 5
ALIKE = 1.5  # siblings within this ratio of each other agree; design, section 5
ENOUGH = 3  # this many agreeing siblings make a slip certain; design, section 5
PLAIN = 2.0  # generations may differ by a factor below this: it counts only if the siblings agree closely
NEAR = 1.3  # a factor below this counts only with equal siblings, and is only a warning
LEAST = 1.1  # units that differ by less than this factor cannot be distinguished from ordinary variation
CLOSELY, EQUAL = 1.1, 1.02  # how closely siblings must agree for a factor below PLAIN, or below NEAR, to count
FINE = 0.02  # a figure is fine enough for such a factor if its last digit is a smaller step than this
CLOSE_NEAR = 0.015  # a ratio within 1.5 % of a factor below NEAR is that factor

CONFUSED: dict[Kind, tuple[str, ...]] = {
    "torque": ("N·m", "in·lbf", "ft·lbf", "kgf·cm", "N·cm", "kgf·m"),
    "pressure": ("bar", "psi", "kPa", "MPa"),
    "volume": ("mL", "US fl oz", "L"),
    "length": ("mm", "in", "cm"),
    "mass": ("kg", "lb"),
}


class SiblingFigure(NamedTuple):
    """One figure of a row, in the common unit of its siblings."""

    row: Row
    column: str
    value: float
    size: str | None = None  # the thread of a bolt: a small factor counts only among figures of one size


@dataclass(frozen=True, slots=True)
class Slip:
    """A figure that is `factor` times its siblings; `reading` is the confused pair of units, None for a digit."""

    figure: SiblingFigure
    factor: float
    reading: tuple[str, str] | None
    usual: float
    certain: bool
    other: Row


def factors(kind: Kind) -> dict[tuple[str, str], float]:
    """The factor of error for each (intended unit, written unit), for every pair of often confused units."""
    found = {}
    for meant in CONFUSED[kind]:
        for written in CONFUSED[kind]:
            factor = float(linear(unit(kind, written), unit(kind, meant))[0])
            if max(factor, 1 / factor) >= LEAST:
                found[meant, written] = factor
    return found


FACTORS: dict[Kind, dict[tuple[str, str], float]] = {kind: factors(kind) for kind in CONFUSED}


def slips(figures: Sequence[SiblingFigure], kinds: tuple[Kind, ...]) -> list[Slip]:
    """The figures that differ from their siblings by a confused unit of `kinds` or by ten, in the given order.

    The siblings of a figure are all the others. A slip is certain with three or more siblings within a factor of 1.5
    of each other. If only two figures differ, either may be right: the later one is reported. A figure confirmed by
    the page is no evidence about the others; it is only compared with them.
    """
    found = []
    evidence = [each for each in figures if not prints(each.row, each.column)]
    for figure in figures:
        others = [each for each in evidence if each is not figure]
        values = [each.value for each in others]
        if not values or figure.value <= 0 or min(values) <= 0 or not _alike(values, ALIKE):
            continue
        usual = median(values)
        read = _reading(figure.value / usual, kinds)
        if read is not None:
            reading, factor = read
            size = max(factor, 1 / factor)
            if size < PLAIN:
                others = [each for each in others if _of_one_size(figure, each)]
                values = [each.value for each in others]
                if not values or not _alike(values, CLOSELY if size >= NEAR else EQUAL):
                    continue
                if abs(figure.value / median(values) / factor - 1) > CLOSE:
                    continue
                usual = median(values)
            excepted = getattr(figure.row, "exception_to", None) is not None
            if (size < NEAR or (size < PLAIN and excepted)) and (excepted or _coarse(figure)):
                continue  # it is a declared exception, or its digits are too coarse
            surely = size >= PLAIN or (size >= NEAR and not _coarse(figure) and _alike(values, EQUAL))
            found.append(Slip(figure, factor, reading, usual, len(others) >= ENOUGH and surely, others[0].row))
    return found[-1:] if len(figures) == 2 else found


def all_alike(values: Sequence[float]) -> bool:
    """True if no figure differs enough from another for any slip."""
    return _alike(values, CLOSELY)


def _of_one_size(figure: SiblingFigure, other: SiblingFigure) -> bool:
    """True unless their threads differ, or one is a declared exception to the other."""
    if None not in (figure.size, other.size) and figure.size != other.size:
        return False
    return getattr(other.row, "exception_to", None) != figure.row.id


def _alike(values: Sequence[float], within: float) -> bool:
    least = min(values)
    return least > 0 and max(values) <= within * least


def _coarse(figure: SiblingFigure) -> bool:
    """True if one step of the last published digit is more than 2 % of the figure."""
    written = getattr(figure.row, figure.column)
    exponent = written.as_tuple().exponent if isinstance(written, Decimal) else 0
    return 10.0 ** int(exponent) > FINE * float(written)


def _reading(ratio: float, kinds: tuple[Kind, ...]) -> tuple[tuple[str, str] | None, float] | None:
    """The best explanation of a ratio: a pair of units or, with None, a digit; None if there is none."""
    least = CLOSE * 2
    nearest: tuple[tuple[str, str] | None, float] | None = None
    for candidate in _candidates(kinds):
        off = abs(ratio / candidate[1] - 1)
        if off < least:
            least, nearest = off, candidate
    if nearest is None:
        return None
    return nearest if least <= (CLOSE if max(nearest[1], 1 / nearest[1]) >= NEAR else CLOSE_NEAR) else None


@cache
def _candidates(kinds: tuple[Kind, ...]) -> tuple[tuple[tuple[str, str] | None, float], ...]:
    pairs = (pair for kind in kinds for pair in FACTORS[kind].items())
    return ((None, 10.0), (None, 0.1), *pairs)
