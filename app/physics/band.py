"""How far a computed value may be off: each input is moved alone to both ends, and the effects are added as spreads.

A band is the central 98 % of the sum of the inputs' effects, so that effects it leaves out (interactions of inputs)
still leave the true value inside at least 95 times in 100. The Monte Carlo runs in tests/questions measure it.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Generic, NamedTuple, TypeVar

from app.physics.air_chambers import AirSpring, disc_area_m2

S = TypeVar("S")

SHARE = 0.95
"""The promise of every band: it contains the true value at least this often."""

# Central 98 % of a sum of rectangles in standard deviations, over its excess kurtosis k: 2.3263 for a normal sum (k =
# 0), 2.1027 for two equal rectangles (k = -0.6), 1.6974 for one (k = -1.2), both by geometry; a parabola between.
_NORMAL, _SLOPE, _BEND = 2.3263, 0.2217, -0.2518


@dataclass(frozen=True, slots=True)
class Uncertain:
    """An input that lies within value ± half_width, uniformly distributed; half_width >= 0.

    `normal`: a reading that scatters; half_width is then √3 times its standard deviation (JCGM 100:2008, 4.3.7).
    """

    name: str
    value: float
    half_width: float
    normal: bool = False


class Move(NamedTuple):
    """The effect of one input alone on a result: the value at the low end of the input, and at its high end."""

    name: str
    less: float
    more: float
    normal: bool = False


@dataclass(frozen=True, slots=True)
class Band:
    """A value with the range that contains the true one; `biggest` names the input that affects it most, None
    without spread.
    """

    value: float
    low: float
    high: float
    biggest: str | None
    moves: tuple[Move, ...]


class Within(NamedTuple):
    """A value and the range that its band gives it."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Solutions(Generic[S]):
    """The solution at the values of all inputs, and those with one input alone at either end of its half-width."""

    middle: S
    ends: tuple[tuple[Uncertain, S, S], ...]

    def band(self, figure: Callable[[S], float]) -> Band:
        """The band of one figure of the solution. ValueError also if the figure refuses one of the ends."""
        value = figure(self.middle)
        moves = [
            Move(each.name, figure(less) - value, figure(more) - value, each.normal) for each, less, more in self.ends
        ]
        return combined(value, moves)


def solved(function: Callable[[Mapping[str, float]], S], inputs: Sequence[Uncertain]) -> Solutions[S]:
    """Solve once for each end of each input; `function` takes the inputs by name. Each lies anywhere within its
    half-width, independently.

    ValueError also if the function refuses one of the ends.
    """
    values = {each.name: each.value for each in inputs}
    if len(values) != len(inputs):
        raise ValueError("The inputs of a band must have different names.")
    middle = function(values)
    ends = []
    for each in inputs:
        if not each.half_width >= 0:
            raise ValueError(f"The spread of {each.name} must not be negative.")
        less, more = (
            function({**values, each.name: each.value + sign * each.half_width}) if each.half_width else middle
            for sign in (-1, 1)
        )
        ends.append((each, less, more))
    return Solutions(middle, tuple(ends))


def band(function: Callable[[Mapping[str, float]], float], inputs: Sequence[Uncertain]) -> Band:
    """The band of a function with a single figure."""
    return solved(function, inputs).band(float)


def combined(value: float, moves: Sequence[Move]) -> Band:
    """The band of a value that these inputs move."""
    biggest = max(moves, key=_width, default=None)
    named = biggest.name if biggest is not None and _width(biggest) > 0 else None
    return Band(*within(value, moves), named, tuple(moves))


