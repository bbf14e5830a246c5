"""The geometry of an air spring, as the catalogue states it or from three gauge readings.

A missing size is named, never assumed. Lengths in m, volumes in m³.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NamedTuple

from app.catalogue.tables import Fit, Spacer, Spring, SpringChamber
from app.physics.air_spring import AirSpring, disc_area_m2
from app.physics.band import SPREADS, Spreads
from app.physics.readings import GaugeReadings, spring_from_readings


@dataclass(frozen=True, slots=True)
class SpringGeometry:
    """A spring that can be computed: with its spacers fitted, and how well its sizes are known.

    `statements` are the readings it was found from, None if its sizes come from the catalogue.
    """

    air: AirSpring
    spreads: Spreads
    known: str
    statements: tuple[str, ...] | None = None


class GaugeReading(NamedTuple):
    """A gauge reading on a fork without a rider; `id` of the statement, or None for the user's own."""

    travel_m: float
    gauge_pa: float
    id: str | None = None


class Triple(NamedTuple):
    """Three gauge readings in the order they were taken, and their statements."""

    readings: GaugeReadings
    statements: tuple[str, ...]


def not_modelled(spring: Spring, chambers: Iterable[SpringChamber]) -> str | None:
    """Why a spring of this construction cannot be computed, or None."""
    if spring.negative in ("coil", "none"):
        how = {"coil": "a coil", "none": "absent"}[spring.negative]
        return f"the negative spring is {how}: only negative chambers filled with air are computed"
    if any(each.chamber == "second positive" for each in chambers):
        return "the spring has a second positive chamber, and only springs with one are computed"
    return None


def missing(spring: Spring, fit: Fit) -> list[str]:
    """The sizes, in words, that are missing in the catalogue to compute this spring."""
    wanted = {
        "how the negative chamber is filled": spring.negative,
        "the bore": spring.bore_mm,
        "the shaft diameter": spring.shaft_diameter_mm,
        "the positive chamber's volume at full travel": spring.end_volume_ml,
        "the negative chamber's volume at full extension": spring.negative_volume_ml,
    }
    if spring.negative != "own valve":
        wanted["the travel at which the port connects the chambers"] = spring.port_travel_mm
    lacking = [words for words, value in wanted.items() if value is None]
    if not lacking and spring.travel_set_by == "travel spacer" and fit.travel_spacers != 0:
        lacking = ["the volumes with this travel's travel spacers (they are stated without any)"]
    return lacking


def stated(spring: Spring, fit: Fit, spacer: Spacer | None, spacers: int) -> SpringGeometry:
    """The spring as the catalogue states it. Nothing may be `missing`. ValueError for a spring that cannot exist."""
    if spring.bore_mm is None or spring.shaft_diameter_mm is None:
        raise ValueError("Bore and shaft diameter must be known.")
    if spring.end_volume_ml is None or spring.negative_volume_ml is None:
        raise ValueError("Both volumes must be known.")
    known = spring.geometry_basis or "estimated"
    air = AirSpring(
        bore_area_m2=disc_area_m2(spring.bore_mm / 1000),
        shaft_area_m2=disc_area_m2(spring.shaft_diameter_mm / 1000),
        travel_m=fit.travel_mm / 1000,
        end_volume_m3=_m3(spring.end_volume_ml),
        negative_volume_m3=_m3(spring.negative_volume_ml),
        port_travel_m=_port_m(spring),
        spacer_volume_m3=spacer_volume_m3(spacer),
        spacers=spacers,
    )
    return SpringGeometry(air, SPREADS[known], known)


def measured(
    triple: Triple, spring: Spring, fit: Fit, spacer: Spacer | None, spacers: int, ambient_pa: float
) -> SpringGeometry:
    """The spring found from three gauge readings, taken with these spacers fitted. Bore, shaft and port must be known.

    ValueError if the readings cannot belong to such a spring.
    """
    if spring.bore_mm is None or spring.shaft_diameter_mm is None or spring.port_travel_mm is None:
        raise ValueError("Three gauge readings find the volumes only if bore, shaft and port are known.")
    air = spring_from_readings(
        triple.readings,
        disc_area_m2(spring.bore_mm / 1000),
        disc_area_m2(spring.shaft_diameter_mm / 1000),
        fit.travel_mm / 1000,
        float(spring.port_travel_mm) / 1000,
        ambient_pa,
    )
    volume = spacer_volume_m3(spacer)
    if volume is not None:
        air = replace(air, end_volume_m3=air.end_volume_m3 + spacers * volume, spacer_volume_m3=volume, spacers=spacers)
    return SpringGeometry(air, SPREADS["measured"], "measured", triple.statements)


def triple_of(readings: Sequence[GaugeReading]) -> Triple | None:
    """The three gauge readings among these: two at full extension, the lower one taken after cycling, and one
    held compressed. None unless there are just these three.
    """
    extended = sorted((each for each in readings if each.travel_m == 0), key=lambda each: -each.gauge_pa)
    compressed = [each for each in readings if each.travel_m > 0]
    if len(extended) != 2 or len(compressed) != 1:
        return None
    filled, cycled = extended
    taken = (filled, cycled, compressed[0])
    return Triple(
        GaugeReadings(filled.gauge_pa, cycled.gauge_pa, compressed[0].gauge_pa, compressed[0].travel_m),
        tuple(each.id for each in taken if each.id is not None),
    )


def _port_m(spring: Spring) -> float | None:
    if spring.negative == "own valve":
        return None
    if spring.port_travel_mm is None:
        raise ValueError("The port must be known.")
    return float(spring.port_travel_mm) / 1000


def spacer_volume_m3(spacer: Spacer | None) -> float | None:
    """Volume of one volume spacer, or None if it is unknown."""
    return None if spacer is None or spacer.volume_ml is None else _m3(spacer.volume_ml)


def _m3(volume_ml: Decimal) -> float:
    return float(volume_ml) * 1e-6
