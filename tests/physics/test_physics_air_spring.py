"""The air spring against scipy and against what must hold for any spring, whatever its size."""

import math
from dataclasses import replace
from itertools import pairwise

import pint
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from physics_springs import PA, spring_of, springs
from scipy.integrate import quad
from scipy.optimize import brentq

from app.physics import air_spring as air
from app.physics.roots import bracketed_root

UNITS = pint.UnitRegistry()
SPRING = spring_of(32, 10, 150, 0.5, 0.3, 4)
PORTLESS = spring_of(32, 10, 150, 0.5, 0.3, 0)
starts = st.floats(2e5, 15e5)
exponents = st.floats(1.0, 1.45)
fast = settings(max_examples=60, deadline=None)


@fast
@given(springs(), starts, st.floats(0, 1), st.floats(0, 1), exponents)
def test_energy_is_the_integral_of_force(
    spring: air.AirSpring, start: float, first: float, last: float, exponent: float
) -> None:
    low, high = first * spring.travel_m, last * spring.travel_m
    by_quadrature, _ = quad(lambda x: air.force_n(spring, x, start, PA, exponent), low, high)
    assert air.energy_j(spring, low, high, start, PA, exponent) == pytest.approx(by_quadrature, rel=1e-7, abs=1e-6)


@fast
@given(springs(), st.floats(0.1, 0.4), st.floats(200, 1000))
def test_the_closed_form_start_pressure_is_the_root_of_the_force_balance(
    spring: air.AirSpring, share: float, load: float
) -> None:
    sag = share * spring.travel_m
    assume(sag > 1.5 * spring.port_travel_m)
    assume(air.coefficient_m2(spring, sag) > 0)
    start = air.pressure_for_sag_abs_pa(spring, sag, load, PA)
    root = brentq(lambda p: air.force_n(spring, sag, p, PA) - load, 1.0, 1e9, xtol=1e-6)
    assert start == pytest.approx(root, rel=1e-9)


@fast
@given(springs(), starts, st.floats(100, 1200), exponents)
def test_sag_is_the_root_that_scipy_finds(spring: air.AirSpring, start: float, load: float, exponent: float) -> None:
    def missing(x: float) -> float:
        return air.force_n(spring, x, start, PA, exponent) - load

    assume(missing(0.0) < 0 < missing(spring.travel_m))
    assert air.sag_travel_m(spring, load, start, PA, exponent) == pytest.approx(
        brentq(missing, 0.0, spring.travel_m, xtol=1e-14), abs=1e-12
    )


@fast
@given(springs(), starts, st.floats(1.001, 2), st.floats(50, 1000), exponents)
def test_more_pressure_never_gives_more_sag(
    spring: air.AirSpring, start: float, more: float, load: float, exponent: float
) -> None:
    assume(air.force_n(spring, spring.travel_m, start, PA, exponent) > load)
    before = air.sag_travel_m(spring, load, start, PA, exponent)
    assert air.sag_travel_m(spring, load, start * more, PA, exponent) <= before + 1e-15


@fast
@given(springs(), starts, st.floats(0, 0.98), exponents)
def test_force_and_coefficient_grow_with_travel(
    spring: air.AirSpring, start: float, share: float, exponent: float
) -> None:
    here, there = share * spring.travel_m, (share + 0.02) * spring.travel_m
    assert air.coefficient_m2(spring, there, exponent) > air.coefficient_m2(spring, here, exponent)


@fast
@given(springs(), starts, st.integers(0, 8), st.floats(150, 900), exponents)
def test_more_spacers_never_lower_the_peak_at_the_same_start_pressure(
    spring: air.AirSpring, start: float, spacers: int, load: float, exponent: float
) -> None:
    peaks = []
    for count in (spacers, spacers + 1):
        fitted = spring.with_spacers(count)
        assume(air.force_n(fitted, fitted.travel_m, start, PA) > load)
        sag = air.sag_travel_m(fitted, load, start, PA)
        peaks.append(air.peak(fitted, start, sag, PA, exponent))
    assert peaks[1].pressure_abs_pa > peaks[0].pressure_abs_pa
    assert peaks[1].force_n > peaks[0].force_n


