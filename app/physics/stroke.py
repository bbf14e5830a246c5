"""An air spring at one start pressure: its sag, rest position and stroke, each with its band.

Two strokes are computed. Slow: isothermal (n = 1) all the way. Fast: slow up to the sag, polytropic beyond it (beyond
the port if that comes later, because there the chambers equalise once more). Every figure follows from the same inputs:
if the load moves, the sag moves, and the peak with it. So each spring is solved once for each end of an input.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from app.physics.air_spring import (
    AirSpring,
    GasFill,
    pressure_for_sag_pa,
    pull_m2,
    pulling_pa,
    push_m2,
    sag_m,
    sealed_m3,
)
from app.physics.band import Band, Move, Spreads, Uncertain, Within, combined, moved_springs, scaled, within

EXPONENT = Uncertain("exponent", 1.355, 0.055)
"""Fast strokes are polytropic with n = 1.30 to 1.41: 1.41 is adiabatic real air at 6 bar (CoolProp, Lemmon et
al. 2000), less the heat lost to the walls (common practice, no source).
"""
GAUGE = "gauge_pa"


@dataclass(frozen=True, slots=True)
class FilledSpring:
    """A spring as filled: gauge pressures at full extension, of the negative chamber if that has a valve of its own."""

    spring: AirSpring
    gauge_pa: float
    ambient_pa: float
    negative_gauge_pa: float | None = None

    def fill(self, gauge_off_pa: float = 0.0) -> GasFill:
        """The absolute pressures if the gauge reads too low by this much; it is one gauge, so both chambers
        shift alike.
        """
        negative = None if self.negative_gauge_pa is None else self.negative_gauge_pa + self.ambient_pa + gauge_off_pa
        return GasFill(self.gauge_pa + self.ambient_pa + gauge_off_pa, self.ambient_pa, negative)


@dataclass(frozen=True, slots=True)
class Stroke:
    """A stroke by travel, and its key figures. Forces in N, gauge pressures of the positive chamber in Pa.

    `sag` is where the spring carries the load (None without one); `turn_m` where the fast stroke begins; `progression`
    the force at full travel divided by that at the sag. `slow` and the bands of intermediate points are empty if not
    wanted.
    """

    travels_m: tuple[float, ...]
    forces: tuple[Within, ...]
    gauges: tuple[Within, ...]
    slow: tuple[Within, ...]
    turn_m: float
    sag: Band | None
    rest: Band
    peak_force: Band
    peak_gauge: Band
    progression: Within


class _Case(NamedTuple):
    """One spring among all that the inputs allow."""

    spring: AirSpring
    fill: GasFill
    load_n: float | None
    exponent: float


def stroke(
    filled: FilledSpring, load: Band | None, sag_otherwise_m: float, spreads: Spreads, steps: int,
    *, banded: bool = True, exponent: Uncertain = EXPONENT,
) -> Stroke:  # fmt: skip
    """The stroke of a spring under a load in N, with bands if the accuracy of its sizes is known.

    Without a load the fast stroke begins at `sag_otherwise_m`. ValueError if the fork bottoms out under the load, or if
    the spring cannot exist at an end of a spread.
    """
    spring = filled.spring
    centre = _Case(spring, filled.fill(), None if load is None else load.value, exponent.value)
    carried_at = sag_otherwise_m if load is None else sag_m(spring, centre.fill, load.value)
    travels = _travels(spring, carried_at, steps)
    at = travels if banded else [spring.travel_m]
    middle = _figures(centre, at, carried_at)
    moves = _moves(centre, filled, load, spreads, exponent, at, carried_at, middle)
    count = len(at)

    def bands(first: int) -> tuple[Within, ...]:
        return tuple(within(middle[place], _at(moves, place)) for place in range(first, first + count))

    forces, gauges, slow = (
        (bands(0), bands(count), bands(2 * count)) if banded else (_bare(centre, travels, carried_at), (), ())
    )
    sag = None if load is None else _clipped(combined(carried_at, _at(moves, 3 * count)), spring)
    return Stroke(
        tuple(travels), forces, gauges, slow, turn_m=carried_at, sag=sag,
        rest=_clipped(combined(middle[3 * count + 1], _at(moves, 3 * count + 1)), spring),
        peak_force=combined(middle[count - 1], _at(moves, count - 1)),
        peak_gauge=combined(middle[2 * count - 1], _at(moves, 2 * count - 1)),
        progression=within(middle[-1], _at(moves, 3 * count + 2)),
    )  # fmt: skip


_Moved = tuple[str, list[float], list[float]]


def _at(moves: Iterable[_Moved], place: int) -> list[Move]:
    return [Move(name, less[place], more[place]) for name, less, more in moves if less[place] or more[place]]


def _clipped(found: Band, spring: AirSpring) -> Band:
    return replace(found, low=max(0.0, found.low), high=min(spring.travel_m, found.high))


def _travels(spring: AirSpring, sag_at: float, steps: int) -> list[float]:
    """Even steps from full extension to full travel; sag and port replace a step that is close to them."""
    near = 0.1e-3  # travels are shown to 0.1 mm, so closer ones would be two points at the same travel
    named = [0.0, spring.travel_m]
    even = [spring.travel_m * (number / steps) for number in range(1, steps)]
    for each in (sag_at, spring.port_travel_m or 0.0):
        if all(abs(each - other) > near for other in named):
            named.append(each)
    return sorted(named + [each for each in even if all(abs(each - other) > near for other in named)])


def _bare(case: _Case, travels: Sequence[float], turn: float) -> tuple[Within, ...]:
    """The forces without bands."""
    figures = _figures(case, travels, turn)
    return tuple(Within(each, each, each) for each in figures[: len(travels)])


def _figures(case: _Case, travels: Sequence[float], turn: float) -> list[float]:
    """Fast forces, gauge pressures and slow forces at the travels, then sag, rest, and force over force at the sag."""
    spring, fill, n = case.spring, case.fill, case.exponent
    area, ring = spring.bore_area_m2, spring.annulus_area_m2
    full, empty, ambient = spring.positive_volume_m3(0.0), spring.negative_volume_m3, fill.ambient_pa
    air, pulled = fill.positive_pa * full, pulling_pa(spring, fill) * sealed_m3(spring)
    outside = spring.shaft_area_m2 * ambient
    turn_at = max(turn, spring.port_travel_m or 0.0)
    turn_positive, turn_negative = full - area * turn_at, empty + ring * turn_at
    fast, gauges, slow = [], [], []
    for x in travels:
        positive, behind = full - area * x, empty + ring * x
        pressure, pull = air / positive, pulled / behind
        slow.append(area * pressure - ring * pull - outside)
        if x > turn_at:
            pressure *= (turn_positive / positive) ** (n - 1)
            pull *= (turn_negative / behind) ** (n - 1)
        fast.append(area * pressure - ring * pull - outside)
        gauges.append(pressure - ambient)
    carried = area * air / (full - area * turn) - ring * pulled / (empty + ring * turn) - outside
    return [*fast, *gauges, *slow, turn, sag_m(spring, fill, 0.0), fast[-1] / carried if carried > 0 else math.inf]


def _moves(
    centre: _Case, filled: FilledSpring, load: Band | None, spreads: Spreads, exponent: Uncertain,
    travels: Sequence[float], sag_at: float, middle: Sequence[float],
) -> list[_Moved]:  # fmt: skip
    """The effect of each input alone on every figure."""

    def moved(case: _Case) -> list[float]:
        turn = sag_at if case.load_n is None else _sag_or_end(case)
        return [a - b if a != b else 0.0 for a, b in zip(_figures(case, travels, turn), middle, strict=True)]

    found: list[_Moved] = []
    for name, less, more in moved_springs(centre.spring, spreads):
        found.append((name, moved(centre._replace(spring=less)), moved(centre._replace(spring=more))))
    fills = [filled.fill(sign * spreads.gauge_pa) for sign in (-1, 1)]
    found.append((GAUGE, moved(centre._replace(fill=fills[0])), moved(centre._replace(fill=fills[1]))))
    ends = [moved(centre._replace(exponent=exponent.value + sign * exponent.half_width)) for sign in (-1, 1)]
    found.append((exponent.name, *ends))  # type: ignore[arg-type]
    if load is not None:
        found += _of_load(centre, load, moved)
    return found


def _sag_or_end(case: _Case) -> float:
    try:
        return sag_m(case.spring, case.fill, case.load_n or 0.0)
    except ValueError:
        return case.spring.travel_m


def _of_load(centre: _Case, load: Band, moved: Callable[[_Case], list[float]]) -> list[_Moved]:
    """The inputs of the load act only through the load, so the figures are computed once to either side of it."""
    step = math.hypot(*((more - less) / 2 for _, less, more, _ in load.moves))
    if step == 0:
        return []
    down, up = (moved(centre._replace(load_n=load.value + sign * step)) for sign in (-1, 1))
    straight = [(b - a) / 2 for a, b in zip(down, up, strict=True)]
    bent = [(b + a) / 2 for a, b in zip(down, up, strict=True)]

    def follow(by: float) -> list[float]:
        return [a * by + b * by * by for a, b in zip(straight, bent, strict=True)]

    return [(name, follow(less / step), follow(more / step)) for name, less, more, _ in load.moves]


def start_pressure(
    spring: AirSpring, sag_at: float, load: Band, ambient_pa: float, spreads: Spreads, negative_gauge_pa: float | None
) -> Band:
    """Gauge start pressure that carries the load at a sag, in Pa, with its band; the pressure is affine in the load.

    A negative chamber with its own valve is filled to `negative_gauge_pa` by the same gauge. ValueError like
    pressure_for_sag_pa, also at the ends of the spread.
    """

    def needed(own: AirSpring, load_n: float, off_pa: float = 0.0) -> float:
        negative = None if negative_gauge_pa is None else negative_gauge_pa + ambient_pa + off_pa
        return pressure_for_sag_pa(own, sag_at, load_n, ambient_pa, negative) - off_pa

    value = needed(spring, load.value)
    per_n = (needed(spring, load.value * 2) - value) / load.value
    moves = scaled(load.moves, per_n)
    for name, less, more in moved_springs(spring, spreads):
        moves.append(Move(name, needed(less, load.value) - value, needed(more, load.value) - value))
    less_off, more_off = (needed(spring, load.value, sign * spreads.gauge_pa) - value for sign in (-1, 1))
    moves.append(Move(GAUGE, less_off, more_off))
    return combined(value - ambient_pa, moves)


def same_sag_gauge(filled: FilledSpring, other: AirSpring, sag_at: float, spreads: Spreads) -> Band:
    """Gauge pressure at which the spring with another number of spacers carries the same load at this sag.

    The same sizes move both springs alike, so the load does not enter. ValueError like pressure_for_sag_pa.
    """
    pairs = zip(moved_springs(filled.spring, spreads), moved_springs(other, spreads), strict=True)

    def needed(own: AirSpring, its: AirSpring, off_pa: float = 0.0) -> float:
        fill = filled.fill(off_pa)
        pulling = pulling_pa(own, fill)
        carried = push_m2(own, sag_at) * fill.positive_pa - pull_m2(own, sag_at) * pulling
        if its.port_travel_m is None:
            return (carried + pull_m2(its, sag_at) * pulling) / push_m2(its, sag_at) - off_pa
        return carried / (push_m2(its, sag_at) - pull_m2(its, sag_at)) - off_pa

    value = needed(filled.spring, other)
    moves = [
        Move(name, needed(less, its_less) - value, needed(more, its_more) - value)
        for (name, less, more), (_, its_less, its_more) in pairs
    ]
    less_off, more_off = (needed(filled.spring, other, sign * spreads.gauge_pa) - value for sign in (-1, 1))
    moves.append(Move(GAUGE, less_off, more_off))
    return combined(value - filled.ambient_pa, moves)
