"""What a computed spring does: its curve, where it rests, its peak, and the same for every number of spacers.

One stroke is drawn: slowly (n = 1) up to the sag, fast (n = 1.4) beyond it, so that its end is the peak.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from app.physics import air_spring as air
from app.physics.air_spring import AirSpring
from app.physics.band import Band, spring_band
from app.physics.stroke import Stroke, start_pressure_at, stroke
from app.questions.answers.gap import Gap
from app.questions.setup.estimate import gap
from app.questions.setup.inputs import SetupInputs
from app.questions.setup.limits import KeptLimits
from app.questions.setup.load import pushed_band
from app.questions.setup.spring_geometry import SpringGeometry
from app.questions.setup.views import BySpacers, CurvePointView
from app.units.preferences import Units
from app.units.quantity import Quantity, computed

FAST = 1.4  # adiabatic ideal air; real air at pressure 1.41 (CoolProp, Lemmon et al. 2000)
STEPS = 20
SAME_M = 0.05e-3  # travels are shown to 0.1 mm: nearer ones would be two points of one travel
BandEnds = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Formatter:
    """How a set-up's figures are written: the chosen units, and the usual unit of its pressures."""

    units: Units
    pressure_unit: str

    def pressure(self, gauge_pa: float, band: BandEnds | None = None, *, told: bool = True) -> Quantity:
        """A gauge pressure in pascals in the units chosen."""
        return computed("pressure", gauge_pa, self.pressure_unit, band=band, to=self.units, told=told)

    def length(self, length_m: float, band: BandEnds | None = None) -> Quantity:
        """A length in metres in the units chosen."""
        return computed("length", length_m, "mm", band=band, to=self.units)

    def force(self, force_n: float, band: BandEnds | None = None, *, told: bool = True) -> Quantity:
        """A force in newtons in the units chosen."""
        return computed("force", force_n, "N", band=band, to=self.units, told=told)


@dataclass(frozen=True, slots=True)
class Model:
    """A spring at the start pressure that carries the load at the sag. Absolute pressure, SI; load with friction."""

    geometry: SpringGeometry
    sag_m: float
    load: Band
    ambient_pa: float
    start_abs_pa: float

    @property
    def start_gauge_pa(self) -> float:
        """The start pressure in pascals, as a gauge shows it."""
        return self.start_abs_pa - self.ambient_pa

    @property
    def free_travel(self) -> Band:
        """Where the fork rests unloaded, zero where its stop holds it; the start pressure as a gauge shows it."""

        def rest(spring: AirSpring, gauge_pa: float) -> float:
            return air.free_travel_m(spring, gauge_pa + self.ambient_pa, self.ambient_pa)

        found = spring_band(self.geometry.air, self.start_gauge_pa, self.geometry.spreads, rest)
        return replace(found, low=max(0.0, found.low))

    @property
    def top(self) -> Stroke:
        """The fast stroke's end, without the points between."""
        travels = sorted({self.sag_m, self.geometry.air.travel_m})
        return self.stroke(self.geometry.air, self.start_gauge_pa, travels)

    def stroke(self, spring: AirSpring, start_gauge_pa: float, travels_m: Sequence[float]) -> Stroke:
        """A stroke of this spring with any number of spacers, its bands as this geometry is known."""
        return stroke(spring, travels_m, self.sag_m, start_gauge_pa, self.ambient_pa, FAST, self.geometry.spreads)


def model_of(geometry: SpringGeometry, ground: SetupInputs, load_n: float) -> Model:
    """The model of a geometry for the load and sag in question."""
    start = air.pressure_for_sag_abs_pa(geometry.air, ground.target.sag_m, load_n, ground.ambient_pa)
    return Model(geometry, ground.target.sag_m, pushed_band(ground.asked), ground.ambient_pa, start)


