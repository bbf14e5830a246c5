"""The remaining closed forms against scipy's root finding and quadrature, and dimensions through the same functions."""

import math
import random

import numpy as np
import pint
import pytest
from physics_springs import PA, PSI, random_spring
from scipy.integrate import quad
from scipy.optimize import brentq, fsolve

from app.physics import air_spring as air
from app.physics import atmosphere, bolt, coil, fluids, readings
from app.physics.frame_geometry import along_steerer_m, straight_m
from app.physics.readings import GaugeReadings


def test_where_the_fork_rests_is_the_root_that_scipy_finds() -> None:
    source, drawn_in = random.Random(71), 0
    for _ in range(300):
        spring, fill = random_spring(source), air.GasFill(PA + source.uniform(40, 150) * PSI, PA)
        free = air.sag_m(spring, fill, 0.0)
        if air.force_n(spring, fill, 0.0) < 0:
            drawn_in += 1
            root = brentq(lambda x, s=spring, p=fill: air.force_n(s, p, x), 0.0, spring.travel_m, xtol=1e-14)
            assert free == pytest.approx(root, abs=1e-11)
    assert drawn_in > 100


def test_both_chambers_from_three_readings_are_the_roots_of_the_air_counted() -> None:
    """Unknown: lengths L0 and Ln of both chambers. Boyle beyond the port; no air lost from filling to cycling."""
    filled, cycled, held, travel, port, share = 95 * PSI, 83.5 * PSI, 171 * PSI, 0.100, 0.004, 0.1
    p1, p2, p3 = filled + PA, cycled + PA, held + PA

    def balances(lengths: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> list[float]:
        positive, negative = lengths
        trapped = p2 * positive - p3 * (positive - travel)
        opened = negative + (1 - share) * port
        kept = p1 * positive + PA * opened - p2 * positive / (positive - port) * (positive - port + opened)
        return [trapped / PA, kept / PA]

    positive, negative = fsolve(balances, [0.2, 0.02], xtol=1e-13)
    found = readings.chamber_lengths(GaugeReadings(filled, cycled, held, travel), port, share, PA)
    assert (found.positive_m, found.negative_m) == pytest.approx((positive, negative), rel=1e-9)


def test_coil_bolt_and_fork_lengths_by_root_finding() -> None:
    rate = brentq(lambda k: coil.force_n(k, 0.045, 0.002) - 420.0, 1e2, 1e5, xtol=1e-9)
    assert coil.rate_for_sag_n_per_m(420.0, 0.045, 0.002) == pytest.approx(rate, rel=1e-12)
    joint = (0.001, 0.00735, 0.12, 0.14, 0.0105)  # M8 x 1: pitch, pitch diameter, both frictions, bearing diameter
    force = brentq(lambda f: bolt.torque_by_friction_nm(f, *joint) - 9.5, 1e2, 1e5, xtol=1e-9)
    assert bolt.preload_by_friction_n(9.5, *joint) == pytest.approx(force, rel=1e-12)
    along = brentq(lambda length: straight_m(length, 0.044) - 0.552, 0.3, 0.7, xtol=1e-15)
    assert along_steerer_m(0.552, 0.044) == pytest.approx(along, rel=1e-12)


def test_oil_and_the_air_above_it_by_quadrature() -> None:
    """Rings 2*pi*r*dr from the rod to the bore, times the height; the rest of the tube is air."""
    ring, _ = quad(lambda r: 2 * math.pi * r, 0.005, 0.016)
    assert fluids.volume_m3(0.090, 0.032, 0.010) == pytest.approx(0.090 * ring, rel=1e-12)
    assert fluids.air_above_m3(0.250, 0.090, 0.032, 0.010) == pytest.approx(0.160 * ring, rel=1e-12)
    root = brentq(lambda h: fluids.volume_m3(h, 0.032, 0.010) - 60e-6, 0, 1, xtol=1e-15)
    assert fluids.level_m(60e-6, 0.032, 0.010) == pytest.approx(root, rel=1e-12)


def test_pressure_over_height_is_the_integral_of_the_weight_of_the_air() -> None:
    """dp = -p*g*M/(R*T) dh with T falling 6.5 K/km; g, M/R of air 1/287.05287 kg·K/J (ISO 2533:1975)."""
    for height in (500.0, 1800.0, 4500.0):
        weight, _ = quad(lambda h: 9.80665 / (287.05287 * (288.15 - 0.0065 * h)), 0.0, height)
        assert atmosphere.pressure_at_geopotential_pa(height) == pytest.approx(PA * math.exp(-weight), rel=1e-7)


def test_the_gauge_elsewhere_is_the_root_of_one_mass_of_air() -> None:
    def mass(gauge: float, ambient: float, kelvin: float) -> float:
        return (gauge + ambient) * 150e-6 / (287.05287 * kelvin)

    here = mass(80 * PSI, PA, 293.15)
    root = brentq(lambda p: mass(p, 80000.0, 278.15) - here, 0, 1e7, xtol=1e-6)
    assert atmosphere.same_air_gauge_pa(80 * PSI, PA, 80000.0, 293.15, 278.15) == pytest.approx(root, rel=1e-11)


def test_dimensions_of_readings_and_of_oil() -> None:
    """pint quantities through the same functions: mixed units give the SI answer, a slip of dimension raises."""
    of = pint.UnitRegistry().Quantity
    area = readings.coefficient_from_force_m2(of(100.0, "lbf"), of(6.0, "bar"), of(0.8, "cm**2"), of(1013.25, "hPa"))
    bare = readings.coefficient_from_force_m2(100 * 4.4482216152605, 6e5, 0.8e-4, PA)
    assert area.to("m**2").magnitude == pytest.approx(bare, rel=1e-12)
    spring, friction = readings.mean_force_n(of(520.0, "N"), of(100.0, "lbf"))
    assert (spring - friction).to("lbf").magnitude == pytest.approx(100.0, rel=1e-12)
    thick = fluids.dynamic_viscosity_pa_s(of(68.0, "cSt"), of(0.86, "g/mL"))
    assert thick.to("Pa*s").magnitude == pytest.approx(68e-6 * 860, rel=1e-12)
    with pytest.raises(pint.DimensionalityError):
        readings.mean_force_n(of(520.0, "N"), of(10.0, "psi"))
    with pytest.raises(pint.DimensionalityError):
        readings.coefficient_from_force_m2(of(100.0, "kg"), of(6.0, "bar"), of(0.8, "cm**2"), of(1.0, "bar"))


def test_dimensions_of_the_atmosphere() -> None:
    """Heights with units give the pressure and temperature of ISO 2533 if the constants have their units."""
    of = pint.UnitRegistry().Quantity
    there = atmosphere.same_air_gauge_pa(
        of(80.0, "psi"), of(1013.25, "hPa"), of(0.8, "bar"), of(293.15, "K"), of(500.67, "degR")
    )
    bare = atmosphere.same_air_gauge_pa(80 * PSI, PA, 80000.0, 293.15, 278.15)
    assert there.to("Pa").magnitude == pytest.approx(bare, rel=1e-9)
    air = (of(1.01325, "bar"), of(518.67, "degR"), of(6.5, "K/km"), of(287.05287, "J/kg/K"), of(9.80665, "m/s**2"))
    at_2500 = atmosphere.troposphere_pa(of(2.5, "km"), *air)
    assert at_2500.to("Pa").magnitude == pytest.approx(atmosphere.pressure_at_geopotential_pa(2500.0), rel=1e-9)
    for wrong in (
        lambda: atmosphere.same_air_gauge_pa(
            of(80.0, "N"), of(1013.25, "hPa"), of(0.8, "bar"), of(293.15, "K"), of(278.15, "K")
        ),
        lambda: atmosphere.same_air_gauge_pa(
            of(80.0, "psi"), of(1013.25, "hPa"), of(0.8, "bar"), of(293.15, "m"), of(278.15, "K")
        ),
        lambda: atmosphere.troposphere_pa(of(2.5, "kg"), *air),
        lambda: atmosphere.troposphere_pa(of(2.5, "km"), *air[:4], of(9.80665, "m/s")),
    ):
        with pytest.raises(pint.DimensionalityError):
            wrong()


def test_dimensions_of_oil_volumes() -> None:
    of = pint.UnitRegistry().Quantity
    volume = fluids.volume_m3(of(95.0, "mm"), of(3.2, "cm"), of(0.01, "m"))
    assert volume.to("mL").magnitude == pytest.approx(1e6 * fluids.volume_m3(0.095, 0.032, 0.01), rel=1e-12)
    back = fluids.level_m(volume, of(32.0, "mm"), of(10.0, "mm"))
    assert back.to("mm").magnitude == pytest.approx(95.0, rel=1e-12)
    air = fluids.air_above_m3(of(25.0, "cm"), of(95.0, "mm"), of(32.0, "mm"))
    assert air.to("mL").magnitude == pytest.approx(1e6 * fluids.air_above_m3(0.250, 0.095, 0.032), rel=1e-12)
    for wrong in (
        lambda: fluids.volume_m3(of(95.0, "mm"), of(3.2, "cm"), of(1.0, "cm**2")),
        lambda: fluids.level_m(of(95.0, "mm"), of(3.2, "cm")).to("mm"),
        lambda: fluids.air_above_m3(of(25.0, "mL"), of(95.0, "mm"), of(32.0, "mm")),
        lambda: fluids.dynamic_viscosity_pa_s(of(68.0, "cSt"), of(0.86, "g")).to("Pa*s"),
    ):
        with pytest.raises(pint.DimensionalityError):
            wrong()
