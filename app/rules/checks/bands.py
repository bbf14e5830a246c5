"""Physics and practice: figures that no fork of the trade has, after the bands of app.rules.bands."""

from collections.abc import Iterator
from datetime import date

from app.catalogue.tables import Fastener, Fill, Fit, Guide, Limit, Row, Spring, Torque, is_row_of
from app.rules.bands import (
    AXLE_TO_CROWN_LESS_TRAVEL_MM,
    FILL,
    LEVEL_MM,
    LIMITS,
    PRESSURE_KPA,
    PRESSURE_NEGATIVE_KPA,
    RIDER_KG,
    figure,
    torque_band,
)
from app.rules.checks.envelope import FORM
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule
from app.rules.view import RowView


def _a(name: str) -> str:
    return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"


@rule(
    "torque-outside-band",
    shape="family",
    tables=(Torque,),
    beside=(Fastener,),
    silenced_by=(*FORM, "fastener-elsewhere"),
    passes=edit("torques", "torque-cap", value="60", confirmed="true"),
    fails=edit("torques", "torque-cap", value="60.5"),
)
def torque_outside_band(family: Family, today: date) -> Iterator[Violation]:
    """A torque lies far outside what fasteners of that position and kind take on any fork.

    A unit confused or a digit slipped strips the thread, or leaves a bolt to fall out. The bands are common practice.

    Mend: compare figure, unit and fastener with the page.
    """
    for row in family.of(Torque):
        fastener = family.fasteners.get(row.fastener)
        if fastener is None or row.unit is None:
            continue
        band = torque_band(fastener.position, fastener.kind)
        for name in ("value", "min", "max"):
            torque = figure(getattr(row, name), row.unit, "torque", "N·m")
            if torque is not None and not band.holds(torque):
                yield Violation(
                    row, name, f"{torque:.3g} N·m; {_a(fastener.position)} takes {band.low:g} to {band.high:g} N·m"
                )
                break


@rule(
    "fill-outside-band",
    shape="row",
    tables=(Fill,),
    silenced_by=FORM,
    reads=("chamber", "value", "min", "max", "unit", "level_mm", "level_min_mm", "level_max_mm"),
    passes=edit("fills", "fill-damper", level_mm="", level_min_mm="", level_max_mm="", value="500", unit="mL"),
    fails=edit("fills", "fill-damper", level_mm="", level_min_mm="", level_max_mm="", value="501", unit="mL"),
)
def fill_outside_band(view: RowView, today: date) -> Iterator[Violation]:
    """An oil volume or level lies far outside what that chamber takes on any fork.

    Too much oil locks or bursts a fork, too little runs it dry. The bands are common practice.

    Mend: compare figure, unit and chamber with the page.
    """
    row = view.row
    assert is_row_of(row, Fill)
    band = FILL[row.chamber]
    for name in ("value", "min", "max"):
        volume = figure(getattr(row, name), row.unit, "volume", "mL")
        if volume is not None and not band.holds(volume):
            yield Violation(row, name, f"{volume:.3g} mL; {row.chamber} takes {band.low:g} to {band.high:g} mL")
            return
    for name in ("level_mm", "level_min_mm", "level_max_mm"):
        level = getattr(row, name)
        if level is not None and not LEVEL_MM.holds(level):
            yield Violation(row, name, f"{level} mm; levels are {LEVEL_MM.low:g} to {LEVEL_MM.high:g} mm")
            return


def _pressure_columns(table: type[Row]) -> tuple[str, ...]:
    if table is Guide:
        return ("chamber", "pressure", "pressure_min", "pressure_max", "pressure_unit")
    return ("pressure_limit", "pressure_unit")


