"""Every row of gas_examples.csv and atmosphere.csv through our functions, and real air from CoolProp."""

import math
from dataclasses import replace

import pytest
from ambiance import Atmosphere
from CoolProp.CoolProp import PropsSI
from physics_rows import Row, agrees, by_id, numbers, rows
from physics_springs import stroke_of
from scipy.optimize import brentq

from app.physics import air_spring as air
from app.physics import atmosphere

PA = 101325.0
BAR = 1e5
PSI = 6894.757293168
GAS = by_id("gas_examples")

NOT_OURS = {
    "GA06": "temperature of the gas: not computed",
    "GA11": "temperature of the gas: not computed",
    "GA22": "temperature of the gas: not computed",
    "GA23": "gauge to absolute is an addition made by the caller",
}
RATIO = ["GA01", "GA02", "GA03", "GA05", "GA19", "GA21"]
REAL = ["GA07", "GA09", "GA10"]
COMPRESSIBILITY = ["GA13", "GA14", "GA15", "GA17"]
GAUGE_TEMPERATURE = ["GA25", "GA26"]
GAUGE_ALTITUDE = ["GA27", "GA29"]
AREA = ["GA30", "GA31", "GA33", "GA34", "GA35", "GA37", "GA38"]
SINGLE_SAG = ["GA39", "GA41", "GA42", "GA43", "GA45", "GA46"]
SINGLE_FORCE = ["GA47", "GA49", "GA50", "GA51", "GA53", "GA54", "GA55"]
DOUBLE_FORCE = ["GA57", "GA58", "GA59", "GA61", "GA62", "GA63"]
DOUBLE_SAG = ["GA65", "GA66", "GA67", "GA69", "GA70"]
SPACERS = ["GA71", "GA73", "GA74", "GA75", "GA77", "GA78", "GA79", "GA81", "GA82"]


def test_every_gas_row_is_used_or_named_as_not_ours() -> None:
    used = [*RATIO, *REAL, *COMPRESSIBILITY, *GAUGE_TEMPERATURE, *GAUGE_ALTITUDE, *AREA, *SINGLE_SAG, *SINGLE_FORCE,
            *DOUBLE_FORCE, *DOUBLE_SAG, *SPACERS, *NOT_OURS, "GA18"]  # fmt: skip
    assert sorted(used) == sorted(GAS)


def squeezed(ratio: float, exponent: float) -> float:
    """P+/P0 of a chamber that shrinks from 1 to 1/ratio of its volume."""
    area = 1e-3
    travel = 0.1 * (ratio - 1)
    spring = air.AirSpring(area, area, travel, 0.1 * area, 1e-5, 0.0)
    return ratio_at_full_travel(spring, exponent)


def ratio_at_full_travel(spring: air.AirSpring, exponent: float) -> float:
    """P+/P0 of the stroke as answers show it, polytropic from full extension."""
    return (stroke_of(spring, 5e5, 0.0, exponent).peak_gauge.value + PA) / 5e5


def single(length_m: float = 0.2) -> air.AirSpring:
    area = air.disc_area_m2(0.030)
    return air.AirSpring(area, area, 0.16, area * (length_m - 0.16), 1e-5, 0.0)


def double() -> air.AirSpring:
    area, shaft = air.disc_area_m2(0.030), air.disc_area_m2(0.010)
    return air.AirSpring(area, shaft, 0.16, area * 0.04, (area - shaft) * 0.030, 0.0)


@pytest.mark.parametrize("name", RATIO)
def test_polytropic_rows(name: str) -> None:
    row = GAS[name]
    given = numbers(row["inputs"])
    if name == "GA19":
        agrees(row, given["p1"] * squeezed(given["V1"] / given["V2"], given["γ"]))
    elif name == "GA21":
        agrees(row, given["p1"] * squeezed(1 / 0.09, given["γ"]))
    else:
        agrees(row, given["p1"] * squeezed(given["V1/V2"], given["n"]))


