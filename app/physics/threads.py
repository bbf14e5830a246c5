"""ISO metric threads: geometry, stress area, designation. Raises ValueError for other designations."""

import math
import re
from dataclasses import dataclass

# ISO 261 / ISO 262 coarse pitches, in mm. M3 to M16 are checked in the tests, the others are from memory.
COARSE_PITCH_MM = {
    1.6: 0.35, 2: 0.4, 2.5: 0.45, 3: 0.5, 3.5: 0.6, 4: 0.7, 5: 0.8, 6: 1, 7: 1, 8: 1.25, 10: 1.5, 12: 1.75,
    14: 2, 16: 2, 18: 2.5, 20: 2.5, 22: 2.5, 24: 3, 27: 3, 30: 3.5, 33: 3.5, 36: 4,
}  # fmt: skip

_DESIGNATION = re.compile(
    r"M\s?(\d{1,2}(?:\.\d{1,2})?)(?:\s?[x×]\s?(\d(?:\.\d{1,3})?))?(?:\s?-\s?\d[a-zA-Z](?:\d[a-zA-Z])?)?(?:\s?-?\s?LH)?",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Thread:
    """Nominal diameter d > 0 and pitch P, 0 < P <= d/4 (the coarsest ISO pitch, M1.6, is 0.22 d); else ValueError."""

    diameter_m: float
    pitch_m: float

    def __post_init__(self) -> None:
        if not self.diameter_m > 0:
            raise ValueError("The thread diameter must be greater than zero.")
        if not 0 < self.pitch_m <= self.diameter_m / 4:
            raise ValueError("The pitch must be greater than zero and at most a quarter of the diameter.")

    @property
    def _triangle_m(self) -> float:
        """H = sqrt(3)/2 * P, the height of the fundamental triangle (ISO 68-1)."""
        return math.sqrt(3) / 2 * self.pitch_m

    @property
    def pitch_diameter_m(self) -> float:
        """d2 = d - 3/4 H (ISO 724)."""
        return self.diameter_m - 0.75 * self._triangle_m

    @property
    def minor_diameter_m(self) -> float:
        """d1 = d - 5/4 H (ISO 724)."""
        return self.diameter_m - 1.25 * self._triangle_m

    @property
    def root_diameter_m(self) -> float:
        """d3 = d1 - H/6 (ISO 898-1, clause 9.1.6)."""
        return self.minor_diameter_m - self._triangle_m / 6


def parse_thread(designation: str) -> Thread:
    """Thread of a designation such as "M5" (coarse pitch), "M8x1", "M8x1.25-6g", "M14x1.5 LH".

    A tolerance class and LH are ignored, because they do not change the stress area. ValueError for anything else, and
    for a size without a pitch that has no coarse pitch in ISO 261.
    """
    match = _DESIGNATION.fullmatch(designation.strip()) if len(designation) <= 40 else None
    if match is None:
        raise ValueError("Not an ISO metric thread designation such as M5 or M8x1.")
    diameter_mm = float(match.group(1))
    if match.group(2) is not None:
        return Thread(diameter_mm / 1000, float(match.group(2)) / 1000)
    if diameter_mm not in COARSE_PITCH_MM:
        raise ValueError(f"M{diameter_mm:g} has no coarse pitch in ISO 261: give the pitch, as in M20x1.")
    return Thread(diameter_mm / 1000, COARSE_PITCH_MM[diameter_mm] / 1000)


def stress_area_m2(thread: Thread, hole_m: float | None = None) -> float:
    """As = pi/4*((d2 + d3)/2)^2 (ISO 898-1, clause 9.1.6), less pi/4*hole^2 if a hole runs through the bolt.

    0 < hole < d3, else ValueError. The hole is subtracted as geometry; the standard covers solid bolts only.
    """
    area_m2 = math.pi / 4 * ((thread.pitch_diameter_m + thread.root_diameter_m) / 2) ** 2
    if hole_m is None:
        return area_m2
    if not 0 < hole_m < thread.root_diameter_m:
        raise ValueError("The hole must be greater than zero and smaller than the root of the thread.")
    return area_m2 - math.pi / 4 * hole_m**2