@fast
@given(springs(), st.floats(0.10, 0.40), st.floats(200, 900), exponents)
def test_more_spacers_never_lower_the_peak_at_the_same_sag(
    spring: air.AirSpring, share: float, load: float, exponent: float
) -> None:
    sag = share * spring.travel_m
    assume(sag > spring.port_travel_m)
    rows = air.by_spacers(spring, sag, load, PA, 6, exponent)
    for fewer, more in pairwise(rows):
        assert more.peak.pressure_abs_pa > fewer.peak.pressure_abs_pa
        assert more.peak.force_n > fewer.peak.force_n
        assert more.start_pressure_abs_pa < fewer.start_pressure_abs_pa
        assert more.progression > fewer.progression


@fast
@given(springs(), st.floats(0.6, 1.15), starts, st.floats(50, 900))
def test_equal_pressure_gives_equal_sag_in_millimetres_where_shaft_length_sets_the_travel(
    spring: air.AirSpring, longer: float, start: float, load: float
) -> None:
    travel = spring.travel_m * longer
    assume(spring.end_volume_m3 + spring.bore_area_m2 * (spring.travel_m - travel) > 1e-6)
    other = spring.with_travel(travel)
    assert other.positive_volume_m3(0.0) == pytest.approx(spring.positive_volume_m3(0.0), rel=1e-12)
    shorter = min(spring, other, key=lambda one: one.travel_m)
    assume(air.force_n(shorter, shorter.travel_m, start, PA) > load)
    assert air.sag_travel_m(other, load, start, PA) == pytest.approx(
        air.sag_travel_m(spring, load, start, PA), abs=1e-11
    )


def test_equal_sag_does_not_hold_when_the_chamber_is_another() -> None:
    """The theorem says something: with travel spacers (V_end kept, V(0) not) the sag is another."""
    other = replace(SPRING, travel_m=0.130)
    here, there = (air.sag_travel_m(spring, 500.0, 6e5, PA) for spring in (SPRING, other))
    assert abs(here - there) > 2e-4


@fast
@given(springs(), starts)
def test_the_fork_rests_where_no_force_is_left(spring: air.AirSpring, start: float) -> None:
    at_extension = air.force_n(spring, 0.0, start, PA)
    free = air.free_travel_m(spring, start, PA)
    if at_extension >= 0:
        assert free == 0
    else:
        assert free > 0
        assert air.force_n(spring, free, start, PA) == pytest.approx(0, abs=1e-6)


def test_a_port_below_full_extension_pulls_the_fork_in_and_the_force_is_not_clamped() -> None:
    assert air.force_n(SPRING, 0.0, 7e5, PA) < 0
    assert 0 < air.free_travel_m(SPRING, 7e5, PA) < SPRING.port_travel_m
    assert air.force_n(PORTLESS, 0.0, 7e5, PA) == pytest.approx(PORTLESS.shaft_area_m2 * (7e5 - PA))


def test_the_chambers_are_equal_at_the_port() -> None:
    for exponent in (1.0, 1.4):
        port = SPRING.port_travel_m
        assert air.negative_ratio(SPRING, port, exponent) == air.positive_ratio(SPRING, port, exponent)


def test_a_fast_stroke_starts_on_the_slow_curve_and_leaves_it_upwards() -> None:
    sag = 0.030
    slow, start = air.coefficient_m2(SPRING, sag), air.fast_coefficient_m2(SPRING, sag, sag, 1.4)
    assert start == pytest.approx(slow, rel=1e-14)
    assert air.fast_coefficient_m2(SPRING, 0.150, sag, 1.0) == pytest.approx(
        air.coefficient_m2(SPRING, 0.150), rel=1e-13
    )
    assert air.fast_coefficient_m2(SPRING, 0.150, sag, 1.4) > air.coefficient_m2(SPRING, 0.150)


