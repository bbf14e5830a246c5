"""The load on the fork. ValueError for a front load that is not positive."""

import math

STANDARD_GRAVITY_M_S2 = 9.80665  # ISO 80000-3, exact by definition

# Defaults if nothing better is given. Common practice, no source: list them as assumptions, with their half-width.
FRONT_SHARE, FRONT_SHARE_HALF_WIDTH = 0.40, 0.05
UNSPRUNG_FRONT_KG, UNSPRUNG_FRONT_HALF_WIDTH_KG = 4.0, 1.0  # front wheel, brake and lower legs
BIKE_KG, BIKE_HALF_WIDTH_KG = 15.0, 2.0
HEAD_ANGLE_RAD, HEAD_ANGLE_HALF_WIDTH_RAD = math.radians(66.0), math.radians(2.0)
FRICTION_HALF_WIDTH_N = 20.0


def front_load_n(
    rider_with_gear_kg: float,
    bike_kg: float,
    front_share: float,
    unsprung_front_kg: float,
    head_angle_rad: float,
    gravity_m_s2: float = STANDARD_GRAVITY_M_S2,
) -> float:
    """Force along the fork, F = [(rider with gear + bike)*share - unsprung front mass]*g*sin(head angle).

    The share of the whole weight that stands on the front wheel, less what is below the spring, resolved along the
    steering axis (angle from the horizontal). 0 < share < 1; 0 < angle <= pi/2; masses >= 0, rider > 0. ValueError
    outside, or when nothing is left to weigh on the spring. Both springs of a pair are taken as one. Source: statics.
    """
    if not (rider_with_gear_kg > 0 and bike_kg >= 0 and unsprung_front_kg >= 0):
        raise ValueError("The rider must have a mass; the masses of bike and wheel must not be negative.")
    if not 0 < front_share < 1:
        raise ValueError("The front share must lie between 0 and 1.")
    if not 0 < head_angle_rad <= math.pi / 2:
        raise ValueError("The head angle is measured from the horizontal and must lie between 0 and 90 degrees.")
    sprung_kg = (rider_with_gear_kg + bike_kg) * front_share - unsprung_front_kg
    if not sprung_kg > 0:
        raise ValueError("The unsprung mass is as great as the whole load on the front wheel.")
    return sprung_kg * gravity_m_s2 * math.sin(head_angle_rad)
