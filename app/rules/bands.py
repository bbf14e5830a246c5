"""Wide bands of what occurs on a bicycle fork at all: beyond them a figure is a slip. Common practice, no source.

Each band is wide enough for every fork of the trade; it is never an expected value. Torques in N·m, volumes in mL,
pressures in kPa gauge, masses in kg, lengths in mm.
"""

from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from app.catalogue.agreement import unit_of
from app.catalogue.tables import Row
from app.units.convert import linear
from app.units.table import unit


class Band(NamedTuple):
    """Least and greatest figure that occurs."""

    low: float
    high: float

    def holds(self, value: float) -> bool:
        """True within the band, its ends included."""
        return self.low <= value <= self.high


# A word of the position, then the kind of fastener; the first that matches counts.
TORQUE_BY_POSITION: tuple[tuple[str, Band], ...] = (
    ("spacer", Band(0.5, 9)),
    ("foot", Band(2, 25)),
    ("pinch", Band(1, 15)),
    ("axle", Band(3, 25)),
    ("brake", Band(4.5, 13)),
    ("crown", Band(2.5, 15)),
    ("knob", Band(0.2, 3)),
)
TORQUE_BY_KIND: dict[str, Band] = {
    "set screw": Band(0.2, 4),
    "valve core": Band(0.1, 1.5),
    "cap": Band(6, 60),
    "threaded seal head": Band(4, 60),
    "nut": Band(2, 60),
    "bolt": Band(1, 40),
}
# Fasteners that are smaller or softer than their position and kind let expect, in N·m.
SMALL_THREAD_MM = 18  # a cap on a thread up to this is that of a valve or an adjuster, not of a leg
SMALL_CAP = Band(0.2, 20)
SOFT = Band(0.2, 25)  # plastic, or aluminium on a thread up to M12
SMALL_BRAKE = Band(2.5, 9)  # caliper bolts of M5
SOFT_MATERIALS = ("plastic", "nylon", "polyamide", "composite", "resin", "pom", "acetal")
FILL: dict[str, Band] = {
    "spring-side lower leg": Band(1.5, 65),
    "damper-side lower leg": Band(1.5, 65),
    "above the air piston": Band(0.7, 15),
    "spring-side stanchion": Band(0.5, 300),
    "negative chamber": Band(0.2, 25),
    "damper": Band(20, 500),
    "foam ring": Band(0.4, 8),
}
LEVEL_MM = Band(20, 300)
PRESSURE_KPA = Band(100, 2414)  # 15 to 350 psi; 350 psi are 2,413.2 kPa
PRESSURE_NEGATIVE_KPA = Band(30, 2414)
RIDER_KG = Band(20, 200)
CHILD_KG = Band(8, 200)  # of a fork for small wheels
CHILD_LIMIT_KG = Band(20, 200)
LIMITS: dict[str, tuple[str, str, Band]] = {
    "rider mass": ("mass", "kg", Band(60, 250)),
    "tyre width": ("length", "mm", Band(25, 140)),
    "tyre diameter": ("length", "mm", Band(220, 850)),
    "rotor diameter": ("length", "mm", Band(100, 260)),
    "steerer above the crown": ("length", "mm", Band(30, 350)),
    "bushing play": ("length", "mm", Band(0.08, 1.5)),
    "stanchion height in the crown": ("length", "mm", Band(0, 320)),
}
AXLE_TO_CROWN_LESS_TRAVEL_MM = Band(210, 460)  # from 16-inch children's forks to long dual crown ones
READ_PRESSURE_KPA = Band(60, 5000)  # up to full travel
TEMPERATURE_C = Band(-40, 60)
HOURS: dict[str, Band] = {"lower-leg-service": Band(6, 240), "full-service": Band(15, 600)}
TRAVEL_MM = Band(20, 320)
VOLUME_ML = Band(4, 500)
DIMENSIONS: dict[str, dict[str, Band]] = {
    "chassis": {
        "stanchion_diameter_mm": Band(20, 60), "stanchion_bore_mm": Band(14, 56), "travel_min_mm": TRAVEL_MM,
        "travel_max_mm": TRAVEL_MM, "leg_free_volume_ml": Band(4, 400),
    },
    "springs": {
        "bore_mm": Band(14, 56), "shaft_diameter_mm": Band(5, 40), "end_volume_ml": VOLUME_ML,
        "negative_volume_ml": Band(1, 300), "port_travel_mm": Band(0, 60), "stroke_max_mm": TRAVEL_MM,
        "preload_min_mm": Band(-10, 40), "preload_max_mm": Band(0, 60),
    },
    "dampers": {
        "travel_max_mm": TRAVEL_MM, "rebound_clicks": Band(1, 60), "compression_clicks": Band(0, 60),
    },
    "spacers": {"volume_ml": Band(1.3, 40)},
    "frames": {
        "axle_to_crown_mm": Band(230, 700), "axle_to_crown_max_mm": Band(230, 700), "travel_min_mm": TRAVEL_MM,
        "travel_max_mm": TRAVEL_MM, "head_angle_deg": Band(55, 80), "seat_angle_deg": Band(60, 85),
        "wheelbase_mm": Band(600, 1500), "chainstay_mm": Band(220, 620), "reach_mm": Band(200, 620),
        "stack_mm": Band(280, 800), "bb_drop_mm": Band(-90, 100), "offset_mm": Band(20, 80),
        "tyre_front_mm": Band(15, 140), "tyre_rear_mm": Band(15, 140), "tyre_front_max_mm": Band(20, 140),
        "geometry_sag_mm": Band(0, 100),
    },
}  # fmt: skip


GREATEST = ("max", "value", "min")  # the greatest figure that a row states comes first


def first_known(
    row: Row, columns: tuple[str, ...], unit_column: str, kind: str, target: str
) -> tuple[str, float] | None:
    """The first of these figures of a row that is known, in the target unit, with its column."""
    fields = row.__dict__
    for name in columns:
        if fields[name] is not None and (found := figure(fields[name], fields[unit_column], kind, target)) is not None:
            return name, found
    return None


@lru_cache(maxsize=4096)
def torque_band(position: str, kind: str, thread_mm: float | None = None, material: str | None = None) -> Band:
    """The band of a fastener: of its size and material if they are unusual, else of its position, else of its kind."""
    soft = material is not None and any(word in material.lower() for word in SOFT_MATERIALS)
    if soft:
        return SOFT
    if kind == "cap" and thread_mm is not None and thread_mm <= SMALL_THREAD_MM:
        return SMALL_CAP
    if thread_mm is not None and thread_mm <= 12 and material is not None and "alumin" in material.lower():
        return SOFT
    if "brake" in position and thread_mm == 5:
        return SMALL_BRAKE
    for word, band in TORQUE_BY_POSITION:
        if word in position:
            return band
    return TORQUE_BY_KIND[kind]


@lru_cache(maxsize=16384)
def figure(value: Decimal | None, spelling: str | None, kind: str, target: str) -> float | None:
    """A figure in the target unit as a float, for comparing; None where it or its unit is not known."""
    if value is None or spelling is None or (start := unit_of(kind, spelling)) is None:
        return None
    factor, offset = linear(start, unit(start.kind, target))
    return float(Fraction(value) * factor + offset)
