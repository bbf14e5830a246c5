"""Torque and preload of bolts. ValueError for a property class or thread preparation without figures."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from app.physics.threads import Thread as Thread
from app.physics.threads import parse_thread as parse_thread
from app.physics.threads import stress_area_m2 as stress_area_m2


@dataclass(frozen=True, slots=True)
class NutFactor:
    """K in T = K*d*F: usual value, the limits of its scatter for wrench tightening, and the source of the figures."""

    nominal: float
    low: float
    high: float
    source: str


def _nut_factor(nominal: float, preload_scatter: float, source: str) -> NutFactor:
    return NutFactor(nominal, nominal / (1 + preload_scatter), nominal / (1 - preload_scatter), source)


LEAST_LUBRICATED = 0.11
"""K of a well lubricated joint: friction 0.08 in thread and head, where class B of VDI 2230-1, table A5, begins (from
memory). A slippery joint gets more clamp force from the same torque, so the scatter has to begin there."""


def _lubricated(nominal: float, source: str) -> NutFactor:
    """Lubricated threads: from the least K up to a scatter of the preload of 25 %."""
    text = f"{source}; least K: VDI 2230-1, table A5, friction 0.08; scatter 25 %: NSTS 08307 (both from memory)"
    return NutFactor(nominal, LEAST_LUBRICATED, nominal / (1 - 0.25), text)


NUT_FACTORS: Mapping[str, NutFactor] = MappingProxyType(
    {
        "dry": _nut_factor(0.20, 0.35, "K: NASA TM-106943, unlubricated steel; scatter 35 %: NSTS 08307 (from memory)"),
        "oiled": _lubricated(0.18, "K: Shigley 9e, table 8-15, lubricated"),
        "greased": _lubricated(0.15, "K: NASA TM-106943, lubricated steel"),
        "low threadlocker": _nut_factor(0.18, 0.30, "common practice, no source"),
        "medium threadlocker": _nut_factor(0.20, 0.30, "common practice, no source"),
    }
)

# ISO 898-1:2013, table 3: stress under proof load in Pa, by class; stainless steel (ISO 3506-1) has none.
_PROOF_STRESS_PA = {
    "4.6": 225e6, "4.8": 310e6, "5.6": 280e6, "5.8": 380e6, "6.8": 440e6, "9.8": 650e6, "10.9": 830e6, "12.9": 970e6,
}  # fmt: skip
_LIMIT_16_MM = 0.016
USE_OF_YIELD = 0.9
"""The share of the yield strength that tension and torsion together may reach when tightening (VDI 2230-1)."""


@dataclass(frozen=True, slots=True)
class Preload:
    """Clamp force from a torque: with the usual nut factor, and with the limits of its scatter (low <= high)."""

    nominal_n: float
    low_n: float
    high_n: float


@dataclass(frozen=True, slots=True)
class WrenchCheck:
    """Whether a wrench suits a torque: inside its marked range, its share of the maximum, the permitted deviation."""

    in_range: bool
    share_of_maximum: float
    in_lowest_fifth: bool
    deviation: float


def proof_stress_pa(property_class: str, diameter_m: float) -> float:
    """Stress under proof load of a property class (ISO 898-1:2013, table 3); 1.6 mm <= d <= 39 mm.

    8.8 has 580 MPa up to 16 mm and 600 MPa above; 9.8 ends at 16 mm. ValueError for any other class: not judged.
    """
    if not 0.0016 <= diameter_m <= 0.039:
        raise ValueError("ISO 898-1 gives proof stresses for threads from M1.6 to M39.")
    if property_class == "8.8":
        return 580e6 if diameter_m <= _LIMIT_16_MM else 600e6
    if property_class == "9.8" and diameter_m > _LIMIT_16_MM:
        raise ValueError("ISO 898-1 has class 9.8 up to 16 mm only.")
    if property_class not in _PROOF_STRESS_PA:
        raise ValueError("ISO 898-1 gives no proof stress for this property class, so it is not judged.")
    return _PROOF_STRESS_PA[property_class]


def torque_nm(preload_n: float, thread: Thread, nut_factor: float) -> float:
    """T = K*d*F (Shigley 9e, equation 8-27); preload >= 0, 0.05 <= K <= 0.5, else ValueError."""
    _check_nut_factor(nut_factor)
    if not preload_n >= 0:
        raise ValueError("The preload must not be negative.")
    return nut_factor * thread.diameter_m * preload_n


def preload_n(torque_nm: float, thread: Thread, nut_factor: float) -> float:
    """F = T/(K*d) (Shigley 9e, equation 8-27); torque >= 0, 0.05 <= K <= 0.5, else ValueError."""
    _check_nut_factor(nut_factor)
    if not torque_nm >= 0:
        raise ValueError("The torque must not be negative.")
    return torque_nm / (nut_factor * thread.diameter_m)


def preload_by_preparation(torque_nm: float, thread: Thread, thread_prep: str) -> Preload:
    """Preload with the scatter of the thread's preparation (a key of NUT_FACTORS, else ValueError)."""
    if thread_prep not in NUT_FACTORS:
        raise ValueError(f"The thread preparation is one of: {', '.join(NUT_FACTORS)}.")
    factor = NUT_FACTORS[thread_prep]
    return Preload(
        nominal_n=preload_n(torque_nm, thread, factor.nominal),
        low_n=preload_n(torque_nm, thread, factor.high),
        high_n=preload_n(torque_nm, thread, factor.low),
    )


