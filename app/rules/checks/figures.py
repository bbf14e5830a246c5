"""Form of figures: signs, units of the right kind, limits in order. One row at a time."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from app.catalogue.agreement import unit_of
from app.catalogue.tables import TABLES, Adjustment, is_row_of
from app.rules.bands import ADJUSTED
from app.rules.columns import limits, measured, measures, signed, spans, unit_columns, year_columns
from app.rules.registry import Violation, edit, rule
from app.rules.view import RowView
from app.units.table import find, units_of

FIRST_YEAR = 1960  # no telescopic bicycle fork with a spec sheet is older; common practice, no source
YEARS_AHEAD = 3
COUNTS = frozenset(target for target, (kind, _, _) in ADJUSTED.items() if not kind)  # they have no unit


@rule(
    "figure-not-positive",
    shape="row",
    tables=[table for table in TABLES.values() if signed(table)[0]],
    reads=lambda table: signed(table)[0],
    passes=edit("fills", "fill-spring-leg-old", value="9.6"),
    fails=edit("fills", "fill-spring-leg-old", value="0"),
)
def figure_not_positive(view: RowView, today: date) -> Iterator[Violation]:
    """A figure that must be above zero is zero or less.

    A zero length, pressure, torque or count is usually a cell that should be empty. A minus sign is usually a typing
    slip.

    Fix: enter the published figure, or leave the cell empty if the source gives none.
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

    A fork cannot have fewer than no spacers. The minus sign is usually a dash that was copied with the figure.

    Fix: enter the published figure without the sign, or leave the cell empty.
    """
    for name in signed(view.row.model)[1]:
        value = getattr(view.row, name)
        if value is not None and value < 0:
            yield Violation(view.row, name, f"{name} cannot be below zero")


def _unit_faults(view: RowView) -> Iterator[tuple[str, str, str, bool]]:
    """Unit columns with a spelling of no unit of their kind: column, spelling, kind, whether it is of another kind."""
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
    """The unit of a figure is not one the catalogue knows.

    A figure that cannot be converted cannot be compared with any other, so no other rule could check it.

    Fix: check the unit against the page; use one of these spellings or another of /v1/units.
    """
    for column, spelling, kind, of_another_kind in _unit_faults(view):
        if not of_another_kind:
            known = ", ".join(each.name for each in units_of(kind))
            yield Violation(view.row, column, f"“{spelling[:24]}” is not a known unit of {kind}; these are: {known}")


@rule(
    "unit-of-another-kind",
    shape="row",
    tables=MEASURING,
    reads=unit_columns,
    passes=edit("torques", "torque-cap", unit="N·m"),
    fails=edit("torques", "torque-cap", unit="J"),
)
def unit_of_another_kind(view: RowView, today: date) -> Iterator[Violation]:
    """The unit measures something other than what the column holds.

    Torque is not energy, gauge pressure is not absolute pressure, and mass is not force. The column or the unit is
    wrong.

    Fix: enter the unit the source gives for this figure; check that the figure is in the right column.
    """
    for column, spelling, kind, of_another_kind in _unit_faults(view):
        if of_another_kind:
            yield Violation(view.row, column, f"{spelling} is a unit of {find(spelling)[0].kind}, not of {kind}")


@rule(
    "unit-missing",
    shape="row",
    tables=MEASURING,
    reads=lambda table: (*measures(table), "target") if table is Adjustment else measures(table),
    passes=edit("torques", "torque-cap", unit="N·m"),
    fails=edit("torques", "torque-cap", unit=""),
)
def unit_missing(view: RowView, today: date) -> Iterator[Violation]:
    """A figure has no unit.

    72 may be psi or kPa, and 6 may be N·m or in·lbf. Without its unit a figure is useless.

    Fix: enter the unit that the source prints with the figure.
    """
    if is_row_of(view.row, Adjustment) and view.row.target in COUNTS:
        return
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
    """A unit is given without a figure.

    The figure was probably lost on the way, so the row now says less than its source.

    Fix: enter the figure, or clear the unit.
    """
    for each in measured(view.row.model):
        if getattr(view.row, each.unit) is not None and all(getattr(view.row, name) is None for name in each.figures):
            yield Violation(view.row, each.unit, f"{each.unit} is given without a figure")


@rule(
    "limits-crossed",
    shape="row",
    tables=[table for table in TABLES.values() if limits(table)],
    reads=lambda table: tuple(name for ends in limits(table) for name in ends if name is not None),
    passes=edit("torques", "torque-foot-spring", value="7.5"),
    fails=edit("torques", "torque-foot-spring", value="7.6"),
)
def limits_crossed(view: RowView, today: date) -> Iterator[Violation]:
    """A figure is outside the limits printed with it, or the limits are swapped.

    Every source prints minimum, nominal and maximum in rising order. Two cells were swapped, or one was misread.

    Fix: check the three figures against the page; the smallest goes into the min column, the largest into the max
    column.
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
    """The start of a range comes after its end.

    No year lies between 2026 and 2025, so the row would never apply. The two cells were probably swapped.

    Fix: check both against the page; the earlier year, shorter travel or lighter mass goes into the first column.
    """
    for first, last in spans(view.row.model):
        low, high = getattr(view.row, first), getattr(view.row, last)
        if low is None or high is None:
            continue
        reversed_ = low > high
        if first == "rider_mass_from":
            reversed_ = low >= high  # half-open: 70 to 70 applies to no rider
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
    """A model year is before the first forks of this kind, or more than three years ahead.

    202 or 20224 has a digit missing or doubled. The row would never be found.

    Fix: enter the model year with its four digits.
    """
    latest = today.year + YEARS_AHEAD
    for name in year_columns(view.row.model):
        year = getattr(view.row, name)
        if year is not None and not FIRST_YEAR <= year <= latest:
            yield Violation(view.row, name, f"{name} {year} is not between {FIRST_YEAR} and {latest}")
