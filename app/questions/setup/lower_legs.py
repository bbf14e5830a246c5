"""Air trapped in the lower legs: the curve leaves it out, but the answer shows its size for this fork."""

from collections.abc import Mapping, Sequence

from app.catalogue.tables import Chassis, Fill
from app.physics.band import Band, Uncertain, band
from app.physics.lower_legs import lower_leg_force_n
from app.questions.answers.explained import as_published
from app.questions.configuration.prevailing import Applicable
from app.questions.setup.builder import SetupBuilder
from app.questions.setup.model import Formatter
from app.questions.setup.parameters import si_of
from app.questions.setup.views import LowerLegAir, SetupAnswer
from app.questions.setup.words import PRACTICE

SLOW_TO_FAST = Uncertain("exponent", 1.205, 0.205)  # 1 slow, 1.41 adiabatic real air (CoolProp, Lemmon et al. 2000)
STANCHION_SPREAD_M = 0.05e-3  # common practice, no source
OIL_SPREAD_M3 = 1e-6  # accuracy of measuring oil; common practice, no source
LEGS = ("spring-side lower leg", "damper-side lower leg")
ML = 1e-6


def put_lower_legs(
    answer: SetupAnswer, work: SetupBuilder, travel_m: float, sag_m: float, ambient_pa: float, shown: Formatter
) -> None:  # fmt: skip
    """State that the curve leaves out the air in the lower legs, and how large its force is if the sizes are known."""
    chassis = work.found.context.chassis
    inputs = _inputs(chassis, work.found.fills)
    if inputs is None:
        answer["lower_leg_air"] = {"text": f"{_LEFT_OUT} Its size is unknown here: {_MISSING}"}
        return
    slow = _force([each for each in inputs if each.name != "exponent"], travel_m, sag_m, ambient_pa)
    full = _force(inputs, travel_m, travel_m, ambient_pa)
    at_sag, at_end = shown.banded_force(slow), shown.banded_force(full)
    block: LowerLegAir = {"at_sag": at_sag, "at_full_travel": at_end, "text": ""}
    block["text"] = (
        f"{_LEFT_OUT} If both legs were closed at full extension, it adds about {at_sag['text']} at the sag "
        f"and {at_end['text']} at full travel, from slow to fast strokes. Let the legs breathe with the fork "
        "extended."
    )
    answer["lower_leg_air"] = block
    text = f"One lower leg at full compression, as published; stanchion ±0.05 mm, oil as filled, ±1 mL ({PRACTICE})."
    work.assumptions.append({"name": "leg_free_volume", "text": text})


_LEFT_OUT = "The curve leaves out the air trapped in the lower legs, which makes the fork firmer deep in its travel."
_MISSING = "the catalogue does not give the stanchion diameter and the free volume of a leg."


def _inputs(chassis: Chassis, fills: Sequence[Applicable[Fill]]) -> list[Uncertain] | None:
    """The sizes that determine the force; None if the catalogue lacks one."""
    if chassis.stanchion_diameter_mm is None or chassis.leg_free_volume_ml is None:
        return None
    stanchion = Uncertain("stanchion", chassis.stanchion_diameter_mm / 1000, STANCHION_SPREAD_M)
    free = as_published("free volume", chassis.leg_free_volume_ml, ML)
    oils = [_oil(leg, fills, free.value) for leg in LEGS]
    least = free.value - free.half_width - max(oil.value + oil.half_width for oil in oils)
    return None if least <= 0 else [stanchion, free, SLOW_TO_FAST, *oils]


def _oil(leg: str, fills: Sequence[Applicable[Fill]], free_m3: float) -> Uncertain:
    """The oil in a leg; anything up to 40 % of the free volume if not stated (common practice, no source)."""
    for each in fills:
        row = each.statement
        if row.chamber == leg and row.value is not None and row.unit is not None:
            value = si_of("volume", row.value, row.unit)
            ends = [si_of("volume", end, row.unit) for end in (row.min, row.max) if end is not None]
            half = max([OIL_SPREAD_M3, *(abs(end - value) for end in ends)])
            return Uncertain(leg, value, min(half, value))
    return Uncertain(leg, 0.2 * free_m3, 0.2 * free_m3)


def _force(inputs: Sequence[Uncertain], travel_m: float, at_m: float, ambient_pa: float) -> Band:
    def force(values: Mapping[str, float]) -> float:
        return sum(
            lower_leg_force_n(
                values["stanchion"], values["free volume"] - values[leg], travel_m, at_m, ambient_pa,
                values.get("exponent", 1.0),
            )
            for leg in LEGS
        )  # fmt: skip

    return band(force, inputs)