@pytest.mark.parametrize("name", REAL)
def test_real_gas_rows_stay_within_one_and_a_half_percent_of_the_ideal_law(name: str) -> None:
    exponent = 1.0 if "isothermal" in GAS[name]["model"] else 1.4
    assert 6 * squeezed(2.5, exponent) == pytest.approx(float(GAS[name]["value"]), rel=1.5e-2)


def test_the_exponent_of_real_air_is_permitted() -> None:
    """GA18: cp/cv of air is 1.411 at 6 bar, so 1.40 is no upper bound."""
    assert squeezed(2.5, float(GAS["GA18"]["value"])) > squeezed(2.5, 1.4)


@pytest.mark.parametrize("name", COMPRESSIBILITY)
def test_the_ideal_gas_is_good_to_one_percent(name: str) -> None:
    assert float(GAS[name]["value"]) == pytest.approx(1, abs=1e-2)


SLOW = [(start, ratio) for start in (1.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0) for ratio in (1.2, 1.6, 2.0, 2.5, 3.0)]
FAST = [(start, ratio) for start in (1.0, 3.0, 6.0, 9.0) for ratio in (1.2, 1.6, 2.0, 2.5)]


@pytest.mark.parametrize(("start_bar", "ratio"), [case for case in SLOW if case[0] * case[1] <= 25])
def test_slow_compression_agrees_with_real_air(start_bar: float, ratio: float) -> None:
    """Isothermal at 293.15 K up to 25 bar: air of Lemmon et al. 2000 by CoolProp, within 1.5 %."""
    density = PropsSI("Dmass", "P", start_bar * BAR, "T", 293.15, "Air")
    real = PropsSI("P", "Dmass", density * ratio, "T", 293.15, "Air")
    assert start_bar * BAR * squeezed(ratio, 1.0) == pytest.approx(real, rel=1.5e-2)


@pytest.mark.parametrize(("start_bar", "ratio"), [case for case in FAST if case[0] * case[1] ** 1.42 <= 25])
def test_fast_compression_agrees_with_real_air(start_bar: float, ratio: float) -> None:
    """Isentropic from 293.15 K up to 25 bar: air of Lemmon et al. 2000 by CoolProp, within 1.5 %."""
    density = PropsSI("Dmass", "P", start_bar * BAR, "T", 293.15, "Air")
    entropy = PropsSI("Smass", "P", start_bar * BAR, "T", 293.15, "Air")
    real = PropsSI("P", "Dmass", density * ratio, "Smass", entropy, "Air")
    assert start_bar * BAR * squeezed(ratio, 1.4) == pytest.approx(real, rel=1.5e-2)


@pytest.mark.parametrize("name", GAUGE_TEMPERATURE)
def test_gauge_over_temperature(name: str) -> None:
    there = 273.15 + numbers(GAS[name]["inputs"])["T2"]
    agrees(GAS[name], atmosphere.same_air_gauge_pa(80 * PSI, PA, PA, 293.15, there) / PSI)


@pytest.mark.parametrize(("name", "altitude_m"), [("GA27", 1000.0), ("GA29", 3000.0)])
def test_gauge_over_altitude(name: str, altitude_m: float) -> None:
    there = atmosphere.pressure_at_altitude_pa(altitude_m)
    agrees(GAS[name], atmosphere.same_air_gauge_pa(80 * PSI, PA, there, 293.15, 293.15) / PSI)


@pytest.mark.parametrize("name", AREA)
def test_areas(name: str) -> None:
    given = numbers(GAS[name]["inputs"])
    area_mm2 = air.disc_area_m2(given["D"]) - air.disc_area_m2(given["d"]) if "D" in given else None
    if name == "GA37":
        agrees(GAS[name], air.disc_area_m2(given["d"] / 1000) * given["p"] * BAR)
    else:
        agrees(GAS[name], area_mm2 if area_mm2 is not None else air.disc_area_m2(given["d"]))


