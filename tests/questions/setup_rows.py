"""A small catalogue for set-ups, invented for the tests, and the raw formulas of the spring written out a
second time."""

import math
from typing import Any

from scipy.optimize import brentq

from app.catalogue.rows import MemoryRows, Snapshot
from app.catalogue.tables import Chassis, Fit, Guide, Limit, Maker, Reading, Row, Source, Spacer, Spring
from app.questions.setup.parameters import SetupAsked
from app.questions.setup.setup import setup
from app.questions.setup.views import SETUP, SetupAnswer

PA = 101325.0  # ISO 2533, sea level
PSI = 6894.757293168  # NIST SP 811 (2008), B.8
G = 9.80665  # ISO 80000-3

CHASSIS: dict[str, Any] = {
    "id": "fork", "maker": "maker", "name": "Fork <&>", "model_year_from": 2020, "model_year_to": 2024,
    "wheel_sizes": (584, 622), "travel_min_mm": 120.0, "travel_max_mm": 170.0, "dampers": ("damper-a", "damper-b"),
    "source": "doc", "page": "1",
}  # fmt: skip
SPRING: dict[str, Any] = {
    "maker": "maker", "family": "family", "kind": "air", "travel_set_by": "shaft length", "negative": "port",
    "bore_mm": 31.5, "shaft_diameter_mm": 10.0, "negative_volume_ml": "20.0", "port_travel_mm": "4",
    "geometry_basis": "stated", "pressure_limit": "120", "pressure_unit": "psi", "source": "doc", "page": "2",
}  # fmt: skip
AREA_CM2 = math.pi * 3.15**2 / 4
END_ML = {140: 80.0 + AREA_CM2, 150: 80.0, 160: 80.0 - AREA_CM2}  # V(0) is the same for the whole family
FIT: dict[str, Any] = {
    "chassis": "fork", "spacer": "spacer", "spacer_limit": 3, "spacers_fitted": 1, "pressure_limit": "110",
    "pressure_unit": "psi", "source": "doc", "page": "3",
}  # fmt: skip


def spring(travel: int = 150, **more: Any) -> Spring:
    own = {"id": f"spring-{travel}", "name": f"Spring {travel}", "end_volume_ml": f"{END_ML[travel]:.6f}"}
    return Spring.checked({**SPRING, **own, **more})


def fit(travel: int = 150, **more: Any) -> Fit:
    own = {"id": f"fit-{travel}", "spring": f"spring-{travel}", "travel_mm": float(travel)}
    return Fit.checked({**FIT, **own, **more})


def guide(low: int = 70, high: int = 80, **more: Any) -> Guide:
    own = {
        "id": f"guide-{low}", "chassis": "fork", "chamber": "positive", "rider_mass_from": str(low),
        "rider_mass_to": str(high), "mass_unit": "kg", "mass_is": "with gear", "pressure": "70",
        "pressure_unit": "psi", "sag_percent": "20", "source": "doc", "page": "4",
    }  # fmt: skip
    return Guide.checked({**own, **more})


def reading(id: str, **more: Any) -> Reading:
    own = {"id": id, "chassis": "fork", "state": "at sag", "pressure_unit": "psi", "spacers": 1, "source": "bench"}
    return Reading.checked({**own, **more})


def rider_limit(most: str = "120") -> Limit:
    own = {"id": "rider-limit", "chassis": "fork", "subject": "rider mass", "max": most, "unit": "kg", "source": "doc"}
    return Limit.checked(own)


def coil(id: str, rate: str, **more: Any) -> Spring:
    own = {
        "id": id, "maker": "maker", "name": id, "kind": "coil", "rate": rate, "rate_unit": "N/mm",
        "preload_min_mm": "2", "preload_max_mm": "12", "travel_set_by": "travel spacer", "negative": "none",
    }  # fmt: skip
    return Spring.checked({**own, **more})


def coil_fit(spring: str) -> Fit:
    return Fit.checked({"id": f"fit-{spring}", "chassis": "fork", "spring": spring, "travel_mm": 160.0})


def common() -> list[Row]:
    sources = [
        {"id": "doc", "title": "Manual", "kind": "manual", "published_on": "2022-01", "invented": True},
        {"id": "bench", "title": "Bench", "kind": "measured", "published_on": "2023-01"},
    ]
    return [
        Maker.checked({"id": "maker", "name": "Maker"}),
        Chassis.checked(CHASSIS),
        Spacer.checked({"id": "spacer", "name": "Spacer", "volume_ml": "8"}),
        *(Source.checked(each) for each in sources),
    ]


class Held(MemoryRows):
    """Rows in memory, as a catalogue at revision 1 in which no source replaces another."""

    revision = 1

    @property
    def cache_key(self) -> object:
        return self

    def fetch(self, statement: object) -> list[object]:
        return []


def ask(*rows: Row, **asked: Any) -> SetupAnswer:
    """The answer for the fork with these rows and the common ones, validated against its published schema."""
    held: Any = Held([*common(), *rows])
    snapshot: Snapshot = held
    answer = setup(snapshot, "fork", SetupAsked(**asked))
    SETUP.validate_json(SETUP.dump_json(answer, warnings="error"))
    return answer


def codes(answer: SetupAnswer) -> set[str]:
    return {each["code"] for each in answer["cautions"]}


def gaps(answer: SetupAnswer) -> dict[str, str]:
    return {each["what"]: each["text"] for each in answer["gaps"]}


def load_n(rider: float, bike: float = 15.0, share: float = 0.40, angle: float = 66.0) -> float:
    """Statics with the defaults of common practice: 40 % on the front, 15 kg bike, 4 kg unsprung, 66°."""
    return ((rider + bike) * share - 4.0) * G * math.sin(math.radians(angle))


def raw_force(x: float, start_abs: float, spacers: int = 1, travel: int = 150, n: float = 1.0) -> float:
    """The force at x (m) in N: both chambers in turn, from their gas laws, without code of the program."""
    area, shaft = math.pi * 0.0315**2 / 4, math.pi * 0.010**2 / 4
    ring = area - shaft

    def positive(snapshot: float) -> float:
        return END_ML[travel] * 1e-6 - spacers * 8e-6 + area * (travel / 1000 - snapshot)

    def negative(snapshot: float) -> float:
        return 20e-6 + ring * snapshot

    at_port = start_abs * (positive(0) / positive(0.004)) ** n
    push = start_abs * (positive(0) / positive(x)) ** n * area
    pull = at_port * (negative(0.004) / negative(x)) ** n * ring
    return push - pull - shaft * PA


def raw_start_psi(sag_m: float, force: float, spacers: int = 1, travel: int = 150) -> float:
    """Gauge start pressure by root finding on the raw force balance."""
    root = brentq(lambda p: raw_force(sag_m, p, spacers, travel) - force, 1e4, 1e8, xtol=1e-3)
    return float(root - PA) / PSI