def test_a_fast_stroke_from_a_sag_short_of_the_port_is_taken_about_the_port() -> None:
    """The stroke passes the port, where the chambers equalise once more: the sag no longer matters."""
    from_sag, from_port = (air.peak(SPRING, 7e5, sag, PA, 1.4) for sag in (0.001, SPRING.port_travel_m))
    assert from_sag == from_port
    assert from_port != air.peak(SPRING, 7e5, 0.030, PA, 1.4)


def test_the_peak_by_hand() -> None:
    """Air-only spring, A = 10 cm2, 100 mm, V_end = 50 cm3: 5 bar at 0, 6 bar at 25 mm, then (125/50)^1.4 more."""
    spring = air.AirSpring(1e-3, 1e-3, 0.1, 50e-6, 1e-5, 0.0)
    top = air.peak(spring, 5e5, 0.025, 1e5, 1.4)
    assert top.pressure_abs_pa == pytest.approx(6e5 * 2.5**1.4, rel=1e-12)
    assert top.force_n == pytest.approx((6e5 * 2.5**1.4 - 1e5) * 1e-3, rel=1e-12)
    assert top.travel_m == spring.travel_m


@pytest.mark.parametrize("exponent", [1 + 2.3e-16, 1 + 1e-12, 1 + 1e-8])
def test_energy_keeps_its_digits_as_the_exponent_comes_near_one(exponent: float) -> None:
    isothermal = air.energy_j(SPRING, 0.01, 0.12, 6e5, PA)
    assert air.energy_j(SPRING, 0.01, 0.12, 6e5, PA, exponent) == pytest.approx(isothermal, rel=1e-7)


def test_a_curve_runs_from_end_to_end() -> None:
    points = air.curve(SPRING, 6e5, PA, 31)
    assert (points[0].travel_m, points[-1].travel_m, len(points)) == (0, SPRING.travel_m, 31)
    assert points[0].pressure_abs_pa == pytest.approx(6e5)
    assert points[10].force_n == air.force_n(SPRING, points[10].travel_m, 6e5, PA)


@pytest.mark.parametrize(("end_ml", "spacer_ml", "held"), [(40, 8.2, 4), (41, 8.2, 4), (41.01, 8.2, 5), (5, 8.2, 0)])
def test_spacers_held_leave_air(end_ml: float, spacer_ml: float, held: int) -> None:
    """Boundary: five of 8.2 mL are 41.0 mL and would leave nothing of 41 mL."""
    assert air.spacers_held(end_ml * 1e-6, spacer_ml * 1e-6) == held
    spring = replace(SPRING, end_volume_m3=end_ml * 1e-6, spacer_volume_m3=spacer_ml * 1e-6)
    assert spring.with_spacers(held).free_end_volume_m3 > 0


@pytest.mark.parametrize(
    "change",
    [
        {"bore_area_m2": 0.0}, {"shaft_area_m2": 1.0}, {"travel_m": -0.1}, {"negative_volume_m3": 0.0},
        {"port_travel_m": 0.15}, {"port_travel_m": -0.001}, {"spacers": 99}, {"spacers": -1}, {"end_volume_m3": 0.0},
        {"spacers": 1, "spacer_volume_m3": None}, {"spacer_volume_m3": 0.0}, {"bore_area_m2": math.nan},
    ],
    ids=str,
)  # fmt: skip
def test_a_spring_that_cannot_exist_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(ValueError):
        replace(SPRING, **change)


