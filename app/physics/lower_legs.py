"""Air trapped in the lower legs: a second spring that no data sheet lists. ValueError for volumes that cannot exist."""

from app.physics.air_chambers import disc_area_m2


def lower_leg_force_n(
    stanchion_m: float, air_at_full_travel_m3: float, travel_m: float, at_m: float, ambient_pa: float, exponent: float
) -> float:
    """Force of the air in one lower leg that was closed at full extension: A·pa·((V(0)/V(x))ⁿ - 1), V(x) = V_T +
    A·(T - x), A the area of the stanchion.

    `air_at_full_travel_m3` is the free volume at full compression less the oil in it, > 0; 0 <= x <= T; n = 1 slowly,
    up to 1.41 fast. Source: polytropic gas law.
    """
    if not (air_at_full_travel_m3 > 0 and 0 <= at_m <= travel_m and ambient_pa > 0):
        raise ValueError("The leg must hold air at full travel, and the position must lie within the travel.")
    area = disc_area_m2(stanchion_m)
    ratio = (air_at_full_travel_m3 + area * travel_m) / (air_at_full_travel_m3 + area * (travel_m - at_m))
    return area * ambient_pa * float(ratio**exponent - 1)
