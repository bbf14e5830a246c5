"""The air spring against scipy, and against properties that hold for any spring of any size."""

import math
from dataclasses import replace
from itertools import pairwise

import pint
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from physics_springs import PA, spring_of, springs, stroke_of
from scipy.optimize import brentq

from app.physics import air_spring as air

UNITS = pint.UnitRegistry()
SPRING = spring_of(32, 10, 150, 0.5, 0.3, 4)
PORTLESS = spring_of(32, 10, 150, 0.5, 0.3, 0)
starts = st.floats(2e5, 15e5)
exponents = st.floats(1.0, 1.45)
fast = settings(max_examples=60, deadline=None)


@fast
@given(springs(), st.floats(0.1, 0.4), st.floats(200, 1000))
def test_the_closed_form_start_pressure_is_the_root_of_the_force_balance(
    spring: air.AirSpring, share: float, load: float
) -> None:
    sag = share * spring.travel_m
    assume(sag > 1.5 * (spring.port_travel_m or 0.0))
    assume(air.push_m2(spring, sag) > air.pull_m2(spring, sag))
    start = air.pressure_for_sag_pa(spring, sag, load, PA)
    root = brentq(lambda p: force(spring, sag, p) - load, 1.0, 1e9, xtol=1e-6)
    assert start == pytest.approx(root, rel=1e-9)


@fast
@given(springs(), starts, st.floats(100, 1200))
def test_sag_is_the_root_that_scipy_finds(spring: air.AirSpring, start: float, load: float) -> None:
    def missing(x: float) -> float:
        return force(spring, x, start) - load

    assume(missing(0.0) < 0 < missing(spring.travel_m))
    assert air.sag_m(spring, air.GasFill(start, PA), load) == pytest.approx(
        brentq(missing, 0.0, spring.travel_m, xtol=1e-14), abs=1e-12
    )


def force(spring: air.AirSpring, x: float, start: float, ambient: float = PA) -> float:
    return air.force_n(spring, air.GasFill(start, ambient), x)


@fast
@given(springs(), starts, st.floats(1.001, 2), st.floats(50, 1000))
def test_more_pressure_never_gives_more_sag(spring: air.AirSpring, start: float, more: float, load: float) -> None:
    assume(force(spring, spring.travel_m, start) > load)
    before = air.sag_m(spring, air.GasFill(start, PA), load)
    assert air.sag_m(spring, air.GasFill(start * more, PA), load) <= before + 1e-15


@fast
@given(springs(), starts, st.floats(0, 0.98))
def test_the_force_grows_with_travel(spring: air.AirSpring, start: float, share: float) -> None:
    here, there = share * spring.travel_m, (share + 0.02) * spring.travel_m
    assert force(spring, there, start) > force(spring, here, start)


@fast
@given(springs(), st.floats(0.10, 0.40), st.floats(200, 900), exponents)
def test_more_spacers_raise_the_peak_and_lower_the_pressure_for_the_same_sag(
    spring: air.AirSpring, share: float, load: float, exponent: float
) -> None:
    """At usual sags. Near full travel a spacer may lower the peak pressure, because the negative chamber loses more."""
    sag = share * spring.travel_m
    assume(sag > (spring.port_travel_m or 0.0))
    rows = [spring.with_spacers(count) for count in range(7)]
    starts = [air.pressure_for_sag_pa(each, sag, load, PA) for each in rows]
    strokes = [stroke_of(each, start, sag, exponent) for each, start in zip(rows, starts, strict=True)]
    for each, start in zip(rows, starts, strict=True):
        assert air.sag_m(each, air.GasFill(start, PA), load) == pytest.approx(sag, rel=1e-9)
    for (before, after), (fewer, more) in zip(pairwise(starts), pairwise(strokes), strict=True):
        assert after < before
        assert more.peak_gauge.value > fewer.peak_gauge.value
        assert more.peak_force.value > fewer.peak_force.value
        assert more.progression.value > fewer.progression.value


@fast
@given(springs(), starts, st.integers(0, 8), st.floats(150, 900), exponents)
def test_more_spacers_never_lower_the_peak_at_the_same_start_pressure(
    spring: air.AirSpring, start: float, spacers: int, load: float, exponent: float
) -> None:
    peaks = []
    for count in (spacers, spacers + 1):
        fitted = spring.with_spacers(count)
        assume(force(fitted, fitted.travel_m, start) > load)
        peaks.append(stroke_of(fitted, start, air.sag_m(fitted, air.GasFill(start, PA), load), exponent))
    assert peaks[1].peak_gauge.value > peaks[0].peak_gauge.value
    assert peaks[1].peak_force.value > peaks[0].peak_force.value


