"""The geometry of an air spring's two chambers. ValueError for chambers that cannot exist.

Positions are travel from full extension, x = 0, to full compression, x = T. Any consistent units will do.
"""

import math
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class AirSpring:
    """Geometry of one spring assembly.

    bore_area_m2 A > 0; shaft_area_m2 As, 0 <= As <= A (As = A means no negative chamber); travel_m T > 0;
    end_volume_m3: positive chamber at full travel without spacers; negative_volume_m3: negative chamber at full
    extension, > 0; port_travel_m: where the chambers are equalised, 0 <= x_p < T, or None for a negative chamber that
    is filled at full extension through a valve of its own; spacer_volume_m3 of one spacer; spacers k >= 0. Raises
    ValueError, among others if the spacers fill the chamber.
    """

    bore_area_m2: float
    shaft_area_m2: float
    travel_m: float
    end_volume_m3: float
    negative_volume_m3: float
    port_travel_m: float | None
    spacer_volume_m3: float | None = None
    spacers: int = 0

    def __post_init__(self) -> None:
        if not self.bore_area_m2 > 0:
            raise ValueError("The bore area must be greater than zero.")
        if not 0 <= self.shaft_area_m2 <= self.bore_area_m2:
            raise ValueError("The shaft area must lie between zero and the bore area.")
        if not self.travel_m > 0:
            raise ValueError("The travel must be greater than zero.")
        if not self.negative_volume_m3 > 0:
            raise ValueError("The negative chamber's volume must be greater than zero.")
        if self.port_travel_m is not None and not 0 <= self.port_travel_m < self.travel_m:
            raise ValueError("The port must lie between full extension and full travel.")
        if self.spacers < 0 or (self.spacers > 0 and self.spacer_volume_m3 is None):
            raise ValueError("Spacers need a count of zero or more and the volume of one spacer.")
        if self.spacer_volume_m3 is not None and not self.spacer_volume_m3 > 0:
            raise ValueError("The volume of a spacer must be greater than zero.")
        if not self.free_end_volume_m3 > 0:
            raise ValueError(f"{self.spacers} spacers leave no air in the chamber at full travel.")

    @property
    def annulus_area_m2(self) -> float:
        """An = A - As, the side of the piston that the negative chamber pushes on."""
        return self.bore_area_m2 - self.shaft_area_m2

    @property
    def free_end_volume_m3(self) -> float:
        """V_end - k*v: the air left in the positive chamber at full travel."""
        if self.spacer_volume_m3 is None or self.spacers == 0:
            return self.end_volume_m3
        return self.end_volume_m3 - self.spacers * self.spacer_volume_m3

    def positive_volume_m3(self, travel_m: float) -> float:
        """V(x) = V_end - k*v + A*(T - x), for x in 0..T."""
        held = self.end_volume_m3
        if self.spacers and self.spacer_volume_m3 is not None:
            held = held - self.spacers * self.spacer_volume_m3
        return held + self.bore_area_m2 * (self.travel_m - travel_m)

    def negative_chamber_m3(self, travel_m: float) -> float:
        """Vn(x) = V_neg + An*x, for x in 0..T."""
        return self.negative_volume_m3 + self.annulus_area_m2 * travel_m

    def with_spacers(self, spacers: int) -> "AirSpring":
        """This spring with another number of spacers. ValueError if they do not fit."""
        return replace(self, spacers=spacers)


def disc_area_m2(diameter_m: float) -> float:
    """pi*d^2/4 for a diameter greater than zero (geometry)."""
    if not diameter_m > 0:
        raise ValueError("A diameter must be greater than zero.")
    return math.pi * diameter_m**2 / 4


def spacers_held(end_volume_m3: float, spacer_volume_m3: float) -> int:
    """The highest k for which k spacers of volume v still leave air at full travel: k*v < V_end.

    Both volumes > 0, else ValueError. This is the geometric limit; the maker's is usually lower.
    """
    if not (end_volume_m3 > 0 and spacer_volume_m3 > 0):
        raise ValueError("The chamber and the spacer must each have a volume greater than zero.")
    return math.ceil(float(end_volume_m3 / spacer_volume_m3) * (1 - 1e-12)) - 1
