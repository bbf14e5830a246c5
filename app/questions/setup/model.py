"""An air spring at the start pressure that is shown: its sag, stroke and peak, also by number of volume spacers."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from app.physics import air_spring as air
from app.physics.band import Band, Within
from app.physics.stroke import FilledSpring, Stroke, same_sag_gauge, start_pressure, stroke
from app.questions.answers.gap import Gap
from app.questions.setup.estimate import gap
from app.questions.setup.inputs import SetupInputs
from app.questions.setup.limits import KeptLimits
from app.questions.setup.spring_geometry import SpringGeometry
from app.questions.setup.views import BySpacers, CurvePointView
from app.units.preferences import Units
from app.units.quantity import Quantity, computed

STEPS = 12
BandEnds = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Formatter:
    """How a set-up's figures are shown: the chosen units, and the usual unit of its pressures."""

    units: Units
    pressure_unit: str

    def pressure(self, gauge_pa: float, band: BandEnds | None = None, *, band_in_text: bool = True) -> Quantity:
        """A gauge pressure in pascals, in the chosen units."""
        return computed("pressure", gauge_pa, self.pressure_unit, band=band, to=self.units, band_in_text=band_in_text)

    def length(self, length_m: float, band: BandEnds | None = None) -> Quantity:
        """A length in metres, in the chosen units."""
        return computed("length", length_m, "mm", band=band, to=self.units)

    def force(self, force_n: float, band: BandEnds | None = None, *, band_in_text: bool = True) -> Quantity:
        """A force in newtons, in the chosen units."""
        return computed("force", force_n, "N", band=band, to=self.units, band_in_text=band_in_text)

    def percent(self, share: Band, of: float) -> Quantity:
        """A band as a share of a whole in the same unit."""
        ends = share.low / of, share.high / of
        return computed("percent", share.value / of, "%", band=ends, to=self.units, band_in_text=False)

    def banded_force(self, found: Band | Within) -> Quantity:
        """A computed force with its range; newtons in, the question's units out."""
        return self.force(found.value, (found.low, found.high))

    def banded_pressure(self, found: Band | Within) -> Quantity:
        """A computed gauge pressure with its range; pascals in, the question's units out."""
        return self.pressure(found.value, (found.low, found.high))


@dataclass(frozen=True, slots=True)
class Model:
    """A spring filled to the start pressure that is shown, and its behaviour. Load with friction, SI."""

    geometry: SpringGeometry
    filled: FilledSpring
    load: Band | None
    target_sag_m: float
    stroke: Stroke


def model_of(
    geometry: SpringGeometry, ground: SetupInputs, gauge_pa: float, ambient_pa: float, *, curves: bool
) -> Model:  # fmt: skip
    """The spring at a gauge start pressure in its surrounding air.

    ValueError if the fork bottoms out under the load, or if the pressure of a negative chamber is unknown.
    """
    filled = FilledSpring(geometry.air, gauge_pa, ambient_pa, ground.negative_pa)
    found = stroke(filled, ground.pushed, ground.target.sag_m, geometry.spreads, STEPS, banded=curves)
    return Model(geometry, filled, ground.pushed, ground.target.sag_m, found)


@dataclass(frozen=True, slots=True)
class SpacerCase:
    """The spring with a number of volume spacers at its gauge start pressure, and its stroke."""

    spacers: int
    start: Band | None  # None: the start pressure that is shown
    gauge_pa: float
    stroke: Stroke


def cases_of(
    model: Model, ground: SetupInputs, limits: KeptLimits, *, from_load: bool
) -> tuple[list[SpacerCase], list[Gap]]:
    """A case for each number of volume spacers from none to the limit, or to the requested number if that is higher.

    The fitted number has the start pressure that is shown, every other one the pressure that gives the same sag. If no
    limit is stated, none beyond the fitted number is shown; if the volume of a spacer is unknown, only the fitted
    number. A number that may leave no air, given the accuracy of the sizes, has a gap instead of a case. `from_load`:
    the start pressure was computed from the load, so the others share its uncertainty; else they follow it.
    """
    spring, fitted = model.geometry.air, ground.spacers or 0
    cases: list[SpacerCase] = []
    gaps: list[Gap] = []
    for count in counts(spring, fitted, limits):
        try:
            if count == fitted:
                cases.append(SpacerCase(count, None, model.filled.gauge_pa, model.stroke))
            else:
                cases.append(_other(model, count, from_load))
        except ValueError as impossible:
            gaps.append(_may_not_fit(impossible, count))
    return cases, gaps[:1]


def counts(spring: air.AirSpring, fitted: int, limits: KeptLimits) -> Sequence[int]:
    """The numbers of volume spacers that are shown."""
    if spring.spacer_volume_m3 is None:
        return [fitted]
    most = air.spacers_held(spring.end_volume_m3, spring.spacer_volume_m3)
    return range(min(max(fitted, limits.spacers or 0), most) + 1)


def _other(model: Model, count: int, from_load: bool) -> SpacerCase:
    own, spreads, sag_at = model.geometry.air.with_spacers(count), model.geometry.spreads, model.stroke.turn_m
    filled = model.filled
    start = same_sag_gauge(filled, own, sag_at, spreads)
    if from_load and model.load is not None:
        wide = start_pressure(own, sag_at, model.load, filled.ambient_pa, spreads, filled.negative_gauge_pa)
        start = replace(wide, value=start.value)
    its = replace(filled, spring=own, gauge_pa=start.value)
    return SpacerCase(count, start, start.value, stroke(its, model.load, sag_at, spreads, STEPS, banded=False))


