"""Oils: viscosity over temperature, viscosity index and class, density, level and volume; refuses what no table covers.

Kinematic viscosity is in m2/s (1 mm2/s = 1 cSt = 1e-6 m2/s), temperature in K.
"""

import math
from bisect import bisect_right
from dataclasses import dataclass

from app.physics.viscosity_index_table import ROWS

_T40_K, _T100_K, _T15_K = 313.15, 373.15, 288.15
_MM2 = 1e-6

# ISO 3448:1992: class number and midpoint at 40 degC in mm2/s; each class is its midpoint +- 10 %.
ISO_VG_MIDPOINT_MM2_S = {
    2: 2.2, 3: 3.2, 5: 4.6, 7: 6.8, 10: 10, 15: 15, 22: 22, 32: 32, 46: 46, 68: 68, 100: 100, 150: 150, 220: 220,
    320: 320, 460: 460, 680: 680, 1000: 1000, 1500: 1500, 2200: 2200, 3200: 3200,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class IsoClass:
    """ISO viscosity class of an oil, or None where it lies in a gap; the next classes below and above, if any."""

    vg: int | None
    below: int | None
    above: int | None


def viscosity_at_m2_s(viscosity_40_m2_s: float, viscosity_100_m2_s: float, temperature_k: float) -> float:
    """Kinematic viscosity at a temperature: log10 log10(v + 0.7) = A - B*log10 T through 40 and 100 degC.

    v in mm2/s, T in K (ASTM D341-20, the simple form). Valid for mineral-type oils that flow, 233.15..423.15 K, and
    for 2 mm2/s <= v <= 2e7 mm2/s, in and out. ValueError outside, or when the viscosity does not fall with temperature.
    """
    if not 233.15 <= temperature_k <= 423.15:
        raise ValueError("The temperature must lie between -40 and 150 degrees Celsius.")
    _check_falls(viscosity_40_m2_s, viscosity_100_m2_s)
    at_40, at_100 = _walther(viscosity_40_m2_s), _walther(viscosity_100_m2_s)
    slope = (at_40 - at_100) / math.log10(_T100_K / _T40_K)
    power: float = 10 ** (at_40 - slope * math.log10(temperature_k / _T40_K))
    if not power < 7.4:
        raise ValueError("The oil would be thicker than ASTM D341 covers at this temperature.")
    viscosity_mm2_s: float = 10**power - 0.7
    if not 2.0 <= viscosity_mm2_s <= 2e7:
        raise ValueError("At this temperature the viscosity lies outside 2 to 2e7 mm2/s, which ASTM D341 covers.")
    return viscosity_mm2_s * _MM2


def _check_falls(viscosity_40_m2_s: float, viscosity_100_m2_s: float) -> None:
    if not (viscosity_100_m2_s / _MM2 >= 2 * (1 - 1e-12) and viscosity_40_m2_s <= 2e7 * _MM2):
        raise ValueError("The viscosity must lie between 2 and 2e7 mm2/s.")
    if not viscosity_100_m2_s < viscosity_40_m2_s:
        raise ValueError("The viscosity at 100 degrees Celsius must be lower than at 40.")


def _walther(viscosity_m2_s: float) -> float:
    return math.log10(math.log10(viscosity_m2_s / _MM2 + 0.7))


def index_reference_m2_s(viscosity_100_m2_s: float) -> tuple[float, float]:
    """(L, H): viscosities at 40 degC of the oils of index 0 and 100 that share this viscosity Y at 100 degC.

    Table 1 with linear interpolation for 2..70 mm2/s; above, L = 0.8353*Y^2 + 14.67*Y - 216 and
    H = 0.1684*Y^2 + 11.85*Y - 97 (ASTM D2270, ISO 2909). ValueError below 2 mm2/s.
    """
    y = viscosity_100_m2_s / _MM2
    if not 2 * (1 - 1e-12) <= y < 1e4:
        raise ValueError("The viscosity index is defined from 2 mm2/s at 100 degrees Celsius upwards.")
    if y > 70:
        return (0.8353 * y**2 + 14.67 * y - 216) * _MM2, (0.1684 * y**2 + 11.85 * y - 97) * _MM2
    upper = min(max(bisect_right(ROWS, (y, math.inf, math.inf)), 1), len(ROWS) - 1)
    (y0, l0, h0), (y1, l1, h1) = ROWS[upper - 1], ROWS[upper]
    part = (y - y0) / (y1 - y0)
    return (l0 + part * (l1 - l0)) * _MM2, (h0 + part * (h1 - h0)) * _MM2


def viscosity_index(viscosity_40_m2_s: float, viscosity_100_m2_s: float) -> float:
    """Viscosity index of ASTM D2270 (ISO 2909), unrounded; report it to the whole number.

    Up to 100 (procedure A): 100*(L - U)/(L - H); above (procedure B): (10^N - 1)/0.00715 + 100 with
    N = log(H/U)/log Y. U, Y: viscosities at 40 and 100 degC. ValueError below 2 mm2/s at 100 degC or when U <= Y.
    """
    _check_falls(viscosity_40_m2_s, viscosity_100_m2_s)
    low, high = index_reference_m2_s(viscosity_100_m2_s)
    if viscosity_40_m2_s >= high:
        return 100 * (low - viscosity_40_m2_s) / (low - high)
    exponent = math.log(high / viscosity_40_m2_s) / math.log(viscosity_100_m2_s / _MM2)
    index: float = (10**exponent - 1) / 0.00715 + 100
    return index


def iso_class(viscosity_40_m2_s: float) -> IsoClass:
    """ISO 3448:1992 class of a viscosity at 40 degC; the ends of a class belong to it, the gaps between to none."""
    if not viscosity_40_m2_s > 0:
        raise ValueError("The viscosity must be greater than zero.")
    viscosity = viscosity_40_m2_s / _MM2
    slack = 1 + 1e-12  # 9.0 mm2/s is the end of a class although 10*0.9 and 9.0 may differ in the last bit
    inside = [vg for vg, mid in ISO_VG_MIDPOINT_MM2_S.items() if 0.9 * mid / slack <= viscosity <= 1.1 * mid * slack]
    below = [vg for vg, mid in ISO_VG_MIDPOINT_MM2_S.items() if 1.1 * mid * slack < viscosity]
    above = [vg for vg, mid in ISO_VG_MIDPOINT_MM2_S.items() if 0.9 * mid / slack > viscosity]
    return IsoClass(
        vg=inside[0] if inside else None, below=below[-1] if below else None, above=above[0] if above else None
    )


def density_kg_m3(density_15_kg_m3: float, temperature_k: float) -> float:
    """Density of a lubricating oil: rho15*exp(-a*dt*(1 + 0.8*a*dt)), a = 0.6278/rho15.

    Source: API MPMS 11.1, ISO 91 table 54D. The constant is from memory. Valid for 800..1164 kg/m3 at
    15 degC and 233.15..423.15 K, else ValueError.
    """
    if not 800 <= density_15_kg_m3 <= 1164:
        raise ValueError("The density of a lubricating oil at 15 degrees Celsius lies between 800 and 1164 kg/m3.")
    if not 233.15 <= temperature_k <= 423.15:
        raise ValueError("The temperature must lie between -40 and 150 degrees Celsius.")
    expansion = 0.6278 / density_15_kg_m3 * (temperature_k - _T15_K)
    return density_15_kg_m3 * math.exp(-expansion * (1 + 0.8 * expansion))


def dynamic_viscosity_pa_s(kinematic_m2_s: float, density_kg_m3: float) -> float:
    """mu = nu*rho, by definition; both > 0."""
    if not (kinematic_m2_s > 0 and density_kg_m3 > 0):
        raise ValueError("Viscosity and density must be greater than zero.")
    return kinematic_m2_s * density_kg_m3


def _ring_m2(bore_m: float, rod_m: float | None) -> float:
    if not bore_m > 0 or (rod_m is not None and not 0 <= rod_m < bore_m):
        raise ValueError("The bore must be greater than zero and the rod in it thinner than the bore.")
    area_m2 = math.pi / 4 * bore_m**2
    return area_m2 if rod_m is None else area_m2 - math.pi / 4 * rod_m**2


def level_m(volume_m3: float, bore_m: float, rod_m: float | None = None) -> float:
    """Height of oil above the bottom of an upright cylinder, or of the ring round a rod: V/(pi/4*(D^2 - d^2)).

    volume >= 0; 0 <= rod < bore, else ValueError. Nothing else displaces oil.
    """
    if not volume_m3 >= 0:
        raise ValueError("The volume must not be negative.")
    return volume_m3 / _ring_m2(bore_m, rod_m)


def volume_m3(level_m: float, bore_m: float, rod_m: float | None = None) -> float:
    """The inverse of level_m: h*pi/4*(D^2 - d^2); level >= 0."""
    if not level_m >= 0:
        raise ValueError("The level must not be negative.")
    return level_m * _ring_m2(bore_m, rod_m)


def air_above_m3(length_m: float, level_m: float, bore_m: float, rod_m: float | None = None) -> float:
    """Air above the oil in an upright tube of a length: (H - h)*pi/4*(D^2 - d^2); 0 <= level <= length."""
    if not 0 <= level_m <= length_m:
        raise ValueError("The level must lie between the bottom and the top of the tube.")
    return (length_m - level_m) * _ring_m2(bore_m, rod_m)
