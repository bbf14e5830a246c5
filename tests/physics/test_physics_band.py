"""A band is the central 98 % of the values that its inputs allow: never less than promised, hardly wider than
needed."""

import math
import random
from collections.abc import Callable, Mapping
from dataclasses import fields, replace

import pytest
from physics_springs import EXACT, PA, random_spring, spring_of, true_gauge_pa

from app.physics.band import SPREADS, Band, Spreads, Uncertain, band, within
from app.physics.load import front_load_n
from app.physics.stroke import start_pressure

SPRING = spring_of(32, 10, 150, 0.5, 0.3, 4)
SAG = 0.033
HALF = {"front_share": 0.05, "bike_kg": 2.0, "unsprung_kg": 1.0, "angle": math.radians(2), "friction_n": 20.0}
USUAL = {"front_share": 0.42, "bike_kg": 15.0, "unsprung_kg": 4.0, "angle": math.radians(65), "friction_n": 0.0}


def load_at(at: Mapping[str, float]) -> float:
    return front_load_n(80.0, at["bike_kg"], at["front_share"], at["unsprung_kg"], at["angle"]) + at["friction_n"]


LOAD = band(load_at, [Uncertain(name, value, HALF[name]) for name, value in USUAL.items()])


def one_truth(spring: object, sag_m: float, spreads: Spreads, source: random.Random) -> float:
    """The start pressure of one fork and rider drawn from the spreads, by the force balance written out."""

    def off(name: str) -> float:
        half_width: float = getattr(spreads, name)
        return source.uniform(-half_width, half_width)

    load = load_at({name: value + source.uniform(-HALF[name], HALF[name]) for name, value in USUAL.items()})
    bore = math.sqrt(4 * spring.bore_area_m2 / math.pi) + off("bore_m")  # type: ignore[attr-defined]
    own = replace(
        spring,  # type: ignore[type-var]
        bore_area_m2=math.pi / 4 * bore**2,
        end_volume_m3=spring.end_volume_m3 * (1 + off("end_volume_share")),  # type: ignore[attr-defined]
        negative_volume_m3=spring.negative_volume_m3 * (1 + off("negative_volume_share")),  # type: ignore[attr-defined]
        port_travel_m=max(0.0, spring.port_travel_m + off("port_m")),  # type: ignore[attr-defined]
    )
    return true_gauge_pa(own, sag_m, load) - off("gauge_pa")  # type: ignore[arg-type]


@pytest.mark.parametrize("basis", sorted(SPREADS))
def test_the_band_of_a_start_pressure_covers_its_share(basis: str) -> None:
    """Monte Carlo: 40 random springs, 150 draws each; 95 to 99.5 % of them lie in the band."""
    source = random.Random(f"{basis} 0.95")
    covered = total = 0
    for _ in range(40):
        spring = random_spring(source)
        sag = source.uniform(0.2, 0.3) * spring.travel_m
        found = start_pressure(spring, sag, LOAD, PA, SPREADS[basis], None)
        for _ in range(150):
            total += 1
            covered += found.low <= one_truth(spring, sag, SPREADS[basis], source) <= found.high
    assert 0.95 <= covered / total <= 0.995


def sums(*halves: float) -> Band:
    inputs = [Uncertain(str(number), 0.0, half) for number, half in enumerate(halves)]
    return band(lambda at: sum(at.values()), inputs)


@pytest.mark.parametrize(
    "halves", [(1.0,), (1, 1), (1, 0.5), (1, 0.2), (1, 1, 1), (3, 2, 1), (1, 0.1, 0.1, 0.1), (1, 1, 1, 1, 1), (5, 1, 4)]
)
def test_a_sum_of_rectangles_is_covered_97_to_99_times_in_100(halves: tuple[float, ...]) -> None:
    """By Monte Carlo of the sum (JCGM 101:2008, 6.4.2): the normal quantile would miss both ends of this list."""
    source = random.Random(f"{halves}")
    found = sums(*halves)
    draws = sorted(sum(source.uniform(-half, half) for half in halves) for _ in range(40000))
    assert sum(found.low <= each <= found.high for each in draws) / 40000 == pytest.approx(0.9775, abs=0.0125)
    assert found.high - found.low < 1.06 * (draws[39599] - draws[400])


@pytest.mark.parametrize(
    "function",
    [
        lambda at: at["x"] ** 4 + at["y"], lambda at: 1 / at["x"] + at["y"] ** 2,
        lambda at: math.exp(at["x"] - 1) + 0.3 * at["y"], lambda at: (1 / at["x"]) ** 1.4,
    ],
)  # fmt: skip
def test_a_lopsided_function_has_a_lopsided_band(function: Callable[[Mapping[str, float]], float]) -> None:
    """Bent functions of two rectangles against Monte Carlo; the band is within a quarter of the central 98 %."""
    source = random.Random(7)
    found = band(function, [Uncertain("x", 1.0, 0.3), Uncertain("y", 1.0, 0.1)])
    draws = sorted(function({"x": source.uniform(0.7, 1.3), "y": source.uniform(0.9, 1.1)}) for _ in range(20000))
    assert 0.95 <= sum(found.low <= each <= found.high for each in draws) / 20000 <= 0.995
    assert found.high - found.low < 1.25 * (draws[19799] - draws[200])
    assert abs((found.high - found.value) - (found.value - found.low)) > 0.01 * (found.high - found.low)


def test_a_steep_function_has_its_longer_side_where_it_is_steeper() -> None:
    found = band(lambda at: at["x"] ** 4, [Uncertain("x", 1.0, 0.5)])
    assert found.high - found.value > 2 * (found.value - found.low) > 0


def test_readings_that_scatter_are_normal() -> None:
    """Central 98 % of a normal distribution: 2.326 standard deviations (any table)."""
    found = band(lambda at: at["x"], [Uncertain("x", 0.0, math.sqrt(3) * 2.0, normal=True)])
    assert found.high == pytest.approx(2.3263 * 2.0, rel=1e-4)


def test_the_middle_of_the_band_is_the_start_pressure() -> None:
    found = start_pressure(SPRING, SAG, LOAD, PA, SPREADS["stated"], None)
    assert found.value == pytest.approx(true_gauge_pa(SPRING, SAG, LOAD.value), rel=1e-12)
    assert found.low < found.value < found.high


@pytest.mark.parametrize("name", [field.name for field in fields(Spreads)])
def test_the_biggest_contributor_is_named(name: str) -> None:
    """With only one input spread, it is the one; each of them moves the result."""
    exact = Band(LOAD.value, LOAD.value, LOAD.value, None, ())
    found = start_pressure(SPRING, SAG, exact, PA, replace(EXACT, **{name: 0.0004}), None)
    assert found.biggest == name
    assert start_pressure(SPRING, SAG, exact, PA, EXACT, None).biggest is None


def test_a_port_at_full_extension_is_not_moved_beyond_it() -> None:
    found = start_pressure(replace(SPRING, port_travel_m=0.0), SAG, LOAD, PA, SPREADS["estimated"], None)
    assert found.low < found.value < found.high


def test_a_band_refuses_what_it_cannot_mean() -> None:
    with pytest.raises(ValueError, match="different names"):
        band(lambda _: 1.0, [Uncertain("a", 1.0, 1.0), Uncertain("a", 1.0, 1.0)])
    with pytest.raises(ValueError, match="spread of a"):
        band(lambda _: 1.0, [Uncertain("a", 1.0, -1.0)])
    assert within(3.0, []) == (3.0, 3.0, 3.0)
