"""A name of an invented maker: the springs that its generations share, with volumes, limits and start pressures."""

import math
from dataclasses import dataclass
from random import Random

from app.physics.air_chambers import AirSpring
from app.physics.air_spring import pressure_for_sag_pa
from app.physics.load import front_load_n
from tests.catalogue_generator.makers import PRESSURE_UNITS, Maker, maker, word

FAMILIES_PER_MAKER = 8
AMBIENT_PA = 101_325.0
LB = 0.45359237  # kg; exact by definition


@dataclass(frozen=True, slots=True)
class Family:
    """The springs that two generations of one name share, with their geometry. Lengths in mm, volumes in mL."""

    number: int
    made: Maker
    name: str
    diameter: int
    bore: float
    shaft: int
    travels: tuple[int, ...]
    ends: tuple[float, ...]
    limits: tuple[int, ...]
    negative: float
    port: float
    sag: int
    steps: tuple[float, ...]  # bracket ends of the guide, in the maker's mass unit

    def spring(self, travel: int) -> str:
        return f"spring-{self.number:06}-{travel}"

    def start_pa(self, travel: int, rider_kg: float) -> float:
        """Start pressure, gauge, for the sag of the guide with one spacer fitted."""
        at = self.travels.index(travel)
        spring = AirSpring(
            math.pi / 4e6 * self.bore**2,
            math.pi / 4e6 * self.shaft**2,
            travel / 1000,
            self.ends[at] / 1e6,
            self.negative / 1e6,
            self.port / 1000,
            round(self.made.spacer_ml, 1) / 1e6,
            1,
        )
        load = front_load_n(rider_kg, 15.0, self.made.front_share, 2.5, math.radians(66))
        return pressure_for_sag_pa(spring, self.sag / 100 * travel / 1000, load, AMBIENT_PA) - AMBIENT_PA

    def kilograms(self, mass: float) -> float:
        return mass * LB if self.made.mass_unit == "lb" else mass

    def limit(self) -> str:
        """Maximum fill pressure: a tenth above the highest start pressure, rounded."""
        heaviest = self.kilograms(self.steps[-1])
        highest = max(self.start_pa(travel, heaviest) for travel in self.travels) * 1.1
        unit, step = PRESSURE_UNITS[self.made.pressure_unit], 5 if self.made.pressure_unit == "psi" else 0.5
        return f"{math.ceil(highest / unit / step) * step:g}"


def family(seed: int, number: int) -> Family:
    """The family of that number; the seed is fixed."""
    draw = Random(f"{seed}/family/{number}")
    made = maker(seed, number // FAMILIES_PER_MAKER)
    diameter = draw.choice((32, 34, 35, 36, 38, 40))
    bore = diameter - draw.choice((2.5, 3.0, 3.5, 4.0, 4.5))
    longest = draw.choice((130, 140, 150, 160, 170, 180))
    travels = tuple(range(longest - 30, longest + 1, 10))
    fewest = draw.randint(1, 3)
    spacer = round(made.spacer_ml, 1)
    area = math.pi / 4000 * bore**2  # mL per mm
    end = fewest * spacer + draw.uniform(28, 42)
    ends = tuple(round(end + area * (longest - travel), 1) for travel in travels)
    limits = tuple(min(9, fewest + int((longest - travel) * area / spacer)) for travel in travels)
    masses = range(50, 111, 10) if made.mass_unit == "kg" else range(110, 251, 20)
    called = {"word": "", "stanchion": f" {diameter}", "travel": f" {longest}"}[made.called_by]
    return Family(
        number,
        made,
        f"{word(number, 4).title()}{called}",
        diameter,
        bore,
        draw.choice((8, 10, 12)),
        travels,
        ends,
        limits,
        round(draw.uniform(14, 22), 1),
        draw.choice((3.0, 4.0, 5.0)),
        draw.choice((18, 20, 22, 25)),
        tuple(masses),
    )
