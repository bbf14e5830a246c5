"""Derives the members of a statement's view from the table's description; they are listed nowhere else.

A figure with its limits and its unit is one Quantity, clicks and turns are a count with its limits, a reference to a
fastener, fluid or part is that thing, and everything else is the value itself. Text and pages show every member.
"""

import re
from collections.abc import Callable, Iterator
from decimal import Decimal
from functools import cache
from typing import Any, NamedTuple, get_args

from app.catalogue.columns import NUMBER_KIND, PUBLISHED_KIND, WHOLE_KIND, Column
from app.catalogue.tables import CLAIM, SCOPE, Fill, Guide, Statement, Torque
from app.questions.answers.views import figure
from app.units.preferences import Units
from app.units.quantity import Quantity
from app.units.table import Kind, find

_LIMIT = re.compile(r"(?:^|_)(min|max)(?=_|$)")
_UNIT_SUFFIXES = ("_mm", "_g", "_c", "_percent")
_FIGURE_KINDS = (PUBLISHED_KIND, NUMBER_KIND, WHOLE_KIND)
_SET_BY_A_MECHANIC = (Torque, Fill, Guide)
_KINDS = frozenset(get_args(Kind))


class FigureMember(NamedTuple):
    """A Quantity: the columns of its value and limits, and its unit, fixed or in a column.

    `kind` None is any kind; `is_set`: a mechanic sets it.
    """

    name: str
    value: str | None
    low: str | None
    high: str | None
    kind: Kind | None
    fixed_unit: str | None
    unit_column: str | None
    is_set: bool

    def unit(self, row: Statement) -> str | None:
        """The unit as the row states it."""
        return self.fixed_unit if self.unit_column is None else getattr(row, self.unit_column)

    def given(self, row: Statement) -> bool:
        """Whether the row gives a value or a limit."""
        return any(name is not None and getattr(row, name) is not None for name in (self.value, self.low, self.high))

    def measures(self, row: Statement) -> Kind | None:
        """The kind of quantity of the row's unit; None if the unit is missing, unknown or of another kind."""
        unit = self.unit(row)
        if unit is None:
            return None
        return next((each.kind for each in find(unit) if self.kind in (None, each.kind)), None)

    def quantity(self, row: Statement, units: Units) -> Quantity | None:
        """The figure in the chosen units; None if it is missing or its unit is missing or unknown."""
        if not self.given(row) or (kind := self.measures(row)) is None:
            return None
        unit = self.unit(row)
        return figure(row, kind, self.value, unit, units, minimum=self.low, maximum=self.high, is_set=self.is_set)


class ValueMember(NamedTuple):
    """A value as it is: text, a count, a list, a share, or the id of something else. `refers_to` is that table."""

    name: str
    refers_to: str | None

    def value(self, row: Statement) -> Any:
        """The value as JSON; None if it is missing."""
        found = getattr(row, self.name)
        if isinstance(found, Decimal):
            return float(found)
        return list(found) if isinstance(found, tuple) else found


@cache
def members(table: type[Statement]) -> tuple[FigureMember | ValueMember, ...]:
    """The members that a table's own columns become, in exchange order; scope and claim are shown apart from these."""
    columns = {
        name: column for name, column in table.columns().items() if name not in ("id", "chassis", *SCOPE, *CLAIM)
    }
    units = {column.unit_column for column in columns.values()}
    figures: dict[str, dict[str, str]] = {}
    order: dict[str, Callable[[], FigureMember | ValueMember]] = {}
    for name, column in columns.items():
        if name in units:
            continue
        stem = _stem(table, name, column)
        if stem is None:
            called = _LIMIT.sub("", name)
            order.setdefault(called, _value(called, column))
        else:
            limit = _LIMIT.search(name)
            figures.setdefault(stem, {})["value" if limit is None else limit[1]] = name
            order[stem] = _figure(stem, figures[stem], column, table in _SET_BY_A_MECHANIC)
    return tuple(made() for made in order.values())


def figure_members(table: type[Statement]) -> Iterator[FigureMember]:
    """The figures among the members of a table."""
    return (each for each in members(table) if isinstance(each, FigureMember))


def _value(name: str, column: Column) -> Callable[[], ValueMember]:
    return lambda: ValueMember(name, column.refers_to)


def _figure(stem: str, ends: dict[str, str], column: Column, is_set: bool) -> Callable[[], FigureMember]:
    kind: Kind | None = None if column.unit is None else find(column.unit)[0].kind
    if column.measures in _KINDS:
        kind = column.measures  # type: ignore[assignment]
    is_set = is_set and not stem.endswith("limit")
    return lambda: FigureMember(
        stem, ends.get("value"), ends.get("min"), ends.get("max"), kind, column.unit, column.unit_column, is_set
    )


def _stem(table: type[Statement], name: str, column: Column) -> str | None:
    """The name of the Quantity that a column belongs to; None for any other column.

    A column called only value, min or max is the figure of its table: named by what it measures, or if that can be
    anything, after the table.
    """
    if (column.unit is None and column.unit_column is None) or column.kind not in _FIGURE_KINDS:
        return None
    suffix = next((each for each in _UNIT_SUFFIXES if name.endswith(each)), "")
    stem = _LIMIT.sub("", name.removesuffix(suffix)).lstrip("_")
    if stem in ("", "value"):
        return column.measures if column.measures in _KINDS else table.table.removesuffix("s")
    return stem
