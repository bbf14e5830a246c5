"""Random air springs of the sizes that forks have, for property tests and Monte Carlo."""

import math
import random

from hypothesis import strategies as st

from app.physics.air_spring import AirSpring, disc_area_m2
from app.physics.band import Spreads, Uncertain
from app.physics.stroke import FilledSpring, Stroke, stroke

PA = 101325.0
PSI = 6894.757293168


def spring_of(
    bore_mm: float, shaft_mm: float, travel_mm: float, end_share: float, negative_share: float, port_mm: float
) -> AirSpring:
    """End and negative volume as shares of the swept volume; one spacer is 6 % of the end volume."""
    area = disc_area_m2(bore_mm / 1000)
    swept = area * travel_mm / 1000
    return AirSpring(
        bore_area_m2=area,
        shaft_area_m2=disc_area_m2(shaft_mm / 1000),
        travel_m=travel_mm / 1000,
        end_volume_m3=end_share * swept,
        negative_volume_m3=negative_share * swept,
        port_travel_m=port_mm / 1000,
        spacer_volume_m3=0.06 * end_share * swept,
    )


def springs() -> st.SearchStrategy[AirSpring]:
    return st.builds(
        spring_of,
        bore_mm=st.floats(26, 38),
        shaft_mm=st.floats(8, 12),
        travel_mm=st.floats(80, 200),
        end_share=st.floats(0.3, 1.2),
        negative_share=st.floats(0.15, 0.6),
        port_mm=st.floats(0, 8),
    )


def random_spring(source: random.Random) -> AirSpring:
    draw = source.uniform
    return spring_of(draw(26, 38), draw(8, 12), draw(100, 200), draw(0.3, 1.2), draw(0.15, 0.6), draw(1, 8))


def true_gauge_pa(spring: AirSpring, sag_m: float, load_n: float) -> float:
    """Start pressure by the force balance written out again here, not by the functions under test; NaN if none."""
    area, ring = spring.bore_area_m2, spring.bore_area_m2 - spring.shaft_area_m2
    end, port = spring.end_volume_m3, spring.port_travel_m
    full = end + area * spring.travel_m
    positive = full / (end + area * (spring.travel_m - sag_m))
    at_port = full / (end + area * (spring.travel_m - port))
    negative = at_port * (spring.negative_volume_m3 + ring * port) / (spring.negative_volume_m3 + ring * sag_m)
    coefficient = area * positive - ring * negative
    return (load_n + spring.shaft_area_m2 * PA) / coefficient - PA if coefficient > 0 else math.nan


EXACT = Spreads(0.0, 0.0, 0.0, 0.0, 0.0)


def stroke_of(spring: AirSpring, start_abs_pa: float, sag_m: float, exponent: float, steps: int = 16) -> Stroke:
    """The stroke as answers show it, from a sag, at one exponent, with every input exact."""
    filled = FilledSpring(spring, start_abs_pa - PA, PA)
    return stroke(filled, None, sag_m, EXACT, steps, exponent=Uncertain("exponent", exponent, 0.0))
