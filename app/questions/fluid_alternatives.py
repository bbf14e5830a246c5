"""Alternatives to a fluid: those of its kind, nearest in viscosity first; never a recommendation.

Values that the catalogue does not give are shown as unknown, and fluids stated to be unsafe for seals are listed
separately.
"""

import math
from collections.abc import Mapping
from decimal import Decimal
from typing import Literal, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.present import present
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Fluid, Source
from app.physics.band import Band, band
from app.physics.fluids import iso_class, viscosity_at_m2_s
from app.questions.answers.cautions import cautions
from app.questions.answers.explained import Assumption, Formula, as_published
from app.questions.answers.gap import Gap
from app.questions.answers.parameters import LookupParameters
from app.questions.answers.views import Caution, SourceRef, figure, source_ref
from app.questions.sheet.fits import chosen_units
from app.units.measure import Measure, parse_measure
from app.units.preferences import Units
from app.units.quantity import Quantity, computed, quantity

_CST = 1e-6
_ZERO_CELSIUS_K = 273.15
USUAL_TEMPERATURE = "40"
FORMULA: Formula = {
    "text": "log10 log10(v + 0.7) = A − B·log10 T through the viscosities at 40 and 100 °C; v in mm²/s, T in K",
    "source": "ASTM D341-20, the simple form",
    "validity": "mineral-type oils that flow, −40 to 150 °C, from 2 mm²/s upwards",
}


class AlternativesAsked(LookupParameters):
    """The parameters of `alternatives`."""

    temperature: str | None = Field(
        None, max_length=64, description=(
            "Temperature at which viscosities are compared, in °C or with a unit; by default 40 °C."
        ),
        examples=["20", "68°F"],
    )  # fmt: skip


class IsoClassView(TypedDict):
    """The ISO 3448 class of an oil, or the classes it lies between."""

    vg: NotRequired[int]
    text: str
    standard: str


class FluidFacts(TypedDict):
    """A fluid with its known properties. `viscosity` is at the requested temperature; absent if it is unknown."""

    id: str
    name: str
    kind: str
    viscosity: NotRequired[Quantity]
    viscosity_unknown: NotRequired[str]
    iso_class: NotRequired[IsoClassView]
    nlgi: NotRequired[str]
    seal_safe: Literal["yes", "no", "not stated"]
    packs: NotRequired[list[Quantity]]
    source: NotRequired[SourceRef]


class Alternative(FluidFacts):
    """An alternative; `viscosity_ratio` is its viscosity divided by that of the fluid in question."""

    viscosity_ratio: NotRequired[Quantity]
    text: str


class AlternativesAnswer(TypedDict):
    """Alternatives, nearest first and unknown ones last; those in `set_apart` are stated to be unsafe for seals."""

    revision: int
    fluid: FluidFacts
    temperature: Quantity
    alternatives: list[Alternative]
    set_apart: list[Alternative]
    formula: Formula
    assumptions: list[Assumption]
    gaps: list[Gap]
    cautions: list[Caution]


ALTERNATIVES = TypeAdapter(AlternativesAnswer)
ASSUMPTIONS: list[Assumption] = [
    {
        "name": "published viscosities",
        "text": "each is known to half a unit of its last digit; the band contains the true value 95 times in 100",
    },
    {"name": "likeness", "text": "ranked by viscosity alone: additives, index and friction are not compared"},
]


def fluid_alternatives(snapshot: Snapshot, id: str, asked: AlternativesAsked) -> AlternativesAnswer:
    """The answer at one revision. Raises NotFound, Gone, Invalid for a temperature outside −40 … 150 °C."""
    units = chosen_units(asked)
    temperature = parse_measure(
        asked.temperature or USUAL_TEMPERATURE, kind="temperature", usual="°C", parameter="temperature",
        minimum=Decimal(-40), maximum=Decimal(150),
    )  # fmt: skip
    fluid = present(snapshot, Fluid, id)
    others = [row for row in snapshot.where(Fluid, "kind", fluid.kind) if row.id != id]
    sources = snapshot.many(Source, {row.source for row in (fluid, *others) if row.source})
    facts = {row.id: fluid_facts(row, temperature, units, sources) for row in (fluid, *others)}
    others.sort(key=lambda row: _distance(fluid, row, temperature))
    shown = [(row, _alternative(fluid, row, facts[row.id], temperature)) for row in others]
    unsafe = {row.id for row in others if row.seal_safe is False and fluid.seal_safe is not False}
    return {
        "revision": snapshot.revision,
        "fluid": facts[id],
        "temperature": quantity("temperature", temperature.given_value, temperature.given_unit, to=units),
        "alternatives": [each for row, each in shown if row.id not in unsafe],
        "set_apart": [each for row, each in shown if row.id in unsafe],
        "formula": FORMULA,
        "assumptions": ASSUMPTIONS,
        "gaps": _gaps(fluid, facts[id]),
        "cautions": cautions("stand-in", "not-in-the-catalogue", "brakes-clean", sources=sources.values()),
    }


def viscosity_m2_s(fluid: Fluid, celsius: Decimal) -> Band | None:
    """Kinematic viscosity at a temperature: as published at 40 and 100 °C, else by ASTM D341; None if unknown.

    The band comes from the last digits of the published figures.
    """
    at_40, at_100 = fluid.viscosity_40_cst, fluid.viscosity_100_cst
    published = {Decimal(40): at_40, Decimal(100): at_100}.get(celsius)
    if published is not None:
        return band(lambda v: v["published"], [as_published("published", published, _CST)])
    if at_40 is None or at_100 is None:
        return None
    kelvin = float(celsius) + _ZERO_CELSIUS_K
    inputs = [as_published("at_40", at_40, _CST), as_published("at_100", at_100, _CST)]
    try:
        return band(lambda v: viscosity_at_m2_s(v["at_40"], v["at_100"], kelvin), inputs)
    except ValueError:  # outside the standard's range, which viscosity_unknown reports
        return None


