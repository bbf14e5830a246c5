"""How far a computed value may be off: one-at-a-time spread of the inputs, root sum square, biggest one named."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

from app.physics.air_spring import AirSpring, disc_area_m2, pressure_for_sag_abs_pa
from app.physics.load import front_load_n


@dataclass(frozen=True, slots=True)
class Uncertain:
    """An input known to lie within value +- half_width, no place in it likelier than another; half_width >= 0."""

    name: str
    value: float
    half_width: float


@dataclass(frozen=True, slots=True)
class Contribution:
    """How far one input alone moves the result up and down at the share of the band; both >= 0."""

    name: str
    up: float
    down: float


@dataclass(frozen=True, slots=True)
class Band:
    """A value with the range that holds the true one at least as often as `share`; `biggest` is None without spread."""

    value: float
    low: float
    high: float
    share: float
    biggest: str | None
    contributions: tuple[Contribution, ...]


def band(function: Callable[[Mapping[str, float]], float], inputs: Sequence[Uncertain], share: float = 0.95) -> Band:
    """Band of `function`, which takes the inputs by name, when each lies anywhere within its half-width, independently.

    Each input is moved to both ends alone. An end is sqrt(3) standard uncertainties away (rectangular distribution,
    JCGM 100:2008, 4.3.7); the moves are scaled by k/sqrt(3), k = 1.96 at 95 %, and added as root sum square, up and
    down apart (JCGM 100, 5.1.2 and 6.2). 0.95 <= share < 1: below, the sum of one or two
    rectangular inputs is covered less often than k says. ValueError also when the function refuses one of the ends.
    """
    scale = half_width_scale(share)
    values = {each.name: each.value for each in inputs}
    if len(values) != len(inputs):
        raise ValueError("The inputs of a band must have different names.")
    middle = function(values)
    contributions = []
    for each in inputs:
        if not each.half_width >= 0:
            raise ValueError(f"The spread of {each.name} must not be negative.")
        ends = [function({**values, each.name: each.value + sign * each.half_width}) - middle for sign in (-1, 1)]
        contributions.append(contribution(each.name, ends, scale))
    return combined(middle, contributions, share)


def half_width_scale(share: float) -> float:
    """k/sqrt(3) with k of the normal distribution: what a move by a half-width counts in a band of this share."""
    if not 0.95 <= share < 1:
        raise ValueError("The share of a band must lie between 0.95 and 1.")
    return NormalDist().inv_cdf((1 + share) / 2) / math.sqrt(3)


def contribution(name: str, moves: Sequence[float], scale: float) -> Contribution:
    """What the moves of a result to both ends of one input contribute."""
    return Contribution(name, scale * max(0.0, *moves), scale * max(0.0, *(-move for move in moves)))


def combined(value: float, contributions: Sequence[Contribution], share: float) -> Band:
    """The root sum square of contributions that were scaled for this share."""
    biggest = max(contributions, key=lambda one: one.up + one.down, default=None)
    return Band(
        value=value,
        low=value - math.hypot(*(one.down for one in contributions)),
        high=value + math.hypot(*(one.up for one in contributions)),
        share=share,
        biggest=biggest.name if biggest is not None and biggest.up + biggest.down > 0 else None,
        contributions=tuple(contributions),
    )


@dataclass(frozen=True, slots=True)
class Setup:
    """What a start pressure is computed from; sag_m is travel from full extension, the load as front_load_n has it."""

    spring: AirSpring
    sag_m: float
    rider_with_gear_kg: float
    bike_kg: float
    front_share: float
    unsprung_front_kg: float
    head_angle_rad: float
    ambient_pa: float


@dataclass(frozen=True, slots=True)
class Spreads:
    """Half-widths of the inputs of a start pressure; volumes as a share of themselves, bore as a diameter."""

    front_share: float
    bike_kg: float
    unsprung_front_kg: float
    head_angle_rad: float
    friction_n: float
    end_volume_share: float
    negative_volume_share: float
    bore_m: float
    port_m: float
    gauge_pa: float


GAUGE_HALF_WIDTH_PA = 0.7 * 6894.757293168  # common practice, no source

_PERSON_AND_GAUGE = {
    "front_share": 0.05,
    "bike_kg": 2.0,
    "unsprung_front_kg": 1.0,
    "head_angle_rad": math.radians(2.0),
    "friction_n": 20.0,
    "gauge_pa": GAUGE_HALF_WIDTH_PA,
}

# By how the geometry of a spring is known (springs.geometry_basis). Common practice, no source.
SPREADS: Mapping[str, Spreads] = {
    "stated": Spreads(
        **_PERSON_AND_GAUGE, end_volume_share=0.03, negative_volume_share=0.03, bore_m=0.0001, port_m=0.0005
    ),
    "measured": Spreads(
        **_PERSON_AND_GAUGE, end_volume_share=0.06, negative_volume_share=0.06, bore_m=0.0001, port_m=0.001
    ),
    "estimated": Spreads(
        **_PERSON_AND_GAUGE, end_volume_share=0.20, negative_volume_share=0.20, bore_m=0.0005, port_m=0.002
    ),
}


def start_pressure_band(setup: Setup, spreads: Spreads, share: float = 0.95) -> Band:
    """Gauge start pressure for the sag, in Pa, with its band; names of the contributions are the fields of Spreads.

    Friction shifts the load by up to its half-width either way; the gauge adds to the result. A port is never moved
    beyond full extension. ValueError as front_load_n and pressure_for_sag_abs_pa, at the ends of the spread as well.
    """
    spring = setup.spring
    inputs = [
        Uncertain("front_share", setup.front_share, spreads.front_share),
        Uncertain("bike_kg", setup.bike_kg, spreads.bike_kg),
        Uncertain("unsprung_front_kg", setup.unsprung_front_kg, spreads.unsprung_front_kg),
        Uncertain("head_angle_rad", setup.head_angle_rad, spreads.head_angle_rad),
        Uncertain("friction_n", 0.0, spreads.friction_n),
        *spring_inputs(spring, spreads),
    ]

    def gauge_pa(values: Mapping[str, float]) -> float:
        load_n = front_load_n(
            setup.rider_with_gear_kg,
            values["bike_kg"],
            values["front_share"],
            values["unsprung_front_kg"],
            values["head_angle_rad"],
        )
        load_n += values["friction_n"]
        pressure = pressure_for_sag_abs_pa(moved_spring(spring, values), setup.sag_m, load_n, setup.ambient_pa)
        return pressure - setup.ambient_pa + values["gauge_pa"]

    return band(gauge_pa, inputs, share)


def spring_band(
    spring: AirSpring,
    start_gauge_pa: float,
    spreads: Spreads,
    result: Callable[[AirSpring, float], float],
    share: float = 0.95,
) -> Band:
    """Band of what a spring does once a gauge shows the start pressure: of `result(spring, start gauge in Pa)`.

    Load and friction do not enter. ValueError where `result` refuses one of the ends of the spread.
    """

    def at(values: Mapping[str, float]) -> float:
        return result(moved_spring(spring, values), start_gauge_pa + values["gauge_pa"])

    return band(at, spring_inputs(spring, spreads), share)


def spring_inputs(spring: AirSpring, spreads: Spreads) -> list[Uncertain]:
    """The sizes of a spring and the gauge with their half-widths, by the names of Spreads."""
    return [
        Uncertain("end_volume_share", 1.0, spreads.end_volume_share),
        Uncertain("negative_volume_share", 1.0, spreads.negative_volume_share),
        Uncertain("bore_m", math.sqrt(4 * spring.bore_area_m2 / math.pi), spreads.bore_m),
        Uncertain("port_m", spring.port_travel_m, spreads.port_m),
        Uncertain("gauge_pa", 0.0, spreads.gauge_pa),
    ]


def moved_spring(spring: AirSpring, values: Mapping[str, float]) -> AirSpring:
    """The spring with the sizes of `spring_inputs`; a port is never moved beyond full extension."""
    return replace(
        spring,
        bore_area_m2=disc_area_m2(values["bore_m"]),
        end_volume_m3=spring.end_volume_m3 * values["end_volume_share"],
        negative_volume_m3=spring.negative_volume_m3 * values["negative_volume_share"],
        port_travel_m=max(0.0, values["port_m"]),
    )
