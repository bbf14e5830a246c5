"""Front load and coil springs."""

import math

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.constants import g
from scipy.optimize import brentq

from app.physics import coil, load


def test_front_load_by_hand() -> None:
    """(80 + 15)*0.4 - 4 = 34 kg, on a fork that leans at 30 degrees from the horizontal: half of its weight."""
    assert load.front_load_n(80, 15, 0.4, 4, math.radians(30)) == pytest.approx(34 * 9.80665 / 2, rel=1e-12)
    assert g == load.STANDARD_GRAVITY_M_S2  # CODATA by scipy.constants


@pytest.mark.parametrize(
    "bad",
    [
        (0, 15, 0.4, 4, 1.1),
        (80, -1, 0.4, 4, 1.1),
        (80, 15, 1.0, 4, 1.1),
        (80, 15, 0.4, -1, 1.1),
        (80, 15, 0.4, 4, 66.0),
        (80, 15, 0.4, 40, 1.1),
        (80, 15, 0.4, 4, 0.0),
        (math.nan, 15, 0.4, 4, 1.1),
    ],
)
def test_a_load_that_cannot_be_is_refused(bad: tuple[float, float, float, float, float]) -> None:
    with pytest.raises(ValueError):
        load.front_load_n(*bad)


def test_dimensions_of_the_load() -> None:
    of = pint.UnitRegistry().Quantity
    force = load.front_load_n(
        of(180.0, "lb"), of(15.0, "kg"), 0.4, of(4000.0, "g"), of(66.0, "degree"), of(9.80665, "m/s**2")
    )
    bare = load.front_load_n(180 * 0.45359237, 15, 0.4, 4, math.radians(66))
    assert force.to("N").magnitude == pytest.approx(bare, rel=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.floats(2e3, 2e4), st.floats(0, 0.02), st.floats(100, 900))
def test_coil_sag_is_the_root_of_the_force_balance(rate: float, preload: float, weight: float) -> None:
    sag = coil.sag_travel_m(rate, weight, preload)
    if rate * preload >= weight:
        assert sag == 0
    else:
        assert sag == pytest.approx(
            brentq(lambda x: coil.force_n(rate, x, preload) - weight, 0, 1, xtol=1e-14), abs=1e-12
        )
        assert coil.rate_for_sag_n_per_m(weight, sag, preload) == pytest.approx(rate, rel=1e-9)


@pytest.mark.parametrize(
    ("wanted", "expected"), [(40.0, (35.0, 45.0)), (45.0, (45.0, 45.0)), (20.0, (None, 25.0)), (90.0, (55.0, None))]
)
def test_next_rates_down_and_up(wanted: float, expected: tuple[float | None, float | None]) -> None:
    assert coil.next_rates(wanted, [45.0, 25.0, 55.0, 35.0]) == expected


def test_coils_refuse_what_cannot_be() -> None:
    for refused in (
        lambda: coil.force_n(0.0, 0.1, 0.0),
        lambda: coil.force_n(5e3, -0.1, 0.0),
        lambda: coil.sag_travel_m(5e3, 100.0, -0.001),
        lambda: coil.sag_travel_m(5e3, -1.0, 0.0),
        lambda: coil.rate_for_sag_n_per_m(100.0, 0.0, 0.0),
        lambda: coil.next_rates(5e3, [0.0]),
    ):
        with pytest.raises(ValueError):
            refused()


def test_dimensions_of_a_coil() -> None:
    of = pint.UnitRegistry().Quantity
    sag = coil.sag_travel_m(of(45.0, "lbf/inch"), of(400.0, "N"), of(3.0, "mm"))
    assert sag.to("m").magnitude == pytest.approx(coil.sag_travel_m(45 * 175.12683524647636, 400.0, 0.003), rel=1e-9)
