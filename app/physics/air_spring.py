"""An air spring whose negative chamber is filled through a port; refuses geometry that cannot exist.

Positions are travel from full extension, x = 0, to full compression, x = T. `start_pressure_abs_pa` is the absolute
pressure of the positive chamber, read at full extension after the spring was cycled through the port; gauge readings
become absolute by adding the ambient pressure. All functions take any consistent units (they never mix a bare number
with a dimension), which the tests use to check dimensions.

Validity of all of it: air as an ideal gas (real air is within 1.5 % up to 25 bar absolute), no friction, no seal drag,
no air beside the two chambers. Source: polytropic gas law, Cengel & Boles, Thermodynamics, with the force balance of
the piston.
"""

import math
from dataclasses import dataclass

from app.physics.air_chambers import AirSpring as AirSpring
from app.physics.air_chambers import disc_area_m2 as disc_area_m2
from app.physics.air_chambers import spacers_held as spacers_held
from app.physics.roots import bracketed_root

EXPONENT_MIN, EXPONENT_MAX = 1.0, 1.45  # isothermal; adiabatic real air at pressure has cp/cv of 1.41


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """One point of a curve: travel from full extension, force, absolute pressure of the positive chamber."""

    travel_m: float
    force_n: float
    pressure_abs_pa: float


@dataclass(frozen=True, slots=True)
class SpacerRow:
    """One line of the table by number of spacers. `progression`: force at full travel over force at sag."""

    spacers: int
    start_pressure_abs_pa: float
    peak: CurvePoint
    progression: float


def _check(spring: AirSpring, travel_m: float, exponent: float = 1.0) -> None:
    if not 0 <= travel_m <= spring.travel_m:
        raise ValueError("The position must lie between full extension and full travel.")
    if not EXPONENT_MIN <= exponent <= EXPONENT_MAX:
        raise ValueError(f"The polytropic exponent must lie between {EXPONENT_MIN} and {EXPONENT_MAX}.")


def positive_ratio(spring: AirSpring, travel_m: float, exponent: float = 1.0) -> float:
    """P+(x)/P0 = (V(0)/V(x))^n, a plain number; x in 0..T, n in 1..1.45."""
    _check(spring, travel_m, exponent)
    ratio: float = (spring.positive_volume_m3(0 * travel_m) / spring.positive_volume_m3(travel_m)) ** exponent
    return ratio


def negative_ratio(spring: AirSpring, travel_m: float, exponent: float = 1.0) -> float:
    """P-(x)/P0 = P+(x_p)/P0 * (Vn(x_p)/Vn(x))^n: equal to the positive chamber at the port, sealed elsewhere."""
    _check(spring, travel_m, exponent)
    port_m = spring.port_travel_m
    sealed: float = (spring.negative_chamber_m3(port_m) / spring.negative_chamber_m3(travel_m)) ** exponent
    return positive_ratio(spring, port_m, exponent) * sealed


def coefficient_m2(spring: AirSpring, travel_m: float, exponent: float = 1.0) -> float:
    """c(x) in F = c(x)*P0 - As*pa: A*P+/P0 - An*P-/P0. It grows with x; below the port it may be negative.

    x in 0..T, n in 1..1.45 (n = 1 for sag, which is slow), else ValueError.
    """
    push = spring.bore_area_m2 * positive_ratio(spring, travel_m, exponent)
    return push - spring.annulus_area_m2 * negative_ratio(spring, travel_m, exponent)


def force_n(
    spring: AirSpring, travel_m: float, start_pressure_abs_pa: float, ambient_pa: float, exponent: float = 1.0
) -> float:
    """F(x) = A*P+ - An*P- - As*pa = c(x)*P0 - As*pa; both pressures absolute and > 0, else ValueError."""
    _check_pressures(start_pressure_abs_pa, ambient_pa)
    return coefficient_m2(spring, travel_m, exponent) * start_pressure_abs_pa - spring.shaft_area_m2 * ambient_pa


def _check_pressures(start_pressure_abs_pa: float, ambient_pa: float) -> None:
    if not (start_pressure_abs_pa > 0 and ambient_pa > 0):
        raise ValueError("Absolute pressures must be greater than zero.")


