"""The explanation of a computed value: assumptions, formula and validity."""

from decimal import Decimal
from typing import NotRequired

from typing_extensions import TypedDict

from app.physics.band import Uncertain
from app.units.convert import half_last_digit
from app.units.quantity import Quantity


class Assumption(TypedDict):
    """An assumption: a figure in `value`, a number of things in `count`, or words in `assumed`, if it has one of them.

    `text` says where it comes from.
    """

    name: str
    value: NotRequired[Quantity]
    count: NotRequired[int]
    assumed: NotRequired[str]
    text: str


class Formula(TypedDict):
    """A formula in words or symbols, its source, and its validity."""

    text: str
    source: str
    validity: str


def as_published(name: str, figure: Decimal, factor: float) -> Uncertain:
    """A published figure as an SI input, uncertain by half a unit of its last digit; `factor` converts it to SI."""
    return Uncertain(name, float(figure) * factor, float(half_last_digit(figure)) * factor)
