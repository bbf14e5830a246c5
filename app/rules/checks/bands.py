"""Physics and practice: figures outside the bands of app.rules.bands, which no fork has."""

from collections.abc import Iterator
from datetime import date

from app.catalogue.tables import Fastener, Fill, Fit, Guide, Limit, Row, Spring, SpringChamber, Torque, is_row_of
from app.rules.bands import (
    AXLE_TO_CROWN_LESS_TRAVEL_MM,
    CHILD_KG,
    CHILD_LIMIT_KG,
    FILL,
    LEVEL_MM,
    LIMITS,
    PRESSURE_KPA,
    PRESSURE_NEGATIVE_KPA,
    RIDER_KG,
    Bounds,
    figure,
    torque_band,
)
from app.rules.checks.envelope import FORM
from app.rules.checks.fluids import DENSITY
from app.rules.columns import LEVELS, MASSES, VOLUMES
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule
from app.rules.threads import thread_of
from app.rules.view import RowView, cell


def _a(name: str) -> str:
    return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"


@rule(
    "torque-outside-band",
    shape="family",
    nature="implausible",
    tables=(Torque,),
    beside=(Fastener,),
    silenced_by=(*FORM, "fastener-elsewhere"),
    passes=edit("torques", "torque-cap", value="60", as_printed="Top cap: 60 N·m"),
    fails=edit("torques", "torque-cap", value="60.5"),
)
def torque_outside_band(family: Family, today: date) -> Iterator[Violation]:
    """A torque is far outside the range for fasteners of that position and kind on any fork.

    A wrong unit or digit strips the thread, or leaves a bolt loose enough to fall out. The ranges are common practice.

    Fix: check figure, unit and fastener against the page.
    """
    for row in family.of(Torque):
        fastener = family.fasteners.get(row.fastener)
        if fastener is None or row.unit is None:
            continue
        thread = None if fastener.thread is None else thread_of(fastener.thread)
        millimetres = None if thread is None else round(thread.diameter_m * 1000, 3)
        band = torque_band(fastener.position, fastener.kind, millimetres, fastener.material)
        first = family.is_not_last_pass(row)
        for name in ("value", "min", "max"):
            torque = figure(row[name], row.unit, "torque", "N·m")
            if torque is not None and not (torque <= band.high if first else band.holds(torque)):
                yield Violation(
                    row, name, f"{torque:.3g} N·m; {_a(fastener.position)} takes {band.low:g} to {band.high:g} N·m"
                )
                break


@rule(
    "fill-outside-band",
    shape="family",
    nature="implausible",
    tables=(Fill,),
    silenced_by=(*FORM, "oil-above-leg-volume"),
    passes=edit("fills", "fill-damper", level_mm="", level_min_mm="", level_max_mm="", value="500", unit="mL"),
    fails=edit("fills", "fill-damper", level_mm="", level_min_mm="", level_max_mm="", value="501", unit="mL"),
)
def fill_outside_band(family: Family, today: date) -> Iterator[Violation]:
    """An oil volume or level is far outside the range for that chamber on any fork.

    Too much oil locks or bursts a fork; too little runs it dry. The ranges are common practice.

    Fix: check figure, unit and chamber against the page.
    """
    for row in family.of(Fill):
        band = _fill_band(family, row)
        for name in (*VOLUMES, *MASSES, *LEVELS):
            is_level = name.startswith("level")
            given = row[name]
            found = figure(given, row.unit, "volume", "mL") if name in VOLUMES else given
            usual = LEVEL_MM if is_level else band if name in VOLUMES else _weighed(band)
            if found is not None and not usual.holds(found):
                unit = "mm" if is_level else "mL" if name in VOLUMES else "g"
                what = "levels are" if is_level else f"{row.chamber} takes"
                yield Violation(row, name, f"{found:.3g} {unit}; {what} {usual.low:g} to {usual.high:g} {unit}")
                break


def _weighed(band: Bounds) -> Bounds:
    """A range of volumes in mL as a range of masses in g, for any oil or grease."""
    return Bounds(band.low * float(DENSITY[0]), band.high * float(DENSITY[1]))


def _fill_band(family: Family, row: Fill) -> Bounds:
    """The range for a chamber. The stated room in a leg is its maximum; a leg shared with an open bath takes more."""
    band = FILL[row.chamber]
    if not row.chamber.endswith("lower leg"):
        return band
    room = family.chassis[row.chassis].leg_free_volume_ml
    if room is not None:
        return Bounds(band.low, max(band.high, float(room)))
    dampers = [family.dampers.get(name) for name in family.dampers_of(row)]
    bath = any(damper is not None and damper.kind == "open bath" for damper in dampers)
    fluid = family.fluids.get(row.fluid or "")
    thin = fluid is not None and fluid.kind == "damper oil"
    return Bounds(band.low, FILL["damper"].high) if bath and thin and row.chamber.startswith("damper") else band


def _pressure_columns(table: type[Row]) -> tuple[str, ...]:
    if table is Guide:
        return ("chamber", "pressure", "pressure_min", "pressure_max", "pressure_unit")
    return ("chamber", "maximum", "unit") if table is SpringChamber else ("pressure_limit", "pressure_unit")