def pressure_for_sag_abs_pa(spring: AirSpring, sag_m: float, load_n: float, ambient_pa: float) -> float:
    """Start pressure that carries `load_n` at a sag: P0 = (F + As*pa)/c(sag), n = 1. Closed form.

    sag_m is travel from full extension, 0 < sag <= T; load_n > 0. Raises ValueError when c(sag) <= 0, that is when no
    pressure can hold the fork there because the negative chamber wins (a sag short of the port).
    """
    if not (sag_m > 0 and load_n > 0 and ambient_pa > 0):
        raise ValueError("Sag, load and ambient pressure must be greater than zero.")
    coefficient = coefficient_m2(spring, sag_m)
    if not coefficient > 0:
        raise ValueError("No pressure holds the fork at this sag: it lies above the point where it rests unloaded.")
    return (load_n + spring.shaft_area_m2 * ambient_pa) / coefficient


def sag_travel_m(
    spring: AirSpring, load_n: float, start_pressure_abs_pa: float, ambient_pa: float, exponent: float = 1.0
) -> float:
    """Travel x from full extension at which F(x) = load; F grows with x, so there is one root, found by bisection.

    load_n >= 0. With load_n = 0 it is the free travel. Where F(0) >= load the fork is held extended by its stop, and
    the answer is zero travel. Raises ValueError when the load exceeds the force at full travel (it bottoms out).
    """
    if not load_n >= 0:
        raise ValueError("The load must not be negative.")
    travel_m = spring.travel_m

    def short_of_load_n(share: float) -> float:
        return force_n(spring, share * travel_m, start_pressure_abs_pa, ambient_pa, exponent) - load_n

    if short_of_load_n(0.0) >= 0:
        return 0.0 * travel_m
    if short_of_load_n(1.0) < 0:
        raise ValueError("The load is greater than the force of the spring at full travel: the fork bottoms out.")
    return bracketed_root(short_of_load_n, 0.0, 1.0) * travel_m


def free_travel_m(spring: AirSpring, start_pressure_abs_pa: float, ambient_pa: float) -> float:
    """Where the fork rests without load: the root of F(x) = 0 where F(0) < 0, else zero (held by its stop).

    With B = A*P0*V(0), C = An*P(x_p)*Vn(x_p), D = As*pa and U = V(0), F(x) = B/(U - A*x) - C/(Vn + An*x) - D, so that
    F = 0 is D*A*An*x^2 + (B*An + C*A - D*(U*An - A*Vn))*x + B*Vn - C*U - D*U*Vn = 0; its positive root is the one.
    ValueError where that lies beyond the travel. With a port below full extension the negative chamber pulls the fork
    in; a sag read with the ring pushed against the seal of the resting fork starts here, and is sag_travel_m less
    free_travel_m. The weight of the lower legs is neglected.
    """
    area, ring = spring.bore_area_m2, spring.annulus_area_m2
    full, negative = spring.positive_volume_m3(0 * spring.travel_m), spring.negative_volume_m3
    push = area * start_pressure_abs_pa * full
    pull = ring * start_pressure_abs_pa * negative_ratio(spring, 0 * spring.travel_m) * negative
    outside = spring.shaft_area_m2 * ambient_pa
    short = push * negative - pull * full - outside * full * negative
    if short >= 0:
        return 0.0 * spring.travel_m
    slope = push * ring + pull * area - outside * (full * ring - area * negative)
    free_m: float = -2 * short / (slope + (slope**2 - 4 * outside * area * ring * short) ** 0.5)
    if free_m > spring.travel_m:
        raise ValueError("The negative chamber holds the fork at the end of its travel.")
    return free_m


def fast_coefficient_m2(spring: AirSpring, travel_m: float, sag_m: float, exponent: float) -> float:
    """c(x) for a fast stroke from sag: each chamber isothermal (n = 1) to the sag, then polytropic n about it.

    P+(x)/P0 = V(0)/V(s) * (V(s)/V(x))^n, P- likewise. Where the sag lies short of the port, the stroke passes it and
    the chambers equalise once more, so the polytropic part is taken about the port. x from that point to T, else
    ValueError; n in 1..1.45 (1.41 is adiabatic real air at 6 bar: CoolProp, Lemmon et al. 2000).
    """
    _check(spring, travel_m, exponent)
    _check(spring, sag_m)
    about_m = max(sag_m, spring.port_travel_m)
    if travel_m < about_m:
        raise ValueError("A fast stroke is computed from the sag to full travel only.")
    positive, negative = _fast_ratios(spring, travel_m, about_m, exponent)
    return spring.bore_area_m2 * positive - spring.annulus_area_m2 * negative


def _fast_ratios(spring: AirSpring, travel_m: float, about_m: float, exponent: float) -> tuple[float, float]:
    squeezed = (spring.positive_volume_m3(about_m) / spring.positive_volume_m3(travel_m)) ** exponent
    widened = (spring.negative_chamber_m3(about_m) / spring.negative_chamber_m3(travel_m)) ** exponent
    return positive_ratio(spring, about_m) * squeezed, negative_ratio(spring, about_m) * widened