@fast
@given(springs(), st.floats(0.6, 1.15), starts, st.floats(50, 900))
def test_equal_pressure_gives_equal_sag_in_millimetres_if_the_shaft_length_sets_the_travel(
    spring: air.AirSpring, longer: float, start: float, load: float
) -> None:
    """A shorter shaft leaves the chamber at full extension as it is, so V_end grows by the travel it takes away."""
    travel = spring.travel_m * longer
    end_m3 = spring.end_volume_m3 + spring.bore_area_m2 * (spring.travel_m - travel)
    assume(end_m3 > 1e-6)
    other = replace(spring, travel_m=travel, end_volume_m3=end_m3)
    assert other.positive_volume_m3(0.0) == pytest.approx(spring.positive_volume_m3(0.0), rel=1e-12)
    shorter = min(spring, other, key=lambda one: one.travel_m)
    assume(force(shorter, shorter.travel_m, start) > load)
    fill = air.GasFill(start, PA)
    assert air.sag_m(other, fill, load) == pytest.approx(air.sag_m(spring, fill, load), abs=1e-11)


def test_the_same_pressure_gives_another_sag_if_the_chamber_is_another() -> None:
    """With travel spacers V_end is kept and V(0) is not, so the sag in millimetres is another."""
    other = replace(SPRING, travel_m=0.130)
    here, there = (air.sag_m(spring, air.GasFill(6e5, PA), 500.0) for spring in (SPRING, other))
    assert abs(here - there) > 2e-4


@fast
@given(springs(), starts)
def test_the_fork_rests_where_no_force_is_left(spring: air.AirSpring, start: float) -> None:
    free = air.sag_m(spring, air.GasFill(start, PA), 0.0)
    if force(spring, 0.0, start) >= 0:
        assert free == 0
    else:
        assert free > 0
        assert force(spring, free, start) == pytest.approx(0, abs=1e-6)


def test_a_port_below_full_extension_pulls_the_fork_in_and_the_force_is_not_clamped() -> None:
    assert force(SPRING, 0.0, 7e5) < 0
    assert 0 < air.sag_m(SPRING, air.GasFill(7e5, PA), 0.0) < 0.004
    assert force(PORTLESS, 0.0, 7e5) == pytest.approx(PORTLESS.shaft_area_m2 * (7e5 - PA))


def test_the_chambers_are_equal_at_the_port() -> None:
    """At equal pressures the difference of push and pull is the pressure on the shaft."""
    port = 0.004
    left = air.push_m2(SPRING, port) - air.pull_m2(SPRING, port)
    assert left == pytest.approx(air.push_m2(SPRING, port) * SPRING.shaft_area_m2 / SPRING.bore_area_m2, rel=1e-12)


@fast
@given(springs())
def test_no_pressure_holds_the_fork_above_the_point_of_balance(spring: air.AirSpring) -> None:
    balance = air.balance_m(spring)
    assume(balance > 1e-6)
    root = brentq(lambda x: air.push_m2(spring, x) - air.pull_m2(spring, x), 0.0, spring.travel_m, xtol=1e-14)
    assert balance == pytest.approx(root, abs=1e-11)


OWN_VALVE = replace(SPRING, port_travel_m=None)


@fast
@given(st.floats(2e5, 12e5), st.floats(2e5, 12e5), st.floats(100, 900))
def test_a_negative_chamber_with_a_valve_of_its_own(positive: float, negative: float, load: float) -> None:
    """Both chambers by Boyle's law written out; the start pressure found again from the sag it gives."""
    area, ring, fill = SPRING.bore_area_m2, SPRING.annulus_area_m2, air.GasFill(positive, PA, negative)
    full, empty = SPRING.positive_volume_m3(0.0), SPRING.negative_volume_m3

    def balance(x: float) -> float:
        push = area * positive * full / (full - area * x)
        return push - ring * negative * empty / (empty + ring * x) - SPRING.shaft_area_m2 * PA - load

    assume(balance(0.0) < 0 < balance(SPRING.travel_m))
    sag = air.sag_m(OWN_VALVE, fill, load)
    assert sag == pytest.approx(brentq(balance, 0.0, SPRING.travel_m, xtol=1e-14), abs=1e-11)
    assert air.pressure_for_sag_pa(OWN_VALVE, sag, load, PA, negative) == pytest.approx(positive, rel=1e-9)
    with pytest.raises(ValueError, match="it has its own valve"):
        air.sag_m(OWN_VALVE, air.GasFill(positive, PA), load)