@rule(
    "pressure-implausible",
    shape="row",
    nature="implausible",
    tables=(Guide, Fit, Spring, SpringChamber),
    silenced_by=FORM,
    reads=_pressure_columns,
    passes=edit("springs", "spring-140", pressure_limit="350"),
    fails=edit("springs", "spring-140", pressure_limit="351"),
)
def pressure_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """A start pressure or a maximum fill pressure is far outside the range of a shock pump.

    72 bar instead of 72 psi bursts the spring; 5 psi instead of 5 bar lets the fork bottom out. The range is common
    practice.

    Fix: check figure and unit against the page.
    """
    row = view.row
    *names, unit = (name for name in _pressure_columns(row.model) if name != "chamber")
    if row[unit] is None:
        return
    band = PRESSURE_NEGATIVE_KPA if getattr(row, "chamber", None) == "negative" else PRESSURE_KPA
    for name in names:
        pressure = figure(getattr(row, name), row[unit], "pressure", "kPa")
        if pressure is not None and not band.holds(pressure):
            text = f"{cell(row, name)} {row[unit]} is {pressure:.0f} kPa; "
            yield Violation(row, name, text + f"springs are filled to {band.low:g} to {band.high:g} kPa")
            return


@rule(
    "rider-mass-implausible",
    shape="family",
    nature="implausible",
    tables=(Guide,),
    silenced_by=FORM,
    passes=edit("guides", "guide-new", chassis="fork-b", spring="spring-140", chamber="positive", rider_mass_from="190",
                rider_mass_to="200", mass_unit="kg", pressure="150", pressure_unit="psi", source="manual-a", page="12"),
    fails=edit("guides", "guide-new", chassis="fork-b", spring="spring-140", chamber="positive", rider_mass_from="190",
               rider_mass_to="201", mass_unit="kg", pressure="150", pressure_unit="psi", source="manual-a", page="12"),
)  # fmt: skip
def rider_mass_implausible(family: Family, today: date) -> Iterator[Violation]:
    """A guide is for riders lighter or heavier than any fork is made for.

    If a mass in pounds is read as kilograms, the rider gets twice the pressure. The range is common practice.

    Fix: check the masses and their unit against the page; leave an open end empty.
    """
    for row in family.of(Guide):
        _, lightest, heaviest = family.guide_figures[row.id]
        for name, mass in (("rider_mass_from", lightest), ("rider_mass_to", heaviest)):
            if mass is None or RIDER_KG.holds(mass):
                continue
            band = CHILD_KG if family.is_small(row.chassis) else RIDER_KG
            if not band.holds(mass):
                yield Violation(row, name, f"{mass:.3g} kg is not within {band.low:g} to {band.high:g} kg")
                break


@rule(
    "limit-implausible",
    shape="family",
    nature="implausible",
    tables=(Limit,),
    silenced_by=FORM,
    passes=edit("limits", "limit-rotor", min="100"),
    fails=edit("limits", "limit-rotor", min="99"),
)
def limit_implausible(family: Family, today: date) -> Iterator[Violation]:
    """A limit for a rotor, tyre, steerer, bushing or rider is far outside what is found on any fork.

    A limit in the wrong unit allows parts that break, or forbids parts that fit. The ranges are common practice.

    Fix: check figure and unit against the page.
    """
    for row in family.of(Limit):
        if (known := LIMITS.get(row.subject)) is not None:
            kind, unit, band = known
            if row.subject == "rider mass" and family.is_small(row.chassis):
                band = CHILD_LIMIT_KG
            yield from _limit(row, kind, unit, band)


def _limit(row: Limit, kind: str, unit: str, band: Bounds) -> Iterator[Violation]:
    for name in ("min", "max"):
        if getattr(row, name) is None or row.unit is None:
            continue
        value = figure(getattr(row, name), row.unit, kind, unit)
        if value is None:
            text = f"{row.subject} is a {kind}, but {row.unit} is not a unit of {kind}"
            yield Violation(row, "unit", text, nature="impossible")
            return
        if not band.holds(value):
            yield Violation(row, name, f"{value:.4g} {unit} is not within {band.low:g} to {band.high:g} {unit}")
            return


@rule(
    "axle-to-crown-implausible",
    shape="row",
    nature="implausible",
    tables=(Fit,),
    silenced_by=(*FORM, "travel-outside-chassis"),
    reads=("axle_to_crown_mm", "travel_mm"),
    passes=edit("fits", "fit-150-old", axle_to_crown_mm="610"),
    fails=edit("fits", "fit-150-old", axle_to_crown_mm="610.5"),
)
def axle_to_crown_implausible(view: RowView, today: date) -> Iterator[Violation]:
    """Axle-to-crown minus travel gives a length that no fork has, for any wheel.

    Wheel, tyre and crown take up this length. A digit is wrong, or the figure is in inches. The range is common
    practice.

    Fix: check axle-to-crown and travel against the page.
    """
    row = view.row
    assert is_row_of(row, Fit)
    if row.axle_to_crown_mm is not None:
        rest = float(row.axle_to_crown_mm) - row.travel_mm
        if not AXLE_TO_CROWN_LESS_TRAVEL_MM.holds(rest):
            yield Violation(
                row,
                "axle_to_crown_mm",
                f"{row.axle_to_crown_mm} mm minus {row.travel_mm:g} mm of travel is {rest:g} mm; "
                f"forks have {AXLE_TO_CROWN_LESS_TRAVEL_MM.low:g} to {AXLE_TO_CROWN_LESS_TRAVEL_MM.high:g} mm",
            )