def fluid_facts(fluid: Fluid, temperature: Measure, units: Units, sources: Mapping[str, Source]) -> FluidFacts:
    """The catalogue's data on one fluid, and its viscosity at the temperature."""
    safe: Literal["yes", "no", "not stated"] = (
        "not stated" if fluid.seal_safe is None else "yes" if fluid.seal_safe else "no"
    )
    facts: FluidFacts = {"id": fluid.id, "name": fluid.name, "kind": fluid.kind, "seal_safe": safe}
    viscosity = _viscosity(fluid, temperature, units)
    if viscosity is not None:
        facts["viscosity"] = viscosity
    else:
        facts["viscosity_unknown"] = _why_unknown(fluid)
    if fluid.viscosity_40_cst is not None:
        facts["iso_class"] = _iso_class(fluid.viscosity_40_cst)
    if fluid.nlgi is not None:
        facts["nlgi"] = fluid.nlgi
    if fluid.packs_ml:
        facts["packs"] = [quantity("volume", pack, "mL", to=units) for pack in fluid.packs_ml]
    if (source := source_ref(fluid, sources)) is not None:
        facts["source"] = source
    return facts


def _viscosity(fluid: Fluid, temperature: Measure, units: Units) -> Quantity | None:
    for celsius, column in ((Decimal(40), "viscosity_40_cst"), (Decimal(100), "viscosity_100_cst")):
        if temperature.value == celsius and (found := figure(fluid, "kinematic viscosity", column, "cSt", units)):
            found["basis"] = "published"
            return found
    spread = viscosity_m2_s(fluid, temperature.value)
    if spread is None:
        return None
    return computed("kinematic viscosity", spread.value, "cSt", band=(spread.low, spread.high), to=units)


def _why_unknown(fluid: Fluid) -> str:
    if fluid.viscosity_40_cst is None and fluid.viscosity_100_cst is None:
        return "The catalogue gives no viscosity."
    if fluid.viscosity_40_cst is None or fluid.viscosity_100_cst is None:
        return "The catalogue gives its viscosity at one temperature only."
    return "At this temperature it is outside what ASTM D341 covers."


def _iso_class(viscosity_40: Decimal) -> IsoClassView:
    found = iso_class(float(viscosity_40) * _CST)
    if found.vg is not None:
        return {"vg": found.vg, "text": f"ISO VG {found.vg}", "standard": "ISO 3448:1992"}
    ends = [f"above ISO VG {found.below}"] if found.below is not None else []
    ends += [f"below ISO VG {found.above}"] if found.above is not None else []
    return {"text": " and ".join(ends) + ": in no class", "standard": "ISO 3448:1992"}


def _ratio(fluid: Fluid, other: Fluid, temperature: Measure) -> float | None:
    mine, theirs = viscosity_m2_s(fluid, temperature.value), viscosity_m2_s(other, temperature.value)
    return None if mine is None or theirs is None else theirs.value / mine.value


_NLGI = ("000", "00", "0", "1", "2", "3", "4", "5", "6")


def _distance(fluid: Fluid, other: Fluid, temperature: Measure) -> tuple[float, float, str]:
    """Sort key: how many times thicker or thinner, then the difference in NLGI grades; unknown ones last."""
    ratio = _ratio(fluid, other, temperature)
    grades = math.inf
    if fluid.nlgi is not None and other.nlgi is not None:
        grades = abs(_NLGI.index(fluid.nlgi) - _NLGI.index(other.nlgi))
    return math.inf if ratio is None else abs(math.log(ratio)), grades, other.id


def _alternative(fluid: Fluid, other: Fluid, facts: FluidFacts, temperature: Measure) -> Alternative:
    mine, theirs = viscosity_m2_s(fluid, temperature.value), viscosity_m2_s(other, temperature.value)
    words = {"yes": "stated safe for seals", "no": "stated not safe for seals", "not stated": "seal safety not stated"}
    safe = words[facts["seal_safe"]]
    if mine is None or theirs is None:
        unknown = facts.get("viscosity_unknown", f"The viscosity of {fluid.name} is unknown.")
        return {**facts, "text": f"Not comparable: {unknown} It is {safe}."}  # type: ignore[typeddict-item]
    ratio = theirs.value / mine.value
    percent = round(100 * (ratio - 1))
    how = "as thick" if percent == 0 else f"{abs(percent)} % {'thicker' if percent > 0 else 'thinner'}"
    # moved apart: every ratio of both bands lies within
    ends = theirs.low / mine.high, theirs.high / mine.low
    shown = computed("percent", ratio, "ratio", band=ends, share=None, step=Decimal("0.001"))
    return {**facts, "viscosity_ratio": shown, "text": f"{how} at this temperature; {safe}"}


def _gaps(fluid: Fluid, facts: FluidFacts) -> list[Gap]:
    if "viscosity" in facts:
        return []
    return [
        {
            "what": "viscosity",
            "about": fluid.id,
            "why_needed": "alternatives are ranked by it",
            "text": (
                f"{_why_unknown(fluid)} Its data sheet, or a viscometer at 40 and 100 °C (ASTM D445), closes this gap."
            ),
        }
    ]
