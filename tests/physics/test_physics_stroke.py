"""The stroke gone through once for all its points is that of the functions for one point, and so are its bands."""

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from physics_springs import PA, spring_of, springs

from app.physics import air_spring as air
from app.physics import coil
from app.physics.band import SPREADS, Band, Setup, Spreads, Uncertain, band, spring_band, start_pressure_band
from app.physics.load import front_load_n
from app.physics.stroke import start_pressure_at, stroke

SPRING = spring_of(32, 10, 150, 0.5, 0.3, 4)
TRAVELS = (0.0, 0.002, 0.004, 0.02, 0.0375, 0.08, 0.15)
some = settings(max_examples=60, deadline=None)


def load_of(spreads: Spreads) -> Band:
    """The load of 80 kg on 15 kg of bike with friction, under the names of Spreads."""
    inputs = [
        Uncertain("front_share", 0.42, spreads.front_share),
        Uncertain("bike_kg", 15.0, spreads.bike_kg),
        Uncertain("unsprung_front_kg", 4.0, spreads.unsprung_front_kg),
        Uncertain("head_angle_rad", math.radians(65), spreads.head_angle_rad),
        Uncertain("friction_n", 0.0, spreads.friction_n),
    ]
    names = ("bike_kg", "front_share", "unsprung_front_kg", "head_angle_rad")
    return band(lambda at: front_load_n(80.0, *(at[name] for name in names)) + at["friction_n"], inputs)


@some
@given(springs(), st.floats(0.05, 0.6), st.floats(2e5, 15e5), st.floats(1.0, 1.45))
def test_each_point_is_that_of_the_function_for_one_point(
    spring: air.AirSpring, share: float, start: float, exponent: float
) -> None:
    sag = share * spring.travel_m
    travels = sorted({0.0, spring.port_travel_m, sag, 0.7 * spring.travel_m, spring.travel_m})
    found = stroke(spring, travels, sag, start - PA, PA, exponent, SPREADS["stated"])
    for travel, force, gauge in zip(travels, found.forces_n, found.gauges_pa, strict=True):
        fast = travel > max(sag, spring.port_travel_m)
        point = air.fast_point(spring, travel, start, sag, PA, exponent) if fast else None
        by_one = air.force_n(spring, travel, start, PA) if point is None else point.force_n
        pressure = start * air.positive_ratio(spring, travel) if point is None else point.pressure_abs_pa
        assert force.value == pytest.approx(by_one, rel=1e-9, abs=1e-6)
        assert gauge.value == pytest.approx(pressure - PA, rel=1e-9)


@pytest.mark.parametrize("known", sorted(SPREADS))
@pytest.mark.parametrize("place", range(len(TRAVELS)))
def test_the_band_of_each_point_is_the_root_sum_square_of_its_inputs(known: str, place: int) -> None:
    """Against physics.band.band, which moves one input after the other through the functions for one point."""
    start, sag, travel = 5e5, 0.0375, TRAVELS[place]

    def point(spring: air.AirSpring, gauge: float) -> tuple[float, float]:
        if travel > max(sag, spring.port_travel_m):
            found = air.fast_point(spring, travel, gauge + PA, sag, PA, 1.4)
            return found.force_n, found.pressure_abs_pa - PA
        ratio = air.positive_ratio(spring, travel)
        return air.force_n(spring, travel, gauge + PA, PA), ratio * (gauge + PA) - PA

    found = stroke(SPRING, TRAVELS, sag, start, PA, 1.4, SPREADS[known])
    for which, shown in enumerate((found.forces_n[place], found.gauges_pa[place])):
        wanted = spring_band(SPRING, start, SPREADS[known], lambda own, gauge, at=which: point(own, gauge)[at])  # type: ignore[misc]
        assert shown == pytest.approx((wanted.value, wanted.low, wanted.high), rel=1e-9)
        if travel == SPRING.travel_m:
            assert (found.biggest, found.biggest_pressure)[which] == wanted.biggest


@pytest.mark.parametrize("known", sorted(SPREADS))
def test_progression_is_force_over_force(known: str) -> None:
    def ratio(spring: air.AirSpring, gauge: float) -> float:
        top = air.peak(spring, gauge + PA, 0.0375, PA, 1.4).force_n
        return top / air.force_n(spring, 0.0375, gauge + PA, PA)

    wanted = spring_band(SPRING, 5e5, SPREADS[known], ratio)
    found = stroke(SPRING, TRAVELS, 0.0375, 5e5, PA, 1.4, SPREADS[known]).progression
    assert found == pytest.approx((wanted.value, wanted.low, wanted.high), rel=1e-9)


