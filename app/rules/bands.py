"""Wide bands that cover every bicycle fork: a figure outside its band is a slip. Common practice, no source.

A band is never an expected value. Torques in N·m, volumes in mL, pressures in kPa gauge, masses in kg, lengths in mm.
"""

from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from app.catalogue.agreement import unit_of
from app.catalogue.tables import Row
from app.units.convert import linear
from app.units.table import unit


class Bounds(NamedTuple):
    """The lowest and highest plausible figure."""

    low: float
    high: float

    def holds(self, value: float) -> bool:
        """True within the band, including its ends."""
        return self.low <= value <= self.high


# A word of the position, then the kind of fastener; the first match counts.
TORQUE_BY_POSITION: tuple[tuple[str, Bounds], ...] = (
    ("spacer", Bounds(0.5, 9)),
    ("foot", Bounds(2, 25)),
    ("pinch", Bounds(1, 15)),
    ("axle", Bounds(3, 25)),
    ("brake", Bounds(4.5, 13)),
    ("crown", Bounds(2.5, 15)),
    ("knob", Bounds(0.2, 3)),
)
TORQUE_BY_KIND: dict[str, Bounds] = {
    "set screw": Bounds(0.2, 4),
    "valve core": Bounds(0.1, 1.5),
    "cap": Bounds(6, 60),
    "threaded seal head": Bounds(4, 60),
    "nut": Bounds(2, 60),
    "bolt": Bounds(1, 40),
}
# Fasteners that are smaller or softer than usual for their position and kind, in N·m.
SMALL_THREAD_MM = 18  # a cap on a thread up to this size closes a valve or an adjuster, not a leg
SMALL_CAP = Bounds(0.2, 20)
SOFT = Bounds(0.2, 25)  # plastic, or aluminium on a thread up to M12
SMALL_BRAKE = Bounds(2.5, 9)  # caliper bolts of M5
SOFT_MATERIALS = ("plastic", "nylon", "polyamide", "composite", "resin", "pom", "acetal")
FILL: dict[str, Bounds] = {
    "spring-side lower leg": Bounds(1.5, 65),
    "damper-side lower leg": Bounds(1.5, 65),
    "above the air piston": Bounds(0.7, 15),
    "spring-side stanchion": Bounds(0.5, 300),
    "negative chamber": Bounds(0.2, 25),
    "damper": Bounds(20, 500),
    "foam ring": Bounds(0.4, 8),
}
LEVEL_MM = Bounds(20, 300)
PRESSURE_KPA = Bounds(100, 2414)  # 15 to 350 psi; 350 psi is 2,413.2 kPa
PRESSURE_NEGATIVE_KPA = Bounds(30, 2414)
RIDER_KG = Bounds(20, 200)
CHILD_KG = Bounds(8, 200)  # a fork for small wheels
CHILD_LIMIT_KG = Bounds(20, 200)
LIMITS: dict[str, tuple[str, str, Bounds]] = {
    "rider mass": ("mass", "kg", Bounds(60, 250)),
    "tyre width": ("length", "mm", Bounds(25, 140)),
    "tyre diameter": ("length", "mm", Bounds(220, 850)),
    "rotor diameter": ("length", "mm", Bounds(100, 260)),
    "steerer above the crown": ("length", "mm", Bounds(30, 350)),
    "bushing play": ("length", "mm", Bounds(0.08, 1.5)),
    "stanchion height in the crown": ("length", "mm", Bounds(0, 320)),
}
AXLE_TO_CROWN_LESS_TRAVEL_MM = Bounds(210, 460)  # from 16-inch children's forks to long dual crown ones
READ_PRESSURE_KPA = Bounds(60, 5000)  # up to full travel
TEMPERATURE_C = Bounds(-40, 60)
HOURS: dict[str, Bounds] = {"lower-leg-service": Bounds(6, 240), "full-service": Bounds(15, 600)}
TRAVEL_MM = Bounds(20, 320)
VOLUME_ML = Bounds(4, 500)
TOLERANCE_MM = Bounds(0.05, 10)  # of a printed length
ADJUSTED: dict[str, tuple[str, str, Bounds]] = {  # how much a condition adds or takes away
    "pressure": ("pressure", "kPa", Bounds(3, 300)), "negative pressure": ("pressure", "kPa", Bounds(3, 300)),
    "sag": ("percent", "%", Bounds(0.5, 15)), "rebound clicks": ("", "clicks", Bounds(1, 12)),
    "compression clicks": ("", "clicks", Bounds(1, 12)), "preload turns": ("", "turns", Bounds(0.25, 12)),
}  # fmt: skip
DIMENSIONS: dict[str, dict[str, Bounds]] = {
    "chassis": {
        "stanchion_diameter_mm": Bounds(20, 60), "stanchion_bore_mm": Bounds(14, 56), "travel_min_mm": TRAVEL_MM,
        "travel_max_mm": TRAVEL_MM, "leg_free_volume_ml": Bounds(4, 400),
    },
    "springs": {
        "bore_mm": Bounds(14, 56), "shaft_diameter_mm": Bounds(5, 40), "shaft_length_mm": Bounds(50, 600),
        "length_tolerance_mm": TOLERANCE_MM, "end_volume_ml": VOLUME_ML,
        "negative_volume_ml": Bounds(1, 300), "port_travel_mm": Bounds(0, 60), "stroke_max_mm": TRAVEL_MM,
        "preload_min_mm": Bounds(-10, 40), "preload_max_mm": Bounds(0, 60),
    },
    "fits": {"axle_to_crown_tolerance_mm": TOLERANCE_MM},
    "dampers": {
        "travel_max_mm": TRAVEL_MM, "rebound_clicks": Bounds(1, 60), "compression_clicks": Bounds(0, 60),
    },
    "spacers": {"volume_ml": Bounds(1.3, 40)},
    "frames": {
        "axle_to_crown_mm": Bounds(230, 700), "axle_to_crown_max_mm": Bounds(230, 700), "travel_min_mm": TRAVEL_MM,
        "travel_max_mm": TRAVEL_MM, "head_angle_deg": Bounds(55, 80), "seat_angle_deg": Bounds(60, 85),
        "wheelbase_mm": Bounds(600, 1500), "chainstay_mm": Bounds(220, 620), "reach_mm": Bounds(200, 620),
        "stack_mm": Bounds(280, 800), "bb_drop_mm": Bounds(-90, 100), "offset_mm": Bounds(20, 80),
        "tyre_front_mm": Bounds(15, 140), "tyre_rear_mm": Bounds(15, 140), "tyre_front_max_mm": Bounds(20, 140),
        "geometry_sag_mm": Bounds(0, 100),
    },
}  # fmt: skip


GREATEST = ("max", "value", "min")  # the highest figure of a row comes first


def first_known(
    row: Row, columns: tuple[str, ...], unit_column: str, kind: str, target: str
) -> tuple[str, float] | None:
    """The first known figure of these columns of a row, in the target unit, with its column."""
    for name in columns:
        if (
            getattr(row, name) is not None
            and (found := figure(getattr(row, name), getattr(row, unit_column), kind, target)) is not None
        ):
            return name, found
    return None


@lru_cache(maxsize=4096)
def torque_band(position: str, kind: str, thread_mm: float | None = None, material: str | None = None) -> Bounds:
    """The band of a fastener: by size and material if they are unusual, else by position, else by kind."""
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
    """A figure in the target unit as a float, for comparison; None if it or its unit is unknown."""
    if value is None or spelling is None or (start := unit_of(kind, spelling)) is None:
        return None
    factor, offset = linear(start, unit(start.kind, target))
    return float(Fraction(value) * factor + offset)
