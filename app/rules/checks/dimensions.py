"""Physics and practice: lengths, volumes, hours and readings that no fork has (app.rules.bands)."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date

from app.catalogue.tables import Chassis, Damper, Fit, Frame, Interval, Reading, Spacer, Spring, is_row_of
from app.rules.bands import DIMENSIONS, HOURS, READ_PRESSURE_KPA, RIDER_KG, TEMPERATURE_C, figure
from app.rules.checks.envelope import FORM
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule
from app.rules.view import RowView

LONGEST_YEARS = 15  # model years of one generation; common practice, no source
UNFITTED_MM = 30  # no chassis has a travel this far from every spring listed for it


@rule(
    "dimension-implausible",
    shape="row",
    nature="implausible",
    tables=(Chassis, Spring, Fit, Damper, Spacer, Frame),
    silenced_by=(*FORM, "shaft-wider-than-bore", "bore-wider-than-stanchion"),
    passes=edit("chassis", "fork-b", stanchion_bore_mm="", stanchion_diameter_mm="60"),
    fails=edit("chassis", "fork-b", stanchion_bore_mm="", stanchion_diameter_mm="61"),
)
def dimension_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """A length, volume or angle is outside the range of any bicycle fork, spring or frame.

    A decimal point moved, two digits were swapped, or the figure is in inches. Everything computed from it would be
    wrong. The ranges are common practice.

    Fix: check the figure against the page: lengths in mm, volumes in mL, angles in degrees.
    """
    for name, band in DIMENSIONS[view.row.table].items():
        value = getattr(view.row, name)
        if value is not None and not band.holds(float(value)):
            unit = view.row.model.columns()[name].unit or "clicks"
            text = f"{float(value):g} {unit} is not within {band.low:g} to {band.high:g} {unit}"
            yield Violation(view.row, name, text)
            return


@rule(
    "reading-implausible",
    shape="row",
    nature="implausible",
    tables=(Reading,),
    silenced_by=FORM,
    passes=edit("readings", "reading-full", rider_mass="200", mass_unit="kg"),
    fails=edit("readings", "reading-full", rider_mass="201", mass_unit="kg"),
)
def reading_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """A reading has a pressure, mass or temperature that no fork is measured at.

    Set-ups are computed from readings. One wrong decimal point gives a pressure ten times too high. The ranges are
    common practice.

    Fix: check the figure and its unit against your notes.
    """
    row = view.row
    assert is_row_of(row, Reading)
    read = (
        ("pressure", figure(row.pressure, row.pressure_unit, "pressure", "kPa"), READ_PRESSURE_KPA, "kPa"),
        ("rider_mass", figure(row.rider_mass, row.mass_unit, "mass", "kg"), RIDER_KG, "kg"),
        ("temperature_c", None if row.temperature_c is None else float(row.temperature_c), TEMPERATURE_C, "°C"),
    )
    for name, value, band, unit in read:
        if value is not None and not band.holds(value):
            yield Violation(row, name, f"{value:.4g} {unit} is not within {band.low:g} to {band.high:g} {unit}")
            return


@rule(
    "interval-implausible",
    shape="row",
    nature="implausible",
    tables=(Interval,),
    silenced_by=FORM,
    passes=edit(
        "intervals",
        "interval-b",
        chassis="fork-b",
        operation="lower-leg-service",
        hours="6",
        source="manual-a",
        page="19",
    ),
    fails=edit(
        "intervals",
        "interval-b",
        chassis="fork-b",
        operation="lower-leg-service",
        hours="5",
        source="manual-a",
        page="19",
    ),
)
def interval_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """A service is due after fewer or more hours than any maker asks for.

    A lost digit wastes the fork's working life or its owner's money. The ranges are common practice.

    Fix: check the hours against the page.
    """
    row = view.row
    assert is_row_of(row, Interval)
    band = HOURS.get(row.operation)
    if band is not None and row.hours is not None and not band.holds(row.hours):
        yield Violation(row, "hours", f"{row.operation}: {row.hours} h is not within {band.low:g} to {band.high:g} h")


@rule(
    "travel-range-unfitted",
    shape="family",
    severity="warn",
    tables=(Chassis,),
    beside=(Fit,),
    silenced_by=(*FORM, "dimension-implausible", "travel-outside-chassis"),
    passes=edit("chassis", "fork-a", travel_min_mm="110"),
    fails=edit("chassis", "fork-a", travel_min_mm="109"),
)
def travel_range_unfitted(family: Family, today: date) -> Iterator[Violation]:
    """The travel range of a chassis goes far below or above every travel that a spring is listed for.

    Two digits of the range are probably swapped (180 and 108). With a wrong range, wrong travels pass unnoticed.

    Fix: check the range against the page; add any fits that are missing.
    """
    travels: dict[str, list[float]] = defaultdict(list)
    for fit in family.of(Fit):
        travels[fit.chassis].append(fit.travel_mm)
    for id, listed in travels.items():
        chassis = family.chassis[id]
        for name, gap in (
            ("travel_min_mm", min(listed) - (chassis.travel_min_mm or min(listed))),
            ("travel_max_mm", (chassis.travel_max_mm or max(listed)) - max(listed)),
        ):
            if gap > UNFITTED_MM:
                yield Violation(chassis, name, f"the nearest spring listed is {gap:g} mm away")


@rule(
    "generation-long",
    shape="row",
    severity="warn",
    tables=(Chassis,),
    silenced_by=FORM,
    passes=edit("chassis", "fork-b", model_year_from="2011"),
    fails=edit("chassis", "fork-b", model_year_from="2010"),
)
def generation_long(view: RowView, today: date) -> Iterator[Violation]:
    """One generation of a fork is listed for more than fifteen model years.

    Makers replace a chassis sooner (common practice, no source). 2012 was probably typed for 2021, or the reverse.

    Fix: check the years against the page; enter two generations as two chassis.
    """
    row = view.row
    assert is_row_of(row, Chassis)
    if row.model_year_from is not None and row.model_year_to is not None:
        years = row.model_year_to - row.model_year_from + 1
        if years > LONGEST_YEARS:
            yield Violation(row, "model_year_from", f"{years} model years")