def within(value: float, moves: Sequence[Move]) -> Within:
    """The central 98 % of value + the sum of the effects, each b·u + c·u² with u rectangular over -1..1.

    Mean, variance, skew and kurtosis of the sum are exact for such effects but for the kurtosis, which takes the part
    that is straight; the ends follow by the expansion of Cornish and Fisher (Abramowitz & Stegun, 26.2.49). Never
    beyond what all rectangular inputs at their ends would give.
    """
    mean = variance = third = fourth = least = most = 0.0
    bounded = True
    for _, less, more, normal in moves:
        straight, bend = (more - less) / 2, (more + less) / 2
        mean += bend / 3
        square = straight * straight
        own = square / 3 + 4 * bend * bend / 45
        variance += own
        third += bend * (4 * square / 15 + 16 * bend * bend / 945)
        if normal:
            bounded = False
            continue
        fourth -= 1.2 * own * own
        if less < more:
            least, most = least + (less if less < 0 else 0.0), most + (more if more > 0 else 0.0)
        else:
            least, most = least + (more if more < 0 else 0.0), most + (less if less > 0 else 0.0)
    if variance == 0:
        return Within(value, value, value)
    deviation = math.sqrt(variance)
    kurtosis = fourth / (variance * variance)
    reach = _NORMAL + kurtosis * (_SLOPE + kurtosis * _BEND)
    shift = mean + third / variance * (reach * reach - 1) / 6
    down, up = shift - reach * deviation, shift + reach * deviation
    if bounded:
        down, up = max(down, least), min(up, most)
    return Within(value, value + min(down, 0.0), value + max(up, 0.0))


def scaled(moves: Sequence[Move], by: float) -> list[Move]:
    """The moves of a result that follows another one at this rate."""
    return [Move(name, less * by, more * by, normal) for name, less, more, normal in moves]


def _width(move: Move) -> float:
    return max(0.0, move.less, move.more) - min(0.0, move.less, move.more)


@dataclass(frozen=True, slots=True)
class Spreads:
    """Half-widths of what is known of a spring and its gauge; volumes as a share of themselves, bore as a diameter."""

    end_volume_share: float
    negative_volume_share: float
    bore_m: float
    port_m: float
    gauge_pa: float


GAUGE_HALF_WIDTH_PA = 0.7 * 6894.757293168  # common practice, no source

# By how the geometry of a spring is known (springs.geometry_basis). Common practice, no source.
SPREADS: Mapping[str, Spreads] = {
    "stated": Spreads(0.03, 0.03, 0.0001, 0.0005, GAUGE_HALF_WIDTH_PA),
    "measured": Spreads(0.06, 0.06, 0.0001, 0.001, GAUGE_HALF_WIDTH_PA),
    "estimated": Spreads(0.20, 0.20, 0.0005, 0.002, GAUGE_HALF_WIDTH_PA),
}


@lru_cache(maxsize=512)
def moved_springs(spring: AirSpring, spreads: Spreads) -> tuple[tuple[str, AirSpring, AirSpring], ...]:
    """The spring with one size at either end of its spread, by the name of that size in Spreads.

    A port is never moved beyond full extension. ValueError if such a spring cannot exist. Kept, because the start
    pressure, the stroke and the other numbers of spacers all move the same springs.
    """
    ends: list[tuple[str, AirSpring, AirSpring]] = []

    def add(name: str, **both: tuple[float, float]) -> None:
        less, more = ({column: pair[end] for column, pair in both.items()} for end in (0, 1))
        ends.append((name, replace(spring, **less), replace(spring, **more)))  # type: ignore[arg-type]

    volume, negative = spring.end_volume_m3, spring.negative_volume_m3
    bore_m = math.sqrt(4 * spring.bore_area_m2 / math.pi)
    off = spreads.end_volume_share
    add("end_volume_share", end_volume_m3=(volume * (1 - off), volume * (1 + off)))
    off = spreads.negative_volume_share
    add("negative_volume_share", negative_volume_m3=(negative * (1 - off), negative * (1 + off)))
    areas = disc_area_m2(bore_m - spreads.bore_m), disc_area_m2(bore_m + spreads.bore_m)
    add("bore_m", bore_area_m2=areas)
    port = spring.port_travel_m
    if port is not None:
        add("port_m", port_travel_m=(max(0.0, port - spreads.port_m), port + spreads.port_m))
    return tuple(ends)