def travels_of(spring: AirSpring, sag_m: float) -> list[float]:
    """The travels of the drawn stroke from full extension to full travel, the sag and the port among them in place of
    an even step that they fall upon."""
    named = {sag_m, spring.port_travel_m}
    even = (spring.travel_m * (number / STEPS) for number in range(STEPS + 1))
    return sorted(named.union(each for each in even if all(abs(each - other) > SAME_M for other in named)))


@dataclass(frozen=True, slots=True)
class SpacerCase:
    """The spring with one number of volume spacers: the gauge start pressure for load and sag, and its stroke."""

    spacers: int
    start: Band
    stroke: Stroke


def lines_of(model: Model, ground: SetupInputs, limits: KeptLimits) -> tuple[list[SpacerCase], list[Gap]]:
    """A line for each number of volume spacers from none to the limit, or to those asked for where that is more.

    Where no limit is stated none beyond those fitted is shown; where the volume of a spacer is not known only those. A
    number that the spring may not bear, as well as its sizes are known, has no line but a gap.
    """
    fitted = ground.spacers or 0
    spring = model.geometry.air
    counts = [fitted]
    if spring.spacer_volume_m3 is not None:
        context = air.spacers_held(spring.end_volume_m3, spring.spacer_volume_m3)
        counts = [*range(min(max(fitted, limits.spacers or 0), context) + 1)]
    travels = travels_of(spring, model.sag_m)
    lines: list[SpacerCase] = []
    gaps: list[Gap] = []
    for count in counts:
        try:
            own = spring.with_spacers(count)
            start = start_pressure_at(own, model.sag_m, model.load, model.ambient_pa, model.geometry.spreads)
            lines.append(SpacerCase(count, start, model.stroke(own, start.value, travels)))
        except ValueError as impossible:
            text = f"{impossible} So it may be with {count} volume spacers, as well as this spring's sizes are known."
            gaps.append(gap("by-spacers", "each number of volume spacers has its own start pressure", text))
    return lines, gaps[:1]


def curve_view(line: SpacerCase, drawn: BySpacers, shown: Formatter) -> list[CurvePointView]:
    """The stroke of the spring as it is fitted: its line by spacers, with the gauge pressures."""
    return [
        {**point, "pressure": shown.pressure(pressure.value, (pressure.low, pressure.high), told=False)}
        for point, pressure in zip(drawn["curve"], line.stroke.gauges_pa, strict=True)
    ]


def by_spacers_view(lines: Sequence[SpacerCase], model: Model, limits: KeptLimits, shown: Formatter) -> list[BySpacers]:
    """The lines as the answer has them. Limits are compared with the start pressure itself, as everywhere."""
    travels = [shown.length(travel_m) for travel_m in lines[0].stroke.travels_m] if lines else []
    return [_line(each, model, limits, shown, travels) for each in lines]


def _line(each: SpacerCase, model: Model, limits: KeptLimits, shown: Formatter, travels: list[Quantity]) -> BySpacers:
    start, forces = each.start, each.stroke.forces_n
    force, pressure = forces[-1], each.stroke.gauges_pa[-1]
    exceeds = limits.exceeded(start.value, each.spacers)
    line: BySpacers = {
        "spacers": each.spacers,
        "start_pressure": shown.pressure(start.value, (start.low, start.high)),
        "peak_pressure": shown.pressure(pressure.value, (pressure.low, pressure.high)),
        "peak_force": shown.force(force.value, (force.low, force.high)),
        "progression": round(force.value / model.load.value, 2),
        "exceeds": exceeds,
        "curve": [
            {"travel": travel, "force": shown.force(point.value, (point.low, point.high), told=False)}
            for travel, point in zip(travels, forces, strict=True)
        ],
    }
    if each.stroke.progression is not None:
        line["progression_min"] = math.floor(each.stroke.progression.low * 100) / 100
        line["progression_max"] = math.ceil(each.stroke.progression.high * 100) / 100
    if exceeds:
        line["within_limit"] = False
    elif limits.all_stated:
        line["within_limit"] = True
    return line
