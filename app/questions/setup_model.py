"""What a computed spring does: its curve, where it rests, its peak, and the same for every number of spacers.

One stroke is drawn: slowly (n = 1) up to the sag, fast (n = 1.4) beyond it, so that its end is the peak.
"""

from dataclasses import dataclass

from app.physics import air_spring as air
from app.physics.air_spring import AirSpring, CurvePoint
from app.physics.band import Band, spring_band
from app.questions.setup_ground import Ground
from app.questions.setup_limits import Limits
from app.questions.setup_shapes import BySpacers, CurvePointShown
from app.questions.spring_geometry import Geometry
from app.units.preferences import Units
from app.units.quantity import Quantity, computed

FAST = 1.4  # adiabatic ideal air; real air at pressure 1.41 (CoolProp, Lemmon et al. 2000)
STEPS = 20


@dataclass(frozen=True, slots=True)
class Shown:
    """How a set-up's figures are written: the chosen units, and the usual unit of its pressures."""

    units: Units
    pressure_unit: str

    def pressure(self, gauge_pa: float, band: tuple[float, float] | None = None) -> Quantity:
        return computed("pressure", gauge_pa, self.pressure_unit, band=band, to=self.units)

    def length(self, length_m: float, band: tuple[float, float] | None = None) -> Quantity:
        return computed("length", length_m, "mm", band=band, to=self.units)

    def force(self, force_n: float, band: tuple[float, float] | None = None) -> Quantity:
        return computed("force", force_n, "N", band=band, to=self.units)


@dataclass(frozen=True, slots=True)
class Model:
    """A spring at the start pressure that carries the load at the sag. Absolute pressure, SI."""

    geometry: Geometry
    sag_m: float
    load_n: float
    ambient_pa: float
    start_abs_pa: float

    @property
    def start_gauge_pa(self) -> float:
        return self.start_abs_pa - self.ambient_pa

    @property
    def free_travel_m(self) -> float:
        """Where the fork rests unloaded; zero where its stop holds it extended."""
        return air.free_travel_m(self.geometry.air, self.start_abs_pa, self.ambient_pa)

    @property
    def free_travel(self) -> Band:
        """The same with its band: as the geometry is known, the start pressure as a gauge shows it."""

        def rest(spring: AirSpring, gauge_pa: float) -> float:
            return air.free_travel_m(spring, gauge_pa + self.ambient_pa, self.ambient_pa)

        return spring_band(self.geometry.air, self.start_gauge_pa, self.geometry.spreads, rest)

    @property
    def peak_gauge(self) -> Band:
        """Gauge pressure of the positive chamber at full travel on the fast stroke, with its band likewise."""

        def top(spring: AirSpring, gauge_pa: float) -> float:
            found = air.peak(spring, gauge_pa + self.ambient_pa, self.sag_m, self.ambient_pa, FAST)
            return found.pressure_abs_pa - self.ambient_pa

        return spring_band(self.geometry.air, self.start_gauge_pa, self.geometry.spreads, top)


def model_of(geometry: Geometry, ground: Ground, load_n: float) -> Model:
    """The model of a geometry for the load and sag in question."""
    start = air.pressure_for_sag_abs_pa(geometry.air, ground.target.sag_m, load_n, ground.ambient_pa)
    return Model(geometry, ground.target.sag_m, load_n, ground.ambient_pa, start)


def travels_of(spring: AirSpring, sag_m: float) -> list[float]:
    """The travels of the drawn stroke from full extension to full travel, the sag and the port among them."""
    even = {spring.travel_m * (number / STEPS) for number in range(STEPS + 1)}
    return sorted(even | {sag_m, spring.port_travel_m})


def stroke(spring: AirSpring, start_abs_pa: float, sag_m: float, ambient_pa: float) -> list[CurvePoint]:
    """The points of the drawn stroke: slow to the sag (or the port where that comes later), fast beyond it."""
    turn_m = max(sag_m, spring.port_travel_m)
    points = []
    for travel_m in travels_of(spring, sag_m):
        if travel_m > turn_m:
            points.append(air.fast_point(spring, travel_m, start_abs_pa, sag_m, ambient_pa, FAST))
        else:
            force_n = air.force_n(spring, travel_m, start_abs_pa, ambient_pa)
            pressure = start_abs_pa * air.positive_ratio(spring, travel_m)
            points.append(CurvePoint(travel_m, force_n, pressure))
    return points


def curve_shown(model: Model, line: BySpacers, shown: Shown) -> list[CurvePointShown]:
    """The stroke of the spring as it is fitted: its line by spacers, with the gauge pressures."""
    points = stroke(model.geometry.air, model.start_abs_pa, model.sag_m, model.ambient_pa)
    return [
        {**drawn, "pressure": shown.pressure(point.pressure_abs_pa - model.ambient_pa)}
        for drawn, point in zip(line["curve"], points, strict=True)
    ]


def by_spacers_shown(model: Model, ground: Ground, limits: Limits, shown: Shown) -> list[BySpacers]:
    """A line for each number of volume spacers from none to the limit, or to those asked for where that is more.

    Where no limit is stated none beyond those fitted is shown; where the volume of a spacer is not known only those.
    """
    fitted = ground.spacers or 0
    spring = model.geometry.air
    travels = [shown.length(travel_m) for travel_m in travels_of(spring, model.sag_m)]
    if spring.spacer_volume_m3 is None:
        return [_line(model, spring, fitted, limits, shown, travels)]
    held = air.spacers_held(spring.end_volume_m3, spring.spacer_volume_m3)
    last = min(max(fitted, limits.spacers or 0), held)
    return [_line(model, spring.with_spacers(count), count, limits, shown, travels) for count in range(last + 1)]


def _line(
    model: Model, spring: AirSpring, count: int, limits: Limits, shown: Shown, travels: list[Quantity]
) -> BySpacers:
    start = air.pressure_for_sag_abs_pa(spring, model.sag_m, model.load_n, model.ambient_pa)
    points = stroke(spring, start, model.sag_m, model.ambient_pa)
    top = points[-1]
    exceeds = limits.exceeded(start - model.ambient_pa, count)
    line: BySpacers = {
        "spacers": count,
        "start_pressure": shown.pressure(start - model.ambient_pa),
        "peak_pressure": shown.pressure(top.pressure_abs_pa - model.ambient_pa),
        "peak_force": shown.force(top.force_n),
        "progression": round(top.force_n / model.load_n, 2),
        "exceeds": exceeds,
        "curve": [
            {"travel": travel, "force": shown.force(point.force_n)}
            for travel, point in zip(travels, points, strict=True)
        ],
    }
    if exceeds:
        line["within_limit"] = False
    elif limits.all_stated:
        line["within_limit"] = True
    return line