def share_of_proof_load(force_n: float, thread: Thread, proof_stress_pa: float, hole_m: float | None = None) -> float:
    """F/(Sp*As), a plain number: 0.75 is the usual aim for a joint to be reused (Shigley 9e, equation 8-31).

    Sp > 0; As less a hole along the bolt; the printed proof loads of ISO 898-1 are rounded and up to 0.5 % off Sp*As.
    """
    if not proof_stress_pa > 0:
        raise ValueError("The proof stress must be greater than zero.")
    return force_n / (proof_stress_pa * stress_area_m2(thread, hole_m))


def thread_friction(nut_factor: float, thread: Thread) -> float:
    """The friction u, equal in thread and under the head, that a nut factor corresponds to.

    K*d = P/(2*pi) + u*(0.577*d2 + Dk/2) with Dk = 1.3*d, the mean diameter under the head of an ISO 4762 screw (VDI
    2230-1:2003, equation R13/1). Zero if K is less than the pitch alone needs. 0.05 <= K <= 0.5, else ValueError.
    """
    _check_nut_factor(nut_factor)
    against_friction_m = nut_factor * thread.diameter_m - thread.pitch_m / (2 * math.pi)
    friction = against_friction_m / (0.577 * thread.pitch_diameter_m + 0.65 * thread.diameter_m)
    return max(0.0, friction)


def equivalent_stress_pa(force_n: float, thread: Thread, friction: float, hole_m: float | None = None) -> float:
    """Stress of tension and torsion together while a bolt is tightened: sqrt(tension^2 + 3*torsion^2), von Mises.

    tension = F/A0; torsion = F*d2/2*(P/(pi*d2) + 1.155*u)/Wp with Wp = pi/12*d0^3 (the whole section yields) and
    d0 = (d2 + d3)/2, a hole taken off both (VDI 2230-1:2003, section 5.5.1). friction 0..0.5; ValueError otherwise, and
    for a hole that leaves nothing of the bolt.
    """
    if not 0 <= friction <= 0.5:
        raise ValueError("Friction coefficients must lie between 0 and 0.5.")
    core_m = (thread.pitch_diameter_m + thread.root_diameter_m) / 2
    tension_pa = force_n / stress_area_m2(thread, hole_m)
    lever_m = thread.pitch_diameter_m / 2 * (thread.pitch_m / (math.pi * thread.pitch_diameter_m) + 1.155 * friction)
    modulus_m3 = math.pi / 12 * (core_m**3 - (0.0 if hole_m is None else hole_m**3))
    torsion_pa = force_n * lever_m / modulus_m3
    return float((tension_pa**2 + 3 * torsion_pa**2) ** 0.5)


def share_of_yield_limit(stress_pa: float, yield_pa: float) -> float:
    """Equivalent stress over 90 % of the yield strength, the maximum of VDI 2230-1 when tightening; yield > 0."""
    if not yield_pa > 0:
        raise ValueError("The yield strength must be greater than zero.")
    return stress_pa / (USE_OF_YIELD * yield_pa)


