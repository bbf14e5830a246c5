"""Facts from the description of a table, computed once per table: figures, units, pairs of ends, values."""

from functools import cache
from typing import NamedTuple

from app.catalogue.agreement import value_columns
from app.catalogue.tables import Adjustment, Row, Statement

NUMERIC = ("figure as published", "number", "whole number")
BELOW_ZERO = frozenset({"temperature_c", "bb_drop_mm", "preload_turns", "preload_min_mm", "preload_max_mm", "order",
                        "offset"})  # fmt: skip
"""May be negative: a coil may be mounted loose, which is a preload below zero."""
TAKES_AWAY = (Adjustment, "value")
"""A negative amount takes away."""
PLAIN_PAIRS = (
    ("model_year_from", "model_year_to"), ("travel_from_mm", "travel_to_mm"), ("travel_min_mm", "travel_max_mm"),
    ("produced_from", "produced_to"), ("rider_mass_from", "rider_mass_to"), ("preload_min_mm", "preload_max_mm"),
)  # fmt: skip

LIMITED = (
    ("min", "value", "max"), ("level_min_mm", "level_mm", "level_max_mm"),
    ("pressure_min", "pressure", "pressure_max"), ("mass_min_g", "mass_g", "mass_max_g"),
    ("level_limit_min_mm", "", "level_limit_max_mm"), ("sag_min_percent", "sag_percent", "sag_max_percent"),
    ("rebound_clicks_min", "rebound_clicks", "rebound_clicks_max"),
    ("compression_clicks_min", "compression_clicks", "compression_clicks_max"),
    ("preload_turns_min", "preload_turns", "preload_turns_max"),
)  # fmt: skip

VOLUMES = ("value", "min", "max")
MASSES = ("mass_g", "mass_min_g", "mass_max_g")
LEVELS = ("level_mm", "level_min_mm", "level_max_mm", "level_limit_min_mm", "level_limit_max_mm")
"""The amounts of a fill."""


class UnitFigures(NamedTuple):
    """A unit column, its kind and its figures."""

    unit: str
    kind: str
    figures: tuple[str, ...]


class Ends(NamedTuple):
    """Columns whose values must be in this order, as far as they are given."""

    low: str | None
    value: str | None
    high: str | None


@cache
def signed(table: type[Row]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The number columns that must be above zero, and those that must not be below it."""
    above: list[str] = []
    not_below: list[str] = []
    for name, column in table.columns().items():
        kind = column.kind.items or column.kind
        if kind.name in NUMERIC and name not in BELOW_ZERO and (table, name) != TAKES_AWAY:
            (above if column.positive else not_below).append(name)
    return tuple(above), tuple(not_below)


@cache
def measured(table: type[Row]) -> tuple[UnitFigures, ...]:
    """The unit columns of a table with their figures."""
    columns = table.columns()
    return tuple(
        UnitFigures(
            name,
            column.measures,
            tuple(other for other, each in columns.items() if each.unit_column == name),
        )
        for name, column in columns.items()
        if column.measures is not None and column.unit_column is None
    )


@cache
def unit_columns(table: type[Row]) -> tuple[str, ...]:
    """The unit columns of a table."""
    return tuple(each.unit for each in measured(table))


@cache
def measures(table: type[Row]) -> tuple[str, ...]:
    """The unit columns of a table and their figures."""
    return tuple(name for each in measured(table) for name in (each.unit, *each.figures))


@cache
def spans(table: type[Row]) -> tuple[tuple[str, str], ...]:
    """The from/to and least/greatest pairs of a table."""
    names = table.columns()
    return tuple(pair for pair in PLAIN_PAIRS if pair[0] in names)


@cache
def limits(table: type[Row]) -> tuple[Ends, ...]:
    """The figures of a table that have their own limits."""
    names = set(table.columns())
    found = []
    for low, value, high in LIMITED:
        if low in names:
            found.append(Ends(low, value if value in names else None, high))
    return tuple(found)


@cache
def said(table: type[Statement]) -> tuple[str, ...]:
    """The value columns of a statement that carry information alone: units and required columns do not count."""
    columns = table.columns()
    units = {each.unit for each in measured(table)}
    return tuple(name for name in value_columns(table) if name not in units and not columns[name].required)


@cache
def year_columns(table: type[Row]) -> tuple[str, ...]:
    """The columns that hold a model year."""
    return tuple(name for name, column in table.columns().items() if column.unit == "year")