def test_what_lies_outside_validity_is_refused() -> None:
    with pytest.raises(ValueError, match="bottoms out"):
        air.sag_travel_m(SPRING, 1e5, 3e5, PA)
    with pytest.raises(ValueError, match="between full extension and full travel"):
        air.force_n(SPRING, 0.151, 3e5, PA)
    with pytest.raises(ValueError, match="exponent"):
        air.force_n(SPRING, 0.1, 3e5, PA, 1.5)
    with pytest.raises(ValueError, match="Absolute pressures"):
        air.force_n(SPRING, 0.1, -3e5, PA)
    with pytest.raises(ValueError, match="rests unloaded"):
        air.pressure_for_sag_abs_pa(replace(SPRING, port_travel_m=0.008), 0.0005, 500.0, PA)
    with pytest.raises(ValueError, match="from the sag to full travel"):
        air.fast_coefficient_m2(SPRING, 0.01, 0.03, 1.4)
    with pytest.raises(ValueError, match="two points"):
        air.curve(SPRING, 6e5, PA, 1)
    with pytest.raises(ValueError, match="same sign"):
        bracketed_root(lambda x: x + 1, 0.0, 1.0)


def with_units() -> air.AirSpring:
    """SPRING in millimetres, square centimetres and millilitres."""
    return air.AirSpring(
        bore_area_m2=air.disc_area_m2(UNITS.Quantity(32.0, "mm")),
        shaft_area_m2=UNITS.Quantity(SPRING.shaft_area_m2, "m**2").to("cm**2"),
        travel_m=UNITS.Quantity(150.0, "mm"),
        end_volume_m3=UNITS.Quantity(SPRING.end_volume_m3, "m**3").to("mL"),
        negative_volume_m3=UNITS.Quantity(SPRING.negative_volume_m3, "m**3").to("mL"),
        port_travel_m=UNITS.Quantity(4.0, "mm"),
        spacer_volume_m3=UNITS.Quantity(SPRING.spacer_volume_m3, "m**3").to("mL"),
        spacers=1,
    )


def test_dimensions_hold_with_quantities_in_mixed_units() -> None:
    """pint quantities through the same functions: a slip of dimension raises, mixed units give the SI answer."""
    of, bare = UNITS.Quantity, SPRING.with_spacers(1)
    spring, start, ambient = with_units(), of(90.0, "psi"), of(1.01325, "bar")
    start_pa, load = 90 * 6894.757293168, of(120.0, "lbf")
    assert air.force_n(spring, of(5.0, "cm"), start, ambient, 1.3).to("N").magnitude == pytest.approx(
        air.force_n(bare, 0.05, start_pa, PA, 1.3), rel=1e-9
    )
    needed = air.pressure_for_sag_abs_pa(spring, of(1.2, "inch"), load, ambient)
    load_n = load.to("N").magnitude
    assert needed.to("Pa").magnitude == pytest.approx(air.pressure_for_sag_abs_pa(bare, 0.03048, load_n, PA), rel=1e-9)
    sag = air.sag_travel_m(spring, load, start, ambient)
    assert sag.to("m").magnitude == pytest.approx(air.sag_travel_m(bare, load_n, start_pa, PA), rel=1e-9)
    free = air.free_travel_m(spring, start, ambient)
    assert free.to("m").magnitude == pytest.approx(air.free_travel_m(bare, start_pa, PA), rel=1e-9)
    top = air.peak(spring, start, sag, ambient)
    assert top.pressure_abs_pa.to("Pa").magnitude == pytest.approx(
        air.peak(bare, start_pa, sag.to("m").magnitude, PA).pressure_abs_pa, rel=1e-9
    )
    assert top.force_n.check("[force]")
    work = air.energy_j(spring, of(0.0, "mm"), of(100.0, "mm"), start, ambient, 1.4)
    assert work.to("J").magnitude == pytest.approx(air.energy_j(bare, 0.0, 0.1, start_pa, PA, 1.4), rel=1e-9)
    with pytest.raises(pint.DimensionalityError):
        air.force_n(spring, of(5.0, "cm"), start, of(1.0, "N"))
