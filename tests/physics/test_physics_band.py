"""A band holds the true value as often as it says, and names what matters most."""

import math
import random
from collections.abc import Mapping
from dataclasses import fields, replace

import pytest
from physics_springs import PA, random_spring, spring_of, true_gauge_pa

from app.physics.air_spring import disc_area_m2
from app.physics.band import SPREADS, Setup, Spreads, Uncertain, band, start_pressure_band
from app.physics.load import front_load_n

SPRING = spring_of(32, 10, 150, 0.5, 0.3, 4)
SETUP = Setup(SPRING, 0.033, 80.0, 15.0, 0.42, 4.0, math.radians(65), PA)


def one_truth(setup: Setup, spreads: Spreads, source: random.Random) -> float:
    """The start pressure of one fork and rider out of all that the spreads allow, by the force balance written out."""

    def off(name: str) -> float:
        half_width: float = getattr(spreads, name)
        return source.uniform(-half_width, half_width)

    weight_kg = (setup.rider_with_gear_kg + setup.bike_kg + off("bike_kg")) * (setup.front_share + off("front_share"))
    sprung_kg = weight_kg - setup.unsprung_front_kg - off("unsprung_front_kg")
    load = sprung_kg * 9.80665 * math.sin(setup.head_angle_rad + off("head_angle_rad")) + off("friction_n")
    bore = math.sqrt(4 * setup.spring.bore_area_m2 / math.pi) + off("bore_m")
    spring = replace(
        setup.spring,
        bore_area_m2=math.pi / 4 * bore**2,
        end_volume_m3=setup.spring.end_volume_m3 * (1 + off("end_volume_share")),
        negative_volume_m3=setup.spring.negative_volume_m3 * (1 + off("negative_volume_share")),
        port_travel_m=max(0.0, setup.spring.port_travel_m + off("port_m")),
    )
    return true_gauge_pa(spring, setup.sag_m, load) + off("gauge_pa")


@pytest.mark.parametrize("basis", sorted(SPREADS))
@pytest.mark.parametrize("share", [0.95, 0.99])
def test_the_band_of_a_start_pressure_covers_its_share(basis: str, share: float) -> None:
    """Monte Carlo: 40 random springs, 150 draws each; the band must not be so wide that it holds all of them."""
    source = random.Random(f"{basis} {share}")
    covered = total = 0
    for _ in range(40):
        spring = random_spring(source)
        setup = replace(SETUP, spring=spring, sag_m=source.uniform(0.2, 0.3) * spring.travel_m)
        found = start_pressure_band(setup, SPREADS[basis], share)
        for _ in range(150):
            total += 1
            covered += found.low <= one_truth(setup, SPREADS[basis], source) <= found.high
    assert share <= covered / total < 1


def test_the_middle_of_the_band_is_the_start_pressure() -> None:
    load = front_load_n(80.0, 15.0, 0.42, 4.0, math.radians(65))
    found = start_pressure_band(SETUP, SPREADS["stated"])
    assert found.value == pytest.approx(true_gauge_pa(SPRING, 0.033, load), rel=1e-12)
    assert found.low < found.value < found.high


@pytest.mark.parametrize("name", [field.name for field in fields(Spreads)])
def test_the_biggest_contributor_is_named(name: str) -> None:
    """With only one input spread, it is the one; each of them moves the result."""
    none = Spreads(*(0.0 for _ in fields(Spreads)))
    found = start_pressure_band(SETUP, replace(none, **{name: 0.0004}))
    assert found.biggest == name
    assert start_pressure_band(SETUP, none).biggest is None


def test_a_port_at_full_extension_is_not_moved_beyond_it() -> None:
    setup = replace(SETUP, spring=replace(SPRING, port_travel_m=0.0))
    found = start_pressure_band(setup, SPREADS["estimated"])
    assert found.low < found.value < found.high


def test_independent_spreads_add_as_root_sum_square() -> None:
    """3 and 4 give 5: sum of two inputs, JCGM 100:2008 5.1.2, at k/sqrt(3) = 1.95996/1.73205."""

    def total(values: Mapping[str, float]) -> float:
        return values["a"] + values["b"]

    found = band(total, [Uncertain("a", 10.0, 3.0), Uncertain("b", 20.0, 4.0)])
    assert found.high - found.value == pytest.approx(5 * 1.959964 / math.sqrt(3), rel=1e-6)
    assert found.value - found.low == pytest.approx(found.high - found.value)
    assert (found.value, found.biggest) == (30.0, "b")


def test_a_lopsided_function_has_a_lopsided_band() -> None:
    found = band(lambda values: values["x"] ** 4, [Uncertain("x", 1.0, 0.5)])
    assert found.high - found.value > 2 * (found.value - found.low) > 0


def test_a_band_refuses_what_it_cannot_mean() -> None:
    with pytest.raises(ValueError, match="share"):
        band(lambda _: 1.0, [], 1.0)
    with pytest.raises(ValueError, match="different names"):
        band(lambda _: 1.0, [Uncertain("a", 1.0, 1.0), Uncertain("a", 1.0, 1.0)])
    with pytest.raises(ValueError, match="spread of a"):
        band(lambda _: 1.0, [Uncertain("a", 1.0, -1.0)])


def test_the_bore_is_a_diameter() -> None:
    wide = start_pressure_band(
        replace(SETUP, spring=replace(SPRING, bore_area_m2=disc_area_m2(0.0321))), SPREADS["stated"]
    )
    assert wide.value != start_pressure_band(SETUP, SPREADS["stated"]).value