def peak(
    spring: AirSpring, start_pressure_abs_pa: float, sag_m: float, ambient_pa: float, exponent: float = 1.4
) -> CurvePoint:
    """Pressure and force at full travel, isothermal to the sag, then polytropic about it (see fast_coefficient_m2).

    Never to be compared with a fill pressure limit, which is a gauge pressure at full extension.
    """
    return fast_point(spring, spring.travel_m, start_pressure_abs_pa, sag_m, ambient_pa, exponent)


def fast_point(
    spring: AirSpring, travel_m: float, start_pressure_abs_pa: float, sag_m: float, ambient_pa: float, exponent: float
) -> CurvePoint:
    """Force and positive pressure on a fast stroke from sag; validity as fast_coefficient_m2."""
    _check_pressures(start_pressure_abs_pa, ambient_pa)
    coefficient = fast_coefficient_m2(spring, travel_m, sag_m, exponent)
    positive, _ = _fast_ratios(spring, travel_m, max(sag_m, spring.port_travel_m), exponent)
    force = coefficient * start_pressure_abs_pa - spring.shaft_area_m2 * ambient_pa
    return CurvePoint(travel_m, force, positive * start_pressure_abs_pa)


def curve(
    spring: AirSpring, start_pressure_abs_pa: float, ambient_pa: float, points: int = 41, exponent: float = 1.0
) -> tuple[CurvePoint, ...]:
    """Force and positive pressure at evenly spaced travels from 0 to T; points >= 2. n = 1 is the slow curve."""
    if points < 2:
        raise ValueError("A curve has at least two points.")
    rows = []
    for number in range(points):
        travel_m = spring.travel_m * (number / (points - 1))
        force = force_n(spring, travel_m, start_pressure_abs_pa, ambient_pa, exponent)
        rows.append(CurvePoint(travel_m, force, positive_ratio(spring, travel_m, exponent) * start_pressure_abs_pa))
    return tuple(rows)


def by_spacers(
    spring: AirSpring, sag_m: float, load_n: float, ambient_pa: float, spacers_max: int, exponent: float = 1.4
) -> tuple[SpacerRow, ...]:
    """For 0..spacers_max spacers: the start pressure for the same load at the same sag, and the peak it leads to.

    ValueError when spacers_max do not fit (see spacers_held); else as pressure_for_sag_abs_pa and peak.
    """
    rows = []
    for spacers in range(spacers_max + 1):
        fitted = spring.with_spacers(spacers)
        pressure = pressure_for_sag_abs_pa(fitted, sag_m, load_n, ambient_pa)
        top = peak(fitted, pressure, sag_m, ambient_pa, exponent)
        rows.append(SpacerRow(spacers, pressure, top, top.force_n / load_n))
    return tuple(rows)


def energy_j(
    spring: AirSpring,
    from_m: float,
    to_m: float,
    start_pressure_abs_pa: float,
    ambient_pa: float,
    exponent: float = 1.0,
) -> float:
    """Work put in between two travels, the closed form of the integral of F dx.

    A gas going from V1 at P1 to V2 takes P1*V1*ln(V1/V2) at n = 1, else P1*V1/(n-1)*((V1/V2)^(n-1) - 1); both
    chambers, less As*pa*(x2 - x1). Source: boundary work of a polytropic process, Cengel & Boles.
    """
    _check_pressures(start_pressure_abs_pa, ambient_pa)
    positive = positive_ratio(spring, from_m, exponent) * start_pressure_abs_pa
    negative = negative_ratio(spring, from_m, exponent) * start_pressure_abs_pa
    _check(spring, to_m)
    work = _gas_work_j(positive, spring.positive_volume_m3(from_m), spring.positive_volume_m3(to_m), exponent)
    work += _gas_work_j(negative, spring.negative_chamber_m3(from_m), spring.negative_chamber_m3(to_m), exponent)
    return work - spring.shaft_area_m2 * ambient_pa * (to_m - from_m)


def _gas_work_j(pressure_abs_pa: float, from_m3: float, to_m3: float, exponent: float) -> float:
    ratio = from_m3 / to_m3
    if exponent == 1.0:
        return pressure_abs_pa * from_m3 * math.log(ratio)
    # expm1: (ratio^(n-1) - 1) would lose its digits as n comes near 1
    return pressure_abs_pa * from_m3 * (math.expm1((exponent - 1) * math.log(ratio)) / (exponent - 1))
