"""Single facts from the standard tables, for rules and answers; None if a table does not give one.

`id` is the row of the table; it is absent if a value was computed.

An unknown designation or class gives None, never a guess.
"""

import math
import re
from dataclasses import dataclass
from functools import lru_cache

from app.standards.tables import StandardRow, rows

_THREAD = re.compile(r"M([0-9]{1,3}(?:\.[0-9]{1,2})?)(?:[X-]([0-9](?:\.[0-9]{1,3})?))?")
_LONGEST = 24
_PART = re.compile(r"(?:-[0-9]{1,2})?(?::[0-9]{4})?$")


@dataclass(frozen=True, slots=True)
class MetricThread:
    """An ISO metric thread. `stress_area_mm2` is the nominal value of ISO 898-1 if tabulated, else computed."""

    designation: str
    diameter_mm: float
    pitch_mm: float
    pitch_diameter_mm: float
    root_diameter_mm: float
    stress_area_mm2: float
    tabulated: bool
    source: str
    verified: str
    id: str | None = None


@dataclass(frozen=True, slots=True)
class PropertyClass:
    """A strength class at a diameter. `proof_stress_mpa` is None if the standard gives none (stainless steel)."""

    name: str
    material: str
    tensile_min_mpa: float
    yield_min_mpa: float
    proof_stress_mpa: float | None
    source: str
    verified: str
    id: str | None = None


@dataclass(frozen=True, slots=True)
class KeySize:
    """The hexagon key of a socket screw."""

    standard: str
    diameter_mm: float
    key_mm: float
    source: str
    verified: str
    id: str | None = None


@lru_cache(maxsize=1024)
def thread(designation: str) -> MetricThread | None:
    """Parse `M8`, `M8x1`, `M8×1.25` or `m8-1` as a thread; None for anything else.

    A fine thread outside the table, such as a cap's M30x0.75, is computed from ISO 68-1 and ISO 724 geometry: d2 = d -
    0.649519 P, d3 = d - 1.226869 P. A bare `M8` is the coarse thread and must be in the table.
    """
    read = _read(designation)
    if read is None:
        return None
    diameter, pitch = read
    for row in rows("threads"):
        if row["diameter_mm"] == diameter and (
            row["series"] == "coarse" if pitch is None else row["pitch_mm"] == pitch
        ):
            return _tabulated(row)
    return None if pitch is None else _computed(diameter, pitch)


def _read(designation: str) -> tuple[float, float | None] | None:
    """Nominal diameter and pitch in mm; the pitch is None if it is not written."""
    if len(designation) > _LONGEST:
        return None
    found = _THREAD.fullmatch("".join(designation.upper().replace("×", "X").split()))
    if found is None:
        return None
    return float(found[1]), None if found[2] is None else float(found[2])


def _tabulated(row: StandardRow) -> MetricThread:
    nominal = row.get("stress_area_mm2", row["stress_area_computed_mm2"])
    return MetricThread(
        designation=str(row["designation"]),
        diameter_mm=float(row["diameter_mm"]),
        pitch_mm=float(row["pitch_mm"]),
        pitch_diameter_mm=float(row["pitch_diameter_mm"]),
        root_diameter_mm=float(row["root_diameter_mm"]),
        stress_area_mm2=float(nominal),
        tabulated=True,
        source=str(row["source"]),
        verified=str(row["verified"]),
        id=str(row["id"]),
    )


def _computed(diameter: float, pitch: float) -> MetricThread | None:
    """H = √3/2 P; d2 = d - 3/4 H; d3 = d1 - H/6 = d - 17/12 H; As = (π/4)·((d2 + d3)/2)²."""
    height = math.sqrt(3) / 2 * pitch
    pitch_diameter, root = diameter - 0.75 * height, diameter - 17 / 12 * height
    if pitch <= 0 or root < diameter / 2:
        return None
    return MetricThread(
        designation=f"M{diameter:g}x{pitch:g}",
        diameter_mm=diameter,
        pitch_mm=pitch,
        pitch_diameter_mm=pitch_diameter,
        root_diameter_mm=root,
        stress_area_mm2=math.pi / 4 * ((pitch_diameter + root) / 2) ** 2,
        tabulated=False,
        source="ISO 68-1 and ISO 724 (geometry), ISO 898-1 (stress area formula); size not tabulated",
        verified="computed",
    )


@lru_cache(maxsize=1024)
def property_class(name: str, diameter_mm: float) -> PropertyClass | None:
    """A class such as `8.8` or `A2-70` at a nominal diameter; None if the standard has no such class there."""
    wanted = name.strip().upper()
    for row in rows("property-classes"):
        above = diameter_mm > float(row.get("diameter_over_mm", 0))
        if row["property_class"] == wanted and above and diameter_mm <= float(row.get("diameter_to_mm", math.inf)):
            proof = row.get("proof_stress_mpa")
            return PropertyClass(
                name=wanted,
                material=str(row["material"]),
                tensile_min_mpa=float(row["tensile_min_mpa"]),
                yield_min_mpa=float(row["yield_min_mpa"]),
                proof_stress_mpa=None if proof is None else float(proof),
                source=str(row["source"]),
                verified=str(row["verified"]),
                id=str(row["id"]),
            )
    return None


@lru_cache(maxsize=1024)
def key_size(standard: str, designation: str) -> KeySize | None:
    """The key of a socket screw by its standard (`ISO 4762`, `ISO 7380-1:2011`, …) and thread; None if not given."""
    read = _read(designation)
    if read is None or len(standard) > _LONGEST:
        return None
    wanted = _PART.sub("", " ".join(standard.upper().split()))
    for row in rows("key-sizes"):
        if row["standard"] == wanted and row["diameter_mm"] == read[0]:
            return KeySize(
                standard=wanted,
                diameter_mm=read[0],
                key_mm=float(row["key_mm"]),
                source=str(row["source"]),
                verified=str(row["verified"]),
                id=str(row["id"]),
            )
    return None
