"""A guide's pressure against the air spring it is for: the sag it gives, all assumptions in its favour."""

import math
from collections.abc import Iterator
from datetime import date
from functools import lru_cache
from typing import NamedTuple

from app.catalogue.tables import Fit, Guide, Spring
from app.physics.air_chambers import AirSpring, disc_area_m2
from app.physics.air_spring import coefficient_m2
from app.physics.load import BIKE_KG, FRONT_SHARE, FRONT_SHARE_HALF_WIDTH, UNSPRUNG_FRONT_KG, front_load_n
from app.rules.checks.envelope import FORM
from app.rules.family import Family
from app.rules.registry import Hit, edit, rule

AMBIENT_PA = 101_325.0  # ISO 2533, sea level
LEAST_SAG, MOST_SAG = 0.10, 0.40
TOLERANCE = 0.15  # of the gauge pressure: friction, gauge and volumes


class Carried(NamedTuple):
    """What turns a load on a filled spring into a pressure: c(x) at the most and the least sag, and As*pa."""

    at_most_sag_m2: float
    at_least_sag_m2: float
    shaft_n: float


@lru_cache(maxsize=2048)
def _carried(geometry: tuple[float, ...], travel_mm: float, volume_ml: float | None, spacers: int) -> Carried | None:
    """`geometry` is bore and shaft in mm, end and negative volume in mL, port in mm; None where none such can be."""
    bore, shaft, end, negative, port = geometry
    try:
        spring = AirSpring(
            disc_area_m2(bore / 1000), disc_area_m2(shaft / 1000), travel_mm / 1000, end / 1e6, negative / 1e6,
            port / 1000, None if volume_ml is None else volume_ml / 1e6, spacers,
        )  # fmt: skip
        most, least = (coefficient_m2(spring, sag * travel_mm / 1000) for sag in (MOST_SAG, LEAST_SAG))
    except ValueError:
        return None
    return Carried(most, least, spring.shaft_area_m2 * AMBIENT_PA) if most > 0 and least > 0 else None


@lru_cache(maxsize=2048)
def _load_n(rider_kg: float, share: float) -> float | None:
    """The load of a rider on the fork; None where nothing is left of it."""
    try:
        return front_load_n(rider_kg, BIKE_KG, share, UNSPRUNG_FRONT_KG, math.radians(66))
    except ValueError:
        return None


def _pressures_kpa(carried: Carried, lightest: float, heaviest: float) -> tuple[float, float] | None:
    """The least and the greatest gauge pressure that can give 40 to 10 % sag.

    The lightest rider with the lightest front wheel, the heaviest with the heaviest: P0 = (F + As*pa)/c(sag)
    (app.physics.air_spring.pressure_for_sag_abs_pa).
    """
    light = _load_n(lightest, FRONT_SHARE - FRONT_SHARE_HALF_WIDTH)
    heavy = _load_n(heaviest, FRONT_SHARE + FRONT_SHARE_HALF_WIDTH)
    if light is None or heavy is None:
        return None
    least = (light + carried.shaft_n) / carried.at_most_sag_m2 - AMBIENT_PA
    most = (heavy + carried.shaft_n) / carried.at_least_sag_m2 - AMBIENT_PA
    return least / 1000 * (1 - TOLERANCE), most / 1000 * (1 + TOLERANCE)


def _geometry(spring: Spring) -> tuple[float, ...] | None:
    """Bore, shaft, end volume, negative volume, port; None where one is not known or the negative has no port."""
    if spring.negative != "port":
        return None
    given = (
        spring.bore_mm, spring.shaft_diameter_mm, spring.end_volume_ml, spring.negative_volume_ml,
        spring.port_travel_mm,
    )  # fmt: skip
    return None if None in given else tuple(float(each) for each in given if each is not None)


@rule(
    "guide-sag-impossible",
    shape="family",
    severity="warn",
    tables=(Guide,),
    beside=(Fit,),
    silenced_by=(*FORM, "pressure-implausible", "rider-mass-implausible", "unit-slip", "digit-slip",
                 "guide-pressure-not-rising", "guide-pressure-above-limit", "guide-line-off"),
    passes=edit("guides", "guide-light", chassis="fork-a", spring="spring-140", chamber="positive",
                rider_mass_from="30", rider_mass_to="40", mass_unit="kg", pressure="85", pressure_unit="psi",
                source="manual-a", page="12"),
    fails=edit("guides", "guide-light", chassis="fork-a", spring="spring-140", chamber="positive",
               rider_mass_from="30", rider_mass_to="40", mass_unit="kg", pressure="86", pressure_unit="psi",
               source="manual-a", page="12"),
)  # fmt: skip
def guide_sag_impossible(family: Family, today: date) -> Iterator[Hit]:
    """A guide's pressure gives its rider less than 10 or more than 40 percent sag in every spring it can be for.

    Computed for the lightest and the heaviest rider of the line with every assumption in its favour (app.physics).

    Mend: compare pressure, masses and their units with the page; compare the volumes of the spring.
    """
    filled: dict[str, Carried | None] = {}
    for row in family.of(Guide):
        pressure, lightest, heaviest = family.guide_figures[row.id]
        if pressure is None or lightest is None or heaviest is None or row.chamber != "positive":
            continue
        bounds = [_bounds(family, fit, spring, lightest, heaviest, filled) for fit, spring in family.air_fits_of(row)]
        known = [each for each in bounds if each is not None]
        if known and len(known) == len(bounds) and not any(low <= pressure <= high for low, high in known):
            low, high = min(each[0] for each in known), max(each[1] for each in known)
            yield Hit(
                row, "pressure", f"{pressure:.0f} kPa; between {low:.0f} and {high:.0f} kPa could give 10 to 40 % sag"
            )


def _bounds(
    family: Family, fit: Fit, spring: Spring, lightest: float, heaviest: float, filled: dict[str, Carried | None]
) -> tuple[float, float] | None:
    """The pressures that a fit bears for riders of that mass; `filled` keeps what is known of each fit."""
    if fit.id not in filled:
        filled[fit.id] = _filled(family, fit, spring)
    known = filled[fit.id]
    return None if known is None else _pressures_kpa(known, lightest, heaviest)


def _filled(family: Family, fit: Fit, spring: Spring) -> Carried | None:
    geometry = _geometry(spring)
    if geometry is None:
        return None
    spacer = family.spacers.get(fit.spacer or "")
    volume = None if spacer is None or spacer.volume_ml is None else float(spacer.volume_ml)
    return _carried(geometry, fit.travel_mm, volume, 0 if volume is None else fit.spacers_fitted or 0)