def test_a_fast_stroke_starts_on_the_slow_curve_and_leaves_it_upwards() -> None:
    sag = 0.030
    fast_one, slow_one = (stroke_of(SPRING, 7e5, sag, exponent) for exponent in (1.4, 1.0))
    for travel, force_at, slow in zip(fast_one.travels_m, fast_one.forces, fast_one.slow, strict=True):
        assert slow.value == pytest.approx(force(SPRING, travel, 7e5), rel=1e-9, abs=1e-6)
        if travel <= sag:
            assert force_at == slow
        else:
            assert force_at.value > slow.value
    assert slow_one.peak_force.value == pytest.approx(force(SPRING, 0.150, 7e5), rel=1e-12)


def test_a_fast_stroke_from_a_sag_short_of_the_port_is_taken_about_the_port() -> None:
    """The stroke passes the port, where the chambers equalise once more: the sag no longer matters."""
    from_sag, from_port = (stroke_of(SPRING, 7e5, sag, 1.4).peak_force for sag in (0.001, 0.004))
    assert from_sag.value == pytest.approx(from_port.value, rel=1e-14)
    assert from_port.value != stroke_of(SPRING, 7e5, 0.030, 1.4).peak_force.value


def test_the_peak_by_hand() -> None:
    """Air-only spring, A = 10 cm2, 100 mm, V_end = 50 cm3: 5 bar at 0, 6 bar at 25 mm, then (125/50)^1.4 more."""
    spring = air.AirSpring(1e-3, 1e-3, 0.1, 50e-6, 1e-5, 0.0)
    top = stroke_of(spring, 5e5, 0.025, 1.4)
    assert top.peak_gauge.value + PA == pytest.approx(6e5 * 2.5**1.4, rel=1e-12)
    assert top.peak_force.value == pytest.approx((6e5 * 2.5**1.4 - PA) * 1e-3, rel=1e-12)
    assert top.travels_m[-1] == spring.travel_m


def test_a_curve_runs_from_end_to_end_with_sag_and_port_among_its_travels() -> None:
    found = stroke_of(SPRING, 6e5, 0.0333, 1.4, 20)
    assert (found.travels_m[0], found.travels_m[-1]) == (0, SPRING.travel_m)
    assert {0.0333, 0.004} < set(found.travels_m)
    assert list(found.travels_m) == sorted(set(found.travels_m))
    assert found.gauges[0].value == pytest.approx(6e5 - PA)


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
        air.sag_m(SPRING, air.GasFill(3e5, PA), 1e5)
    with pytest.raises(ValueError, match="between full extension and full travel"):
        force(SPRING, 0.151, 3e5)
    with pytest.raises(ValueError, match="Absolute pressures"):
        force(SPRING, 0.1, -3e5)
    with pytest.raises(ValueError, match="rests unloaded"):
        air.pressure_for_sag_pa(replace(SPRING, port_travel_m=0.008), 0.0005, 500.0, PA)


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
    fill, bare_fill, load = air.GasFill(start, ambient), air.GasFill(90 * 6894.757293168, PA), of(120.0, "lbf")
    assert air.force_n(spring, fill, of(5.0, "cm")).to("N").magnitude == pytest.approx(
        air.force_n(bare, bare_fill, 0.05), rel=1e-9
    )
    needed = air.pressure_for_sag_pa(spring, of(1.2, "inch"), load, ambient)
    load_n = load.to("N").magnitude
    assert needed.to("Pa").magnitude == pytest.approx(air.pressure_for_sag_pa(bare, 0.03048, load_n, PA), rel=1e-9)
    sag = air.sag_m(spring, fill, load)
    assert sag.to("m").magnitude == pytest.approx(air.sag_m(bare, bare_fill, load_n), rel=1e-9)
    with pytest.raises(pint.DimensionalityError):
        air.force_n(spring, air.GasFill(start, of(1.0, "N")), of(5.0, "cm"))
