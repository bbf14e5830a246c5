"""The standard atmosphere from sea level to 5000 m, and how altitude and temperature change a filled fork."""

SEA_LEVEL_PA = 101325.0
SEA_LEVEL_K = 288.15
_LAPSE_K_PER_M = 0.0065
_GAS_CONSTANT_J_PER_KG_K = 287.05287
_GRAVITY_M_S2 = 9.80665
_EARTH_RADIUS_M = 6356766.0
ALTITUDE_MAX_M = 5000.0


def geopotential_altitude_m(geometric_altitude_m: float) -> float:
    """H = r*z/(r + z) with r = 6 356 766 m (ISO 2533:1975, equation 8); z in 0..5000 m."""
    _check_altitude(geometric_altitude_m)
    return _EARTH_RADIUS_M * geometric_altitude_m / (_EARTH_RADIUS_M + geometric_altitude_m)


def pressure_at_geopotential_pa(geopotential_altitude_m: float) -> float:
    """p = p0*(1 - L*H/T0)^(g/(R*L)), the troposphere of ISO 2533:1975; H in 0..5000 m, else ValueError."""
    _check_altitude(geopotential_altitude_m)
    constants = (SEA_LEVEL_PA, SEA_LEVEL_K, _LAPSE_K_PER_M, _GAS_CONSTANT_J_PER_KG_K, _GRAVITY_M_S2)
    return troposphere_pa(geopotential_altitude_m, *constants)


def troposphere_pa(
    geopotential_altitude_m: float, at_zero_pa: float, at_zero_k: float, lapse_k_per_m: float,
    gas_constant_j_per_kg_k: float, gravity_m_s2: float,
) -> float:  # fmt: skip
    """p = p0*(1 - L*H/T0)^(g/(R*L)) of any air whose temperature falls evenly with height, for H < T0/L; unchecked."""
    exponent = gravity_m_s2 / (gas_constant_j_per_kg_k * lapse_k_per_m)
    pressure: float = at_zero_pa * (1 - lapse_k_per_m * geopotential_altitude_m / at_zero_k) ** exponent
    return pressure


def pressure_at_altitude_pa(geometric_altitude_m: float) -> float:
    """Standard pressure at a geometric altitude, the one on a map; 0..5000 m, else ValueError (ISO 2533:1975).

    Weather moves the true pressure by about +-3 kPa (common practice, no source).
    """
    return pressure_at_geopotential_pa(geopotential_altitude_m(geometric_altitude_m))


def same_air_gauge_pa(
    gauge_pa: float, ambient_here_pa: float, ambient_there_pa: float, temperature_here_k: float,
    temperature_there_k: float,
) -> float:  # fmt: skip
    """Gauge reading there of a chamber that reads `gauge_pa` here: (p + pa1)*T2/T1 - pa2.

    Constant mass and volume of air, so the fork is at full extension both times (ideal gas). Unchecked.
    """
    return (gauge_pa + ambient_here_pa) * (temperature_there_k / temperature_here_k) - ambient_there_pa


def fill_for_equal_force_pa(
    gauge_pa: float, ambient_meant_pa: float, ambient_here_pa: float, ambient_there_pa: float,
    temperature_here_k: float, temperature_there_k: float, shaft_share: float,
) -> float:  # fmt: skip
    """Gauge pressure to fill here so that the fork carries there what `gauge_pa` carries in its reference air.

    F = c·P - As·pa: the absolute pressure stays except for the lower outside pressure on the shaft, As/c·(pa_meant -
    pa_there), then follows the temperature at constant mass and volume (ideal gas). `shaft_share` is As/c at the sag, 0
    for a chamber that the shaft does not enter. May be negative: then no pressure is left to fill.
    """
    needed_pa = gauge_pa + ambient_meant_pa - shaft_share * (ambient_meant_pa - ambient_there_pa)
    return needed_pa * (temperature_here_k / temperature_there_k) - ambient_here_pa


def _check_altitude(altitude_m: float) -> None:
    if not 0 <= altitude_m <= ALTITUDE_MAX_M:
        raise ValueError("The altitude must lie between 0 and 5000 m.")