def _may_not_fit(impossible: ValueError, count: int) -> Gap:
    text = (
        f"{impossible} This can happen with {count} volume spacers, given how accurately this spring's sizes are known."
    )
    return gap("by-spacers", "each number of volume spacers has its own start pressure", text)


def unknown_cases(
    ground: SetupInputs, limits: KeptLimits, gauge_pa: float | None
) -> tuple[list[SpacerCase], list[Gap]]:
    """A case for every number of volume spacers, because the fitted number is unknown.

    Each is at the start pressure that is shown or, without one, at the pressure that its own load and sag give.
    """
    geometry = ground.geometry
    if geometry is None or (geometry.air.port_travel_m is None and ground.negative_pa is None):
        return [], []
    cases: list[SpacerCase] = []
    gaps: list[Gap] = []
    for count in counts(geometry.air, 0, limits):
        try:
            own = geometry.air.with_spacers(count)
            start = None
            if gauge_pa is None and ground.pushed is not None:
                start = start_pressure(
                    own, ground.target.sag_m, ground.pushed, ground.ambient_pa, geometry.spreads, ground.negative_pa
                )
            at = gauge_pa if start is None else start.value
            if at is None or not at > 0:
                continue
            filled = FilledSpring(own, at, ground.ambient_pa, ground.negative_pa)
            found = stroke(filled, ground.pushed, ground.target.sag_m, geometry.spreads, STEPS, banded=False)
            cases.append(SpacerCase(count, start, at, found))
        except ValueError as impossible:
            gaps.append(_may_not_fit(impossible, count))
    return cases, gaps[:1]


def curve_view(found: Stroke, start: Quantity, shown: Formatter) -> list[CurvePointView]:
    """The stroke as fitted, fast and slow, with gauge pressures; it begins at the start pressure shown."""
    points: list[CurvePointView] = []
    for travel, force, gauge, slow in zip(found.travels_m, found.forces, found.gauges, found.slow, strict=True):
        points.append(
            {
                "travel": shown.length(travel),
                "force": shown.force(force.value, (force.low, force.high), band_in_text=False),
                "slow_force": shown.force(slow.value, (slow.low, slow.high), band_in_text=False),
                "pressure": shown.pressure(gauge.value, (gauge.low, gauge.high), band_in_text=False),
            }
        )
    points[0]["pressure"] = {**start, "text": start["text"].partition(" (")[0]}
    return points


def by_spacers_view(
    cases: Sequence[SpacerCase],
    start: Quantity | None,
    limits: KeptLimits,
    shown: Formatter,
    fitted: Sequence[CurvePointView],
) -> list[BySpacers]:
    """The cases as the answer shows them. `fitted` are the points of the fitted number, which are not repeated.

    Limits are compared with the start pressure.
    """
    travels = _Travels(shown)
    lines: list[BySpacers] = []
    for each in cases:
        line = _line(each, start, limits, shown)
        if fitted and each.start is None:
            line["curve"] = [{"travel": point["travel"], "force": point["force"]} for point in fitted]
        else:
            forces = (shown.force(point.value) for point in each.stroke.forces)
            line["curve"] = [
                {"travel": travel, "force": force}
                for travel, force in zip(travels.of(each.stroke.travels_m), forces, strict=True)
            ]
        lines.append(line)
    return lines


class _Travels:
    """The travels of the cases as the answer shows them: cases with the same sag share their travels."""

    def __init__(self, shown: Formatter) -> None:
        self.shown = shown
        self.written: dict[int, Quantity] = {}

    def of(self, travels_m: Sequence[float]) -> list[Quantity]:
        found: list[Quantity] = []
        for travel in travels_m:
            key = round(travel * 1e9)
            if key not in self.written:
                self.written[key] = self.shown.length(travel)
            found.append(self.written[key])
        return found


def _progression(found: Within) -> Quantity:
    """Force at full travel over force at sag; without a band if that has no end."""
    band = (found.low, found.high) if math.isfinite(found.low) and math.isfinite(found.high) else None
    return computed("percent", found.value, "ratio", band=band, step=Decimal("0.01"))


def _line(each: SpacerCase, start: Quantity | None, limits: KeptLimits, shown: Formatter) -> BySpacers:
    found = each.stroke
    exceeds = limits.exceeded(each.gauge_pa, each.spacers)
    if each.start is not None:
        pressure = shown.pressure(each.gauge_pa, (each.start.low, each.start.high))
    else:
        pressure = start if start is not None else shown.pressure(each.gauge_pa)
    line: BySpacers = {
        "spacers": each.spacers,
        "start_pressure": pressure,
        "peak_pressure": shown.banded_pressure(found.peak_gauge),
        "peak_force": shown.banded_force(found.peak_force),
        "progression": _progression(found.progression),
        "exceeds": exceeds,
        "curve": [],
    }
    if found.sag is not None:
        line["expected_sag"] = shown.length(found.sag.value, (found.sag.low, found.sag.high))
    if exceeds:
        line["within_limit"] = False
    elif limits.all_stated:
        line["within_limit"] = True
    return line
