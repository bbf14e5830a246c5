"""What stands beside a computed value: what was assumed, by which formula, and where that holds."""

from decimal import Decimal
from typing import NotRequired

from typing_extensions import TypedDict

from app.physics.band import Uncertain
from app.units.quantity import Quantity


class Assumption(TypedDict):
    """Something taken for granted, with its value where it has one; `text` says where it comes from."""

    name: str
    value: NotRequired[Quantity | int | float | str]
    text: str


class Formula(TypedDict):
    """How something was computed: the formula in words or symbols, where it comes from, and where it holds."""

    text: str
    source: str
    validity: str


def as_published(name: str, figure: Decimal, factor: float) -> Uncertain:
    """A published figure as an input in SI, known to half a unit of its last digit; `factor` takes it there."""
    exponent = figure.as_tuple().exponent
    half = 0.5 * 10.0 ** (exponent if isinstance(exponent, int) else 0)
    return Uncertain(name, float(figure) * factor, half * factor)
