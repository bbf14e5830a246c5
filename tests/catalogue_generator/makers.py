"""Invented makers, each with its own habits: units, digits, drives, torques. No figure here is real."""

from dataclasses import dataclass
from random import Random

SYLLABLES = (
    "bra",
    "cor",
    "dun",
    "fel",
    "gri",
    "hol",
    "jar",
    "kes",
    "lum",
    "mor",
    "nim",
    "pol",
    "quor",
    "rus",
    "sten",
    "tav",
    "ul",
    "ver",
    "wex",
    "yar",
)
TORQUE_UNITS = {"N·m": 1.0, "in·lbf": 0.1129848290276167, "kgf·cm": 0.0980665}  # one unit in N·m; NIST SP 811
PRESSURE_UNITS = {"psi": 6894.757293168361, "bar": 100_000.0}  # one unit in Pa; NIST SP 811
CAP_DRIVES = ("hex socket 24 mm", "hex socket 27 mm", "cassette lockring", "four pins 30 mm", "hex socket 30 mm")
FOOT_DRIVES = ("hex 4 mm", "hex 5 mm", "hex 6 mm", "torx T30")
FOOT_THREADS = ("M8x1", "M8", "M10x1")
DAMPER_KINDS = ("open bath", "sealed cartridge", "bladder cartridge")

Cells = dict[str, str]

FLUIDS: tuple[tuple[str, str, Cells], ...] = (
    (
        "oil-bath-a",
        "bath oil",
        {"viscosity_40_cst": "98.4", "viscosity_100_cst": "12.1", "density_15_g_per_ml": "0.881"},
    ),
    (
        "oil-bath-b",
        "bath oil",
        {"viscosity_40_cst": "46.0", "viscosity_100_cst": "7.9", "density_15_g_per_ml": "0.872"},
    ),
    (
        "oil-damper-a",
        "damper oil",
        {"viscosity_40_cst": "15.8", "viscosity_100_cst": "3.9", "density_15_g_per_ml": "0.858"},
    ),
    (
        "oil-damper-b",
        "damper oil",
        {"viscosity_40_cst": "9.8", "viscosity_100_cst": "2.7", "density_15_g_per_ml": "0.85"},
    ),
    ("grease-a", "grease", {"nlgi": "2"}),
    ("grease-b", "grease", {"nlgi": "1"}),
)


def word(number: int, syllables: int = 3) -> str:
    """An invented word, different for each number below 20 ** syllables."""
    parts = []
    for _ in range(syllables):
        number, part = divmod(number, len(SYLLABLES))
        parts.append(SYLLABLES[part])
    return "".join(parts)


@dataclass(frozen=True, slots=True)
class Maker:
    """One maker's habits."""

    number: int
    id: str
    torque_unit: str
    torque_digits: int
    pressure_unit: str
    mass_unit: str
    foot_nm: float
    cap_nm: float
    axle_nm: float
    foot_drive: str
    foot_thread: str
    cap_drive: str
    bath_ml: float
    spacer_ml: float
    over_wheel_mm: float
    prints_limits: bool
    damper_levels: bool
    rounds_to: float
    thinks_in: str
    caliper_nm: float
    spacer_cap_nm: float
    knob_nm: float
    core_nm: float
    caliper_class: str
    leg_ratio: float
    states_geometry: bool
    states_strokes: float | None
    called_by: str
    scatter: float
    front_share: float
    spacers_fitted: int
    piston_ml: float
    foam_ml: float

    def torque(self, newton_metres: float) -> str:
        """A torque as this maker prints it: rounded in the unit it designs in, then converted to the unit it prints."""
        thought = TORQUE_UNITS[self.thinks_in]
        step = self.rounds_to if newton_metres > 3 else min(self.rounds_to, 0.1)
        round_nm = max(step, round(newton_metres / thought / step) * step) * thought
        digits = self.torque_digits + (1 if newton_metres < 1 and self.torque_digits == 0 else 0)
        return _digits(round_nm / TORQUE_UNITS[self.torque_unit], digits)

    def pressure(self, pascals: float) -> str:
        """A gauge pressure as this maker prints it."""
        return _digits(pascals / PRESSURE_UNITS[self.pressure_unit], 1 if self.pressure_unit == "bar" else 0)


def _digits(value: float, digits: int) -> str:
    return f"{value:.{digits}f}"


