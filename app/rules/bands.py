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
    ("foot", Band(3, 25)),
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
FILL: dict[str, Band] = {
    "spring-side lower leg": Band(2.5, 65),
    "damper-side lower leg": Band(2.5, 65),
    "above the air piston": Band(0.8, 15),
    "spring-side stanchion": Band(0.5, 300),
    "negative chamber": Band(0.2, 25),
    "damper": Band(20, 500),
    "foam ring": Band(0.8, 8),
}
LEVEL_MM = Band(20, 300)
PRESSURE_KPA = Band(100, 2400)  # 15 to 350 psi
PRESSURE_NEGATIVE_KPA = Band(30, 2400)
RIDER_KG = Band(20, 200)
LIMITS: dict[str, tuple[str, str, Band]] = {
    "rider mass": ("mass", "kg", Band(65, 200)),
    "tyre width": ("length", "mm", Band(25, 140)),
    "tyre diameter": ("length", "mm", Band(350, 850)),
    "rotor diameter": ("length", "mm", Band(120, 260)),
    "steerer above the crown": ("length", "mm", Band(30, 350)),
    "bushing play": ("length", "mm", Band(0.08, 1.5)),
    "stanchion height in the crown": ("length", "mm", Band(0, 320)),
}
AXLE_TO_CROWN_LESS_TRAVEL_MM = Band(280, 460)
READ_PRESSURE_KPA = Band(60, 5000)  # up to full travel
TEMPERATURE_C = Band(-40, 60)
HOURS: dict[str, Band] = {"lower-leg-service": Band(8, 220), "full-service": Band(20, 600)}
TRAVEL_MM = Band(30, 320)
VOLUME_ML = Band(5, 500)
DIMENSIONS: dict[str, dict[str, Band]] = {
    "chassis": {
        "stanchion_diameter_mm": Band(22, 60), "stanchion_bore_mm": Band(15, 56), "travel_min_mm": TRAVEL_MM,
        "travel_max_mm": TRAVEL_MM, "leg_free_volume_ml": Band(6, 300),
    },
    "springs": {
        "bore_mm": Band(14, 56), "shaft_diameter_mm": Band(5, 40), "end_volume_ml": VOLUME_ML,
        "negative_volume_ml": Band(2, 300), "port_travel_mm": Band(0, 60), "stroke_max_mm": TRAVEL_MM,
    },
    "dampers": {"travel_max_mm": TRAVEL_MM},
    "spacers": {"volume_ml": Band(1.5, 40)},
    "frames": {
        "axle_to_crown_mm": Band(330, 680), "axle_to_crown_max_mm": Band(330, 680), "travel_min_mm": TRAVEL_MM,
        "travel_max_mm": TRAVEL_MM, "head_angle_deg": Band(55, 80), "seat_angle_deg": Band(60, 85),
        "wheelbase_mm": Band(800, 1500), "chainstay_mm": Band(330, 560), "reach_mm": Band(280, 620),
        "stack_mm": Band(420, 800),
    },
}  # fmt: skip


GREATEST = ("max", "value", "min")  # the greatest figure that a row states comes first


def first_known(
    row: Row, columns: tuple[str, ...], unit_column: str, kind: str, target: str
) -> tuple[str, float] | None:
    """The first of these figures of a row that is known, in the target unit, with its column."""
    for name in columns:
        if (
            getattr(row, name) is not None
            and (found := figure(getattr(row, name), getattr(row, unit_column), kind, target)) is not None
        ):
            return name, found
    return None


@lru_cache(maxsize=1024)
def torque_band(position: str, kind: str) -> Band:
    """The band of a position, else of its kind."""
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
