"""The drawn stroke of an air spring with the band of each of its points; refuses travels that the spring has not.

Slow (n = 1) up to the sag, or to the port where that comes later, polytropic beyond it, as air_spring.fast_point has
it. A band needs every point at both ends of every input: each moved spring is gone through once for all points.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from app.physics.air_spring import EXPONENT_MAX, EXPONENT_MIN, AirSpring, pressure_for_sag_abs_pa
from app.physics.band import (
    Band,
    Contribution,
    Spreads,
    combined,
    contribution,
    half_width_scale,
    moved_spring,
    spring_inputs,
)

GAUGE = "gauge_pa"


class Within(NamedTuple):
    """A value and the range that its band gives it."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Stroke:
    """A stroke at one start pressure, by travel: force, gauge pressure of the positive chamber, each with its band.

    `progression` is the force at the last travel over the force at the sag, None where nothing would be carried at the
    sag at an end of the spread; `biggest` moves the force at the last travel most, `biggest_pressure` the pressure.
    """

    travels_m: tuple[float, ...]
    forces_n: tuple[Within, ...]
    gauges_pa: tuple[Within, ...]
    progression: Within | None
    biggest: str | None
    biggest_pressure: str | None


class _Path(NamedTuple):
    """c(x) in F = c(x)*P0 - As*pa, and P+/P0, at each travel."""

    coefficients_m2: list[float]
    ratios: list[float]


def stroke(
    spring: AirSpring, travels_m: Sequence[float], sag_m: float, start_gauge_pa: float, ambient_pa: float,
    exponent: float, spreads: Spreads, share: float = 0.95,
) -> Stroke:  # fmt: skip
    """The stroke with its bands once a gauge shows the start pressure on a spring whose sizes are known so well.

    Bands as physics.band.band makes them; load and friction do not enter. The travels rise, in 0..T, at least one, and
    hold the sag and the last one in any case. Pressures > 0 absolute; n in 1..1.45; else ValueError, also where the
    spring cannot exist at an end of the spread.
    """
    start_pa = start_gauge_pa + ambient_pa
    if not (start_pa > 0 and ambient_pa > 0):
        raise ValueError("Absolute pressures must be greater than zero.")
    if sag_m not in travels_m:
        raise ValueError("The sag must be one of the travels.")
    scale, outside_n = half_width_scale(share), spring.shaft_area_m2 * ambient_pa
    middle = _path(spring, travels_m, sag_m, exponent)
    pairs = [
        (name, _path(less, travels_m, sag_m, exponent), _path(more, travels_m, sag_m, exponent))
        for name, less, more in moved_springs(spring, spreads)
    ]
    names, gauge_pa = [*(name for name, _, _ in pairs), GAUGE], spreads.gauge_pa

    def force(at: int) -> tuple[float, list[tuple[float, float]]]:
        c = middle.coefficients_m2[at]
        moves = [((a.coefficients_m2[at] - c) * start_pa, (b.coefficients_m2[at] - c) * start_pa) for _, a, b in pairs]
        return c * start_pa - outside_n, [*moves, (-c * gauge_pa, c * gauge_pa)]

    def gauge(at: int) -> tuple[float, list[tuple[float, float]]]:
        r = middle.ratios[at]
        moves = [((a.ratios[at] - r) * start_pa, (b.ratios[at] - r) * start_pa) for _, a, b in pairs]
        return r * start_pa - ambient_pa, [*moves, (-r * gauge_pa, r * gauge_pa)]

    every = range(len(travels_m))
    forces, gauges = [force(at) for at in every], [gauge(at) for at in every]
    return Stroke(
        travels_m=tuple(travels_m),
        forces_n=tuple(_within(*each, scale) for each in forces),
        gauges_pa=tuple(_within(*each, scale) for each in gauges),
        progression=_quotient(forces[-1], forces[travels_m.index(sag_m)], scale),
        biggest=_biggest(names, forces[-1][1]),
        biggest_pressure=_biggest(names, gauges[-1][1]),
    )