def maker(seed: int, number: int) -> Maker:
    """The maker of that number; the seed is fixed."""
    draw = Random(f"{seed}/maker/{number}")
    torque_unit = draw.choices(list(TORQUE_UNITS), (6, 3, 1))[0]
    thinks_in = torque_unit if draw.random() < 0.6 else "N·m"
    return Maker(
        number=number,
        id=f"maker-{number:05}",
        torque_unit=torque_unit,
        torque_digits=1 if torque_unit == "N·m" else 0,
        pressure_unit=draw.choice(list(PRESSURE_UNITS)),
        mass_unit=draw.choice(("kg", "kg", "lb")),
        foot_nm=draw.uniform(4.5, 11),
        cap_nm=draw.uniform(14, 34),
        axle_nm=draw.uniform(8, 16),
        foot_drive=draw.choice(FOOT_DRIVES),
        foot_thread=draw.choice(FOOT_THREADS),
        cap_drive=draw.choice(CAP_DRIVES),
        bath_ml=draw.uniform(5, 18),
        spacer_ml=draw.uniform(5, 11),
        over_wheel_mm=draw.uniform(372, 384),
        prints_limits=draw.random() < 0.4,
        damper_levels=draw.random() < 0.5,
        rounds_to=draw.choice((0.1, 0.1, 0.5, 1.0)) if thinks_in == "N·m" else draw.choice((1, 1, 2, 5)),
        thinks_in=thinks_in,
        caliper_nm=draw.uniform(6.2, 9.5),
        spacer_cap_nm=draw.uniform(2.0, 4.8),
        knob_nm=draw.uniform(0.5, 1.4),
        core_nm=draw.uniform(0.25, 0.6),
        caliper_class=draw.choice(("8.8", "8.8", "10.9", "")),
        leg_ratio=draw.choice((0.7, 1.0, 1.0, 1.0, 1.25, 1.6)),
        states_geometry=draw.random() < 0.7,
        states_strokes=draw.choice((None, 0.0, 2.0, 5.0)),
        called_by=draw.choices(("word", "stanchion", "travel"), (5, 4, 1))[0],
        scatter=draw.uniform(0.0, 0.04),
        front_share=draw.uniform(0.38, 0.46),
        spacers_fitted=draw.choice((0, 1, 1, 2)),
        piston_ml=draw.choice((1.5, 2, 3, 3, 5, 6)),
        foam_ml=draw.choice((1.5, 2, 2, 2.5, 3)),
    )


def shared(seed: int, makers: int) -> list[tuple[str, Cells]]:
    """The rows that all forks share: fluids, tools, procedures, and each maker's dampers, spacer and parts."""
    rows: list[tuple[str, Cells]] = []
    for number in range(makers):
        rows += _of_maker(maker(seed, number))
    for id, kind, facts in FLUIDS:
        rows.append(("fluids", {"id": id, "name": id.replace("-", " "), "kind": kind, **facts}))
    drives = {*FOOT_DRIVES, *CAP_DRIVES, "hex 8 mm", "hex 5 mm", "hex 6 mm"}
    for drive in sorted(drives):
        rows.append(
            ("tools", {"id": "tool-" + drive.lower().replace(" ", "-"), "name": f"Tool {drive}", "drive": drive})
        )
    for job in ("travel-change", "spacer-change", "lower-leg-service", "full-service"):
        rows.append(("procedures", {"id": job, "job": job, "name": job.replace("-", " ")}))
        rows += [
            ("steps", {"id": f"{job}-{order}", "procedure": job, "order": str(order), **step})
            for order, step in enumerate(STEPS, 1)
        ]
    return rows


STEPS: tuple[Cells, ...] = (
    {"action": "empty", "text": "Let the oil of the spring side run out.", "chamber": "spring-side lower leg"},
    {"action": "grease", "text": "Grease the wipers with {grease}.", "place": "dust wiper"},
    {"action": "fill", "text": "Fill in {volume}.", "chamber": "spring-side lower leg"},
    {"action": "tighten", "text": "Tighten to {torque}.", "fastener_position": "foot bolt"},
)


def _of_maker(made: Maker) -> list[tuple[str, Cells]]:
    by = {"maker": made.id}
    number = f"{made.number:05}"
    rows: list[tuple[str, Cells]] = [("makers", {"id": made.id, "name": word(made.number).title()})]
    rows.append(
        (
            "spacers",
            {"id": f"spacer-{number}", "name": "Spacer", "volume_ml": f"{made.spacer_ml:.1f}", "drives": "hex 8 mm"},
        )
    )
    for each, kind in enumerate(DAMPER_KINDS):
        rows.append(
            (
                "dampers",
                {
                    "id": f"damper-{number}-{each}",
                    **by,
                    "name": f"{word(made.number, 2).title()} {each}",
                    "kind": kind,
                    "adjuster_at": "foot",
                    "foot_joint": "bolt into shaft",
                    "serviceable": "here" if each == 0 else "by the maker",
                    "rebound_clicks": "18",
                    "compression_clicks": "10",
                    "clicks_from": "closed",
                    "travel_max_mm": "220",
                },
            )
        )
    kinds = ("crush washer", "dust wiper", "foam ring", "retaining ring", "full service kit", "valve core")
    for each, kind in enumerate(kinds):
        rows.append(
            (
                "parts",
                {
                    "id": f"part-{number}-{each}",
                    **by,
                    "name": kind.capitalize(),
                    "kind": kind,
                    "part_number": f"{made.number:05}-{each}",
                    "pack_count": str(1 + each % 3),
                },
            )
        )
    rows.append(
        (
            "sources",
            {
                "id": f"bench-{number}",
                "title": f"Workshop notes {number}",
                "kind": "measured",
                "published_on": "2024-06-01",
                "invented": "true",
            },
        )
    )
    return rows
