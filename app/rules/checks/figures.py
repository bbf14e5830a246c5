"""Form of figures: a sign, a unit of the right kind, limits in their order. One row at a time."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from app.catalogue.agreement import unit_of
from app.catalogue.tables import TABLES
from app.rules.columns import limits, measured, measures, signed, spans, unit_columns, year_columns
from app.rules.registry import Violation, edit, rule
from app.rules.view import RowView
from app.units.table import find, units_of

FIRST_YEAR = 1960  # no telescopic bicycle fork with a spec sheet is older; common practice, no source
YEARS_AHEAD = 3


@rule(
    "figure-not-positive",
    shape="row",
    tables=[table for table in TABLES.values() if signed(table)[0]],
    reads=lambda table: signed(table)[0],
    passes=edit("fills", "fill-spring-leg-old", value="9.6"),
    fails=edit("fills", "fill-spring-leg-old", value="0"),
)
def figure_not_positive(view: RowView, today: date) -> Iterator[Violation]:
    """A figure that can only be above zero is zero or less.

    A length, pressure, torque or count of nothing is a cell that was meant to be empty, or a sign slipped in.

    Fix: write the published figure, or leave the cell empty where the source gives none.
    """
    for name in signed(view.row.model)[0]:
        value = getattr(view.row, name)
        if value is not None and (min(value) if type(value) is tuple else value) <= 0:
            yield Violation(view.row, name, f"{name} must be above zero")


@rule(
    "figure-negative",
    shape="row",
    tables=[table for table in TABLES.values() if signed(table)[1]],
    reads=lambda table: signed(table)[1],
    passes=edit("fits", "fit-150", spacers_fitted="0"),
    fails=edit("fits", "fit-150", spacers_fitted="-1"),
)
def figure_negative(view: RowView, today: date) -> Iterator[Violation]:
    """A count or measure that cannot be below zero is negative.

    A fork cannot carry fewer than no spacers; a minus sign is usually a dash that was copied with the figure.

    Fix: write the published figure without the sign, or leave the cell empty.
    """
    for name in signed(view.row.model)[1]:
        value = getattr(view.row, name)
        if value is not None and value < 0:
            yield Violation(view.row, name, f"{name} cannot be below zero")


def _unit_faults(view: RowView) -> Iterator[tuple[str, str, str, bool]]:
    """Unit columns whose spelling is of no unit of the kind: column, spelling, kind, whether it is of another kind."""
    for each in measured(view.row.model):
        spelling = getattr(view.row, each.unit)
        if spelling is not None and unit_of(each.kind, spelling) is None:
            yield each.unit, spelling, each.kind, bool(find(spelling))


MEASURING = [table for table in TABLES.values() if measured(table)]


@rule(
    "unit-unknown",
    shape="row",
    tables=MEASURING,
    reads=unit_columns,
    passes=edit("torques", "torque-cap", unit="Nm"),
    fails=edit("torques", "torque-cap", unit="Nmm?"),
)
def unit_unknown(view: RowView, today: date) -> Iterator[Violation]:
    """The unit of a figure is not a unit that is known here.

    A figure that cannot be converted cannot be compared with any other, so no other rule could protect it.

    Fix: compare the unit with the page; write it in one of these spellings or another of /v1/units.
    """
    for column, spelling, kind, of_another_kind in _unit_faults(view):
        if not of_another_kind:
            known = ", ".join(each.name for each in units_of(kind))
            yield Violation(
                view.row, column, f"“{spelling[:24]}” is not a unit of {kind} that is known here; these are: {known}"
            )


@rule(
    "unit-of-another-kind",
    shape="row",
    tables=MEASURING,
    reads=unit_columns,
    passes=edit("torques", "torque-cap", unit="N·m"),
    fails=edit("torques", "torque-cap", unit="J"),
)
def unit_of_another_kind(view: RowView, today: date) -> Iterator[Violation]:
    """The unit measures something else than the column holds.

    Torque is not energy, gauge pressure not absolute pressure, mass not force; a figure in such a unit is a slip of
    the column or of the unit.

    Fix: write the unit the source gives for this figure; check that the figure stands in the right column.
    """
    for column, spelling, kind, of_another_kind in _unit_faults(view):
        if of_another_kind:
            yield Violation(view.row, column, f"{spelling} is a unit of {find(spelling)[0].kind}, not of {kind}")


@rule(
    "unit-missing",
    shape="row",
    tables=MEASURING,
    reads=measures,
    passes=edit("torques", "torque-cap", unit="N·m"),
    fails=edit("torques", "torque-cap", unit=""),
)
def unit_missing(view: RowView, today: date) -> Iterator[Violation]:
    """A figure stands without its unit.

    72 may be psi or kPa, 6 may be N·m or in·lbf; a figure without a unit is not a fact.

    Fix: write the unit as the source prints it beside the figure.
    """
    for each in measured(view.row.model):
        if getattr(view.row, each.unit) is None:
            for name in each.figures:
                if getattr(view.row, name) is not None:
                    yield Violation(view.row, name, f"{name} has no {each.unit}")
                    break


@rule(
    "unit-without-figure",
    shape="row",
    severity="warn",
    tables=MEASURING,
    silenced_by=("statement-empty",),
    reads=measures,
    passes=edit("springs", "spring-coil", rate="9", rate_unit="N/mm"),
    fails=edit("springs", "spring-coil", rate=""),
)
def unit_without_figure(view: RowView, today: date) -> Iterator[Violation]:
    """A unit is given and no figure in it.

    The figure was probably lost on the way, and the row now says less than its source.

    Fix: write the figure, or empty the unit.
    """
    for each in measured(view.row.model):
        if getattr(view.row, each.unit) is not None and all(getattr(view.row, name) is None for name in each.figures):
            yield Violation(view.row, each.unit, f"{each.unit} is given but no figure in it")


@rule(
    "limits-crossed",
    shape="row",
    tables=[table for table in TABLES.values() if limits(table)],
    reads=lambda table: tuple(name for ends in limits(table) for name in ends if name is not None),
    passes=edit("torques", "torque-foot-spring", value="7.5"),
    fails=edit("torques", "torque-foot-spring", value="7.6"),
)
def limits_crossed(view: RowView, today: date) -> Iterator[Violation]:
    """A figure lies outside the limits printed beside it, or the limits are swapped.

    Least, nominal and greatest stand in this order in any source; otherwise two cells were exchanged or one misread.

    Fix: compare the three figures with the page; the least goes into the min column, the greatest into the max column.
    """
    for ends in limits(view.row.model):
        low, value, high = (None if name is None else getattr(view.row, name) for name in ends)
        if low is not None and high is not None and low > high:
            yield Violation(view.row, ends.low, f"{ends.low} {low} is above {ends.high} {high}")
        elif value is not None and ((low is not None and value < low) or (high is not None and value > high)):
            yield Violation(view.row, ends.value, f"{ends.value} {value} is outside {_range(low, high)}")


def _range(low: Any, high: Any) -> str:
    return f"{'…' if low is None else low} to {'…' if high is None else high}"


def _shown(end: str | float) -> str:
    return end if isinstance(end, str) else f"{end:g}"


@rule(
    "span-reversed",
    shape="row",
    tables=[table for table in TABLES.values() if spans(table)],
    reads=lambda table: tuple(name for pair in spans(table) for name in pair),
    passes=edit("frames", "frame-a", model_year_from="2025"),
    fails=edit("frames", "frame-a", model_year_from="2026"),
)
def span_reversed(view: RowView, today: date) -> Iterator[Violation]:
    """The first of two ends comes after the last.

    Nothing lies between 2026 and 2025, so the row would never hold; the two cells were probably exchanged.

    Fix: compare both with the page; the earlier year, shorter travel or lighter mass goes into the first column.
    """
    for first, last in spans(view.row.model):
        low, high = getattr(view.row, first), getattr(view.row, last)
        if low is None or high is None:
            continue
        reversed_ = low > high
        if first == "rider_mass_from":
            reversed_ = low >= high  # half-open: 70 to 70 holds for nobody
        elif first == "produced_from":
            reversed_ = low[: len(high)] > high  # 2024-05 lies within 2024
        if reversed_:
            yield Violation(view.row, first, f"{first} {_shown(low)} comes after {last} {_shown(high)}")


@rule(
    "year-implausible",
    shape="row",
    nature="implausible",
    tables=[table for table in TABLES.values() if year_columns(table)],
    silenced_by=("figure-not-positive",),
    reads=year_columns,
    passes=edit("frames", "frame-a", model_year_from="1960"),
    fails=edit("frames", "frame-a", model_year_from="1959"),
)
def year_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """A model year lies before the first such forks or more than three years ahead.

    A figure like 202 or 20224 is a digit lost or doubled, and would hold in no question.

    Fix: write the model year with its four digits.
    """
    latest = today.year + YEARS_AHEAD
    for name in year_columns(view.row.model):
        year = getattr(view.row, name)
        if year is not None and not FIRST_YEAR <= year <= latest:
            yield Violation(view.row, name, f"{name} {year} is not between {FIRST_YEAR} and {latest}")