@pytest.mark.parametrize("known", sorted(SPREADS))
@pytest.mark.parametrize("spacers", [0, 2])
def test_the_start_pressure_from_the_band_of_the_load(known: str, spacers: int) -> None:
    """The same as moving every input through the whole computation, for each contribution."""
    spreads, spring = SPREADS[known], SPRING.with_spacers(spacers)
    wanted = start_pressure_band(Setup(spring, 0.0375, 80.0, 15.0, 0.42, 4.0, math.radians(65), PA), spreads)
    found = start_pressure_at(spring, 0.0375, load_of(spreads), PA, spreads)
    assert (found.value, found.low, found.high) == pytest.approx((wanted.value, wanted.low, wanted.high), rel=1e-9)
    assert found.biggest == wanted.biggest
    for mine, its in zip(found.contributions, wanted.contributions, strict=True):
        assert mine.name == its.name
        assert (mine.up, mine.down) == pytest.approx((its.up, its.down), rel=1e-6, abs=1e-3)


@some
@given(st.floats(3000, 12000), st.floats(0, 0.02), st.floats(0, 0.05), st.floats(0.0, 0.002))
def test_the_sag_of_a_coil_by_moving_each_input(rate: float, preload: float, rate_share: float, half: float) -> None:
    load = load_of(SPREADS["stated"])
    found = coil.sag_band(
        Uncertain("rate", rate, rate * rate_share), load, Uncertain("preload", preload, half)
    )  # fmt: skip
    assume(found.low > 0)
    pushed = [Uncertain("front_share", 0.42, 0.05), Uncertain("bike_kg", 15.0, 2.0)]
    pushed += [Uncertain("unsprung_front_kg", 4.0, 1.0), Uncertain("head_angle_rad", math.radians(65), math.radians(2))]
    pushed += [Uncertain("friction_n", 0.0, 20.0)]
    pushed += [Uncertain("rate", rate, rate * rate_share), Uncertain("preload", preload, half)]
    wanted = band(
        lambda at: (
            (front_load_n(80.0, at["bike_kg"], at["front_share"], at["unsprung_front_kg"], at["head_angle_rad"])
            + at["friction_n"])
            / at["rate"]
            - at["preload"]
        ),
        pushed,
    )  # fmt: skip
    assert (found.value, found.low, found.high) == pytest.approx((wanted.value, wanted.low, wanted.high), rel=1e-9)


def test_a_coil_held_by_its_stop_has_no_sag_below_none() -> None:
    found = coil.sag_band(Uncertain("rate", 9e3, 50.0), load_of(SPREADS["stated"]), Uncertain("preload", 0.037, 0.0005))
    assert found.value == found.low == 0
    assert found.high > 0
    least, most = coil.force_ends_n(Uncertain("rate", 9e3, 50.0), 0.1, Uncertain("preload", 0.002, 0.0005))
    assert (least, most) == pytest.approx((8950 * 0.1015, 9050 * 0.1025))


@pytest.mark.parametrize(
    ("travels", "sag", "gauge", "exponent"),
    [
        ((0.0, 0.16), 0.0, 5e5, 1.4),
        ((-0.001, 0.0375), 0.0375, 5e5, 1.4),
        (TRAVELS, 0.05, 5e5, 1.4),
        (TRAVELS, 0.0375, -2e5, 1.4),
        (TRAVELS, 0.0375, 5e5, 1.5),
        (TRAVELS, 0.0375, 5e5, 0.9),
    ],
)
def test_a_stroke_refuses_what_cannot_be(travels: tuple[float, ...], sag: float, gauge: float, exponent: float) -> None:
    with pytest.raises(ValueError):
        stroke(SPRING, travels, sag, gauge, PA, exponent, SPREADS["stated"])


def test_a_band_of_another_share_is_refused() -> None:
    with pytest.raises(ValueError, match="share"):
        start_pressure_at(SPRING, 0.0375, load_of(SPREADS["stated"]), PA, SPREADS["stated"], share=0.99)