@rule(
    "pressure-implausible",
    shape="row",
    tables=(Guide, Fit, Spring),
    silenced_by=FORM,
    reads=_pressure_columns,
    passes=edit("springs", "spring-140", pressure_limit="348"),
    fails=edit("springs", "spring-140", pressure_limit="349"),
)
def pressure_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """A start pressure or fill limit lies far outside what a shock pump is used for.

    72 bar for 72 psi bursts the spring, 5 psi for 5 bar lets the fork bottom out. The band is common practice.

    Mend: compare figure and unit with the page.
    """
    row = view.row
    if row["pressure_unit"] is None:
        return
    band = PRESSURE_NEGATIVE_KPA if getattr(row, "chamber", None) == "negative" else PRESSURE_KPA
    names = ("pressure", "pressure_min", "pressure_max") if is_row_of(row, Guide) else ("pressure_limit",)
    for name in names:
        pressure = figure(getattr(row, name), row["pressure_unit"], "pressure", "kPa")
        if pressure is not None and not band.holds(pressure):
            yield Violation(row, name, f"{pressure:.0f} kPa; springs are filled to {band.low:g} to {band.high:g} kPa")
            return


@rule(
    "rider-mass-implausible",
    shape="row",
    tables=(Guide,),
    silenced_by=FORM,
    reads=("rider_mass_from", "rider_mass_to", "mass_unit"),
    passes=edit("guides", "guide-new", chassis="fork-a", spring="spring-140", chamber="positive", rider_mass_from="190",
                rider_mass_to="200", mass_unit="kg", pressure="150", pressure_unit="psi", source="manual-a", page="12"),
    fails=edit("guides", "guide-new", chassis="fork-a", spring="spring-140", chamber="positive", rider_mass_from="190",
               rider_mass_to="201", mass_unit="kg", pressure="150", pressure_unit="psi", source="manual-a", page="12"),
)  # fmt: skip
def rider_mass_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """A guide is for riders lighter or heavier than any that forks are made for.

    A mass in pounds read as kilograms gives a rider twice the pressure. The band is common practice.

    Mend: compare the masses and their unit with the page; leave an open end empty.
    """
    row = view.row
    assert is_row_of(row, Guide)
    for name in ("rider_mass_from", "rider_mass_to"):
        mass = figure(getattr(row, name), row.mass_unit, "mass", "kg")
        if mass is not None and not RIDER_KG.holds(mass):
            yield Violation(row, name, f"{mass:.3g} kg is not within {RIDER_KG.low:g} to {RIDER_KG.high:g} kg")
            return


@rule(
    "limit-implausible",
    shape="row",
    tables=(Limit,),
    silenced_by=FORM,
    reads=("subject", "min", "max", "unit"),
    passes=edit("limits", "limit-rider", max="65"),
    fails=edit("limits", "limit-rider", max="64.9"),
)
def limit_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """A limit lies far outside what occurs: of rotors, tyres, steerers, bushing play or riders.

    A limit in the wrong unit permits what breaks or forbids what is meant. The bands are common practice.

    Mend: compare figure and unit with the page.
    """
    row = view.row
    assert is_row_of(row, Limit)
    known = LIMITS.get(row.subject)
    if known is None:
        return
    kind, unit, band = known
    for name in ("min", "max"):
        if getattr(row, name) is None or row.unit is None:
            continue
        value = figure(getattr(row, name), row.unit, kind, unit)
        if value is None:
            yield Violation(row, "unit", f"{row.subject} is measured as {kind}, which {row.unit} does not")
            return
        if not band.holds(value):
            yield Violation(row, name, f"{value:.4g} {unit} is not within {band.low:g} to {band.high:g} {unit}")
            return


@rule(
    "axle-to-crown-implausible",
    shape="row",
    tables=(Fit,),
    silenced_by=(*FORM, "travel-outside-chassis"),
    reads=("axle_to_crown_mm", "travel_mm"),
    passes=edit("fits", "fit-150-old", axle_to_crown_mm="610"),
    fails=edit("fits", "fit-150-old", axle_to_crown_mm="610.5"),
)
def axle_to_crown_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """Axle-to-crown less travel is not what a fork for any wheel has.

    Wheel, tyre and crown take up this length; a digit slipped, or the figure is in inches. The band is common practice.

    Mend: compare axle-to-crown and travel with the page.
    """
    row = view.row
    assert is_row_of(row, Fit)
    if row.axle_to_crown_mm is not None:
        rest = float(row.axle_to_crown_mm) - row.travel_mm
        if not AXLE_TO_CROWN_LESS_TRAVEL_MM.holds(rest):
            yield Violation(row, "axle_to_crown_mm", f"less the travel it is {rest:g} mm")