def force_at(spring: air.AirSpring, travel_m: float, start_abs_pa: float, exponent: float) -> float:
    """The force at a travel, polytropic from full extension: the end of the stroke of a spring cut off there."""
    if travel_m == 0 or exponent == 1.0:
        return air.force_n(spring, air.GasFill(start_abs_pa, PA), travel_m)
    end_m3 = spring.end_volume_m3 + spring.bore_area_m2 * (spring.travel_m - travel_m)
    cut = replace(spring, travel_m=travel_m, end_volume_m3=end_m3)
    return stroke_of(cut, start_abs_pa, 0.0, exponent).peak_force.value


@pytest.mark.parametrize("name", SINGLE_SAG + DOUBLE_SAG)
def test_sag_of_the_force_that_is_served(name: str) -> None:
    given = numbers(GAS[name]["inputs"])
    spring = single() if name in SINGLE_SAG else double()
    start = 6 * BAR + PA
    if given["n"] == 1.0:
        agrees(GAS[name], 1000 * air.sag_m(spring, air.GasFill(start, PA), given["F"]))
    travel = brentq(lambda x: force_at(spring, x, start, given["n"]) - given["F"], 1e-6, 0.16, xtol=1e-14)
    agrees(GAS[name], travel * 1000)


@pytest.mark.parametrize("name", SINGLE_FORCE + DOUBLE_FORCE)
def test_force_at_a_travel(name: str) -> None:
    given = numbers(GAS[name]["inputs"])
    spring = single() if name in SINGLE_FORCE else double()
    agrees(GAS[name], force_at(spring, given["x"] / 1000, 6 * BAR + PA, given["n"]))


@pytest.mark.parametrize("name", SPACERS)
def test_pressure_ratio_at_full_travel_by_spacers(name: str) -> None:
    count = int(GAS[name]["inputs"].split("less ")[1].split()[0])
    area = air.disc_area_m2(0.030)
    spring = air.AirSpring(area, area, 0.16, 200e-6 - area * 0.16, 1e-5, 0.0, 8e-6, count)
    agrees(GAS[name], ratio_at_full_travel(spring, numbers(GAS[name]["inputs"])["n"]))


@pytest.mark.parametrize("row", rows("atmosphere"), ids=lambda row: row["id"])
def test_standard_atmosphere(row: Row) -> None:
    """ISO 2533:1975; geometric and geopotential altitude are distinguished."""
    height, tolerance = float(row["altitude_m"]), float(row["tolerance_rel"])
    geometric = atmosphere.pressure_at_altitude_pa(height)
    geopotential = atmosphere.pressure_at_geopotential_pa(height)
    assert geometric == pytest.approx(float(row["pressure_geometric_Pa"]), rel=min(tolerance, 1e-6))
    assert geopotential == pytest.approx(float(row["pressure_geopotential_Pa"]), rel=min(tolerance, 1e-6))
    assert round(geometric) == int(row["pressure_table_5digit_Pa"])


@pytest.mark.parametrize("height", [0.0, 137.0, 1609.0, 4999.0, 5000.0])
def test_standard_atmosphere_by_a_library(height: float) -> None:
    """Second opinion: ambiance 1.3 (ICAO standard atmosphere)."""
    assert atmosphere.pressure_at_altitude_pa(height) == pytest.approx(float(Atmosphere(height).pressure[0]), rel=1e-6)


@pytest.mark.parametrize("height", [-0.1, 5000.1, math.nan, math.inf])
def test_altitude_outside_the_table_is_refused(height: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 5000 m"):
        atmosphere.pressure_at_altitude_pa(height)


def test_a_gauge_reading_survives_the_way_there_and_back() -> None:
    there = atmosphere.same_air_gauge_pa(5 * BAR, PA, 0.8 * BAR, 293.15, 278.15)
    assert atmosphere.same_air_gauge_pa(there, 0.8 * BAR, PA, 278.15, 293.15) == pytest.approx(5 * BAR, rel=1e-12)