def torque_bearable_nm(thread: Thread, nut_factor: float = 0.30) -> float:
    """Torque at which a solid bolt of class 12.9 reaches its proof load: K*d*Sp*As, Sp = 970 MPa.

    K = 0.30 is the driest joint in use (Shigley 9e, table 8-15, non-plated black finish): above this torque no bolt of
    that size is meant. 12.9 is the strongest class of ISO 898-1. Sizes above M39, where the standard ends, are given
    the same stress: a bound for caps and threaded heads, not a proof load. Floats in SI only.
    """
    return torque_nm(_PROOF_STRESS_PA["12.9"] * stress_area_m2(thread), thread, nut_factor)


def torque_by_friction_nm(
    preload_n: float,
    pitch_m: float,
    pitch_diameter_m: float,
    thread_friction: float,
    bearing_friction: float,
    bearing_diameter_m: float,
) -> float:
    """Long form: T = F*[(P + 1.154*pi*u*d2)/(2*(pi - 1.154*u*P/d2)) + ub*Db/2] (ISO 16047:2005, Kellermann-Klein).

    u, ub: friction of thread and bearing face, 0..0.5; Db: mean diameter of the bearing face; 60 degree thread.
    preload >= 0, lengths > 0, else ValueError.
    """
    return preload_n * _torque_per_force_m(
        pitch_m, pitch_diameter_m, thread_friction, bearing_friction, bearing_diameter_m
    )


def preload_by_friction_n(
    torque_nm: float,
    pitch_m: float,
    pitch_diameter_m: float,
    thread_friction: float,
    bearing_friction: float,
    bearing_diameter_m: float,
) -> float:
    """The inverse of torque_by_friction_nm, same validity."""
    return torque_nm / _torque_per_force_m(
        pitch_m, pitch_diameter_m, thread_friction, bearing_friction, bearing_diameter_m
    )


def _torque_per_force_m(
    pitch_m: float, pitch_diameter_m: float, thread_friction: float, bearing_friction: float, bearing_diameter_m: float
) -> float:
    if not (pitch_m > 0 and pitch_diameter_m > 0 and bearing_diameter_m > 0):
        raise ValueError("Pitch and diameters must be greater than zero.")
    if not (0 <= thread_friction <= 0.5 and 0 <= bearing_friction <= 0.5):
        raise ValueError("Friction coefficients must lie between 0 and 0.5.")
    climb = pitch_m + 1.154 * math.pi * thread_friction * pitch_diameter_m
    wedge = math.pi - 1.154 * thread_friction * (pitch_m / pitch_diameter_m)
    return 0.5 * climb / wedge + bearing_friction * bearing_diameter_m / 2


def wrench_setting_nm(torque_nm: float, wrench_m: float, adapter_m: float, adapter_angle_rad: float = 0.0) -> float:
    """Setting for a torque at the bolt with an adapter on the square: T*L/(L + E*cos(angle)), from the lever.

    L > 0: middle of the handle to the square; E >= 0: square to bolt; angle 0 lengthens the tool, pi/2 leaves the
    setting as it is, pi shortens it. Setting wrenches only; ValueError when the adapter cancels the lever.
    """
    if not (torque_nm >= 0 and wrench_m > 0 and adapter_m >= 0):
        raise ValueError("Torque and adapter must not be negative, the wrench must have a length.")
    lever_m = wrench_m + adapter_m * math.cos(adapter_angle_rad)
    if not lever_m > 0:
        raise ValueError("The adapter points back past the handle.")
    return torque_nm * (wrench_m / lever_m)


def wrench_check(torque_nm: float, marked_min_nm: float, marked_max_nm: float) -> WrenchCheck:
    """Whether a setting wrench (ISO 6789-1:2017, type II class A, B, C) suits this torque.

    The range is the marked one (2017 edition). The 2003 edition tested nothing below a fifth of the maximum, so that is
    reported separately. Permitted deviation: 4 % above 10 N.m maximum, else 6 % (the latter from memory). In N.m.
    """
    if not (torque_nm > 0 and 0 <= marked_min_nm < marked_max_nm):
        raise ValueError("The torque must be greater than zero and the marked range must not be empty.")
    share = torque_nm / marked_max_nm
    return WrenchCheck(
        in_range=marked_min_nm <= torque_nm <= marked_max_nm,
        share_of_maximum=share,
        in_lowest_fifth=share < 0.2,
        deviation=0.04 if marked_max_nm > 10 else 0.06,
    )


def _check_nut_factor(nut_factor: float) -> None:
    if not 0.05 <= nut_factor <= 0.5:
        raise ValueError("The nut factor must lie between 0.05 and 0.5.")
