"""Figures beside their siblings: by which confused unit or digit one differs from the rest. Arithmetic on floats."""

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
ALIKE = 1.5  # siblings within this ratio of each other are alike; design, section 5
ENOUGH = 3  # alike siblings that make a slip certain; design, section 5
PLAIN = 2.0  # a factor below it lies within what generations differ by: siblings must be closely alike for it to show
NEAR = 1.3  # a factor below it shows only beside equal siblings, and is only a warning
LEAST = 1.1  # pairs of units nearer to each other than this cannot be told from ordinary variation
CLOSELY, EQUAL = 1.1, 1.02  # how alike siblings must be for a factor below PLAIN, or below NEAR, to show
FINE = 0.02  # a step of the last digit below which a figure is fine enough for such a factor
CLOSE_NEAR = 0.015  # a ratio within 1.5 % of a factor below NEAR is that factor

CONFUSED: dict[Kind, tuple[str, ...]] = {
    "torque": ("N·m", "in·lbf", "ft·lbf", "kgf·cm", "N·cm", "kgf·m"),
    "pressure": ("bar", "psi", "kPa", "MPa"),
    "volume": ("mL", "US fl oz", "L"),
    "length": ("mm", "in", "cm"),
    "mass": ("kg", "lb"),
}


class SiblingFigure(NamedTuple):
    """One figure of a row, in a unit common to all siblings."""

    row: Row
    column: str
    value: float
    size: str | None = None  # the thread of a bolt: a small factor shows only among figures of one size


@dataclass(frozen=True, slots=True)
class Slip:
    """A figure that is `factor` times its siblings; `reading` says what was confused, None for a digit."""

    figure: SiblingFigure
    factor: float
    reading: tuple[str, str] | None
    usual: float
    certain: bool
    other: Row


def factors(kind: Kind) -> dict[tuple[str, str], float]:
    """By what a figure is off, by (unit meant, unit written), for every pair of units that are confused."""
    found = {}
    for meant in CONFUSED[kind]:
        for written in CONFUSED[kind]:
            factor = float(linear(unit(kind, written), unit(kind, meant))[0])
            if max(factor, 1 / factor) >= LEAST:
                found[meant, written] = factor
    return found


FACTORS: dict[Kind, dict[tuple[str, str], float]] = {kind: factors(kind) for kind in CONFUSED}


def slips(figures: Sequence[SiblingFigure], kinds: tuple[Kind, ...]) -> list[Slip]:
    """The figures that differ from their siblings by a confused unit of `kinds` or by ten, in the order given.

    Siblings are the others; certain with three or more of them within 1.5 of each other. Of two figures that differ
    neither can be told to be right: one slip is reported, of the later one. A figure that the page prints so is no
    evidence about the others, and is compared with them alone.
    """
    found = []
    for index, figure in enumerate(figures):
        others = [each for place, each in enumerate(figures) if place != index and not prints(each.row, each.column)]
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
                continue  # it says itself that it is another figure, or its digits do not tell
            surely = size >= PLAIN or (size >= NEAR and not _coarse(figure) and _alike(values, EQUAL))
            found.append(Slip(figure, factor, reading, usual, len(others) >= ENOUGH and surely, others[0].row))
    return found[-1:] if len(figures) == 2 else found


def all_alike(values: Sequence[float]) -> bool:
    """True when no figure differs enough from another for any slip."""
    return _alike(values, CLOSELY)


def _of_one_size(figure: SiblingFigure, other: SiblingFigure) -> bool:
    """True unless their threads differ, or one narrows the other and says so itself."""
    if None not in (figure.size, other.size) and figure.size != other.size:
        return False
    return getattr(other.row, "exception_to", None) != figure.row.id


def _alike(values: Sequence[float], within: float) -> bool:
    least = min(values)
    return least > 0 and max(values) <= within * least


def _coarse(figure: SiblingFigure) -> bool:
    """True when one step of the last published digit is more than 2 % of the figure."""
    written = getattr(figure.row, figure.column)
    exponent = written.as_tuple().exponent if isinstance(written, Decimal) else 0
    return 10.0 ** int(exponent) > FINE * float(written)


def _reading(ratio: float, kinds: tuple[Kind, ...]) -> tuple[tuple[str, str] | None, float] | None:
    """What explains a ratio best: a pair of units or, with None, a digit; None where nothing does."""
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