def start_pressure_at(
    spring: AirSpring, sag_m: float, load: Band, ambient_pa: float, spreads: Spreads, share: float = 0.95
) -> Band:
    """Gauge start pressure that carries the load at the sag, in Pa, with its band, from the band of the load.

    The same as band.start_pressure_band where `load` has the contributions of share, masses, angle and friction: the
    pressure is affine in the load, so these are divided by c(sag). ValueError as pressure_for_sag_abs_pa, at the ends
    of the spread as well; `load` must be of the same share.
    """
    if load.share != share:
        raise ValueError("The band of the load must be of the same share.")
    scale = half_width_scale(share)
    start_pa = pressure_for_sag_abs_pa(spring, sag_m, load.value, ambient_pa)
    coefficient = (load.value + spring.shaft_area_m2 * ambient_pa) / start_pa
    found = [Contribution(one.name, one.up / coefficient, one.down / coefficient) for one in load.contributions]
    for name, *ends in moved_springs(spring, spreads):
        moves = [pressure_for_sag_abs_pa(each, sag_m, load.value, ambient_pa) - start_pa for each in ends]
        found.append(contribution(name, moves, scale))
    found.append(contribution(GAUGE, (-spreads.gauge_pa, spreads.gauge_pa), scale))
    return combined(start_pa - ambient_pa, found, share)


def moved_springs(spring: AirSpring, spreads: Spreads) -> list[tuple[str, AirSpring, AirSpring]]:
    """The spring with one size at either end of its spread, by the name of that size."""
    inputs = [each for each in spring_inputs(spring, spreads) if each.name != GAUGE]
    values = {each.name: each.value for each in inputs}
    return [
        (
            each.name,
            moved_spring(spring, {**values, each.name: each.value - each.half_width}),
            moved_spring(spring, {**values, each.name: each.value + each.half_width}),
        )
        for each in inputs
    ]


def _path(spring: AirSpring, travels_m: Sequence[float], sag_m: float, exponent: float) -> _Path:
    """The whole stroke of one spring: air_spring.coefficient_m2 up to the turn, fast_coefficient_m2 beyond it."""
    if not (travels_m[0] >= 0 and travels_m[-1] <= spring.travel_m and EXPONENT_MIN <= exponent <= EXPONENT_MAX):
        raise ValueError("The travels must lie within that of the spring, the exponent within 1 and 1.45.")
    area, ring, turn_m = spring.bore_area_m2, spring.annulus_area_m2, max(sag_m, spring.port_travel_m)
    full, empty = spring.positive_volume_m3(0.0), spring.negative_volume_m3
    sealed = full / spring.positive_volume_m3(spring.port_travel_m) * spring.negative_chamber_m3(spring.port_travel_m)
    at_turn, below = spring.positive_volume_m3(turn_m), spring.negative_chamber_m3(turn_m)
    coefficients, ratios = [], []
    for travel_m in travels_m:
        positive, negative = full - area * travel_m, empty + ring * travel_m
        if travel_m > turn_m:
            ratio = full / at_turn * (at_turn / positive) ** exponent
            pull = sealed / below * (below / negative) ** exponent
        else:
            ratio, pull = full / positive, sealed / negative
        coefficients.append(area * ratio - ring * pull)
        ratios.append(ratio)
    return _Path(coefficients, ratios)


def _within(middle: float, moves: Sequence[tuple[float, float]], scale: float) -> Within:
    """The root sum square of the moves to both ends of each input, as band.combined has it."""
    up = down = 0.0
    for a, b in moves:
        low, high = (a, b) if a < b else (b, a)
        if high > 0:
            up += high * high
        if low < 0:
            down += low * low
    return Within(middle, middle - scale * math.sqrt(down), middle + scale * math.sqrt(up))


_Moved = tuple[float, list[tuple[float, float]]]


def _quotient(over: _Moved, under: _Moved, scale: float) -> Within | None:
    """The quotient of two figures that the same inputs move; None where the lower may be zero or less."""
    if under[0] + min(move for pair in under[1] for move in pair) <= 0:
        return None
    middle = over[0] / under[0]
    ends = [
        ((over[0] + a) / (under[0] + c) - middle, (over[0] + b) / (under[0] + d) - middle)
        for (a, b), (c, d) in zip(over[1], under[1], strict=True)
    ]
    return _within(middle, ends, scale)


def _biggest(names: Sequence[str], moves: Sequence[tuple[float, float]]) -> str | None:
    widths = [max(0.0, *pair) - min(0.0, *pair) for pair in moves]
    return names[widths.index(max(widths))] if max(widths) > 0 else None
