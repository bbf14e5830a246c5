"""The effect of a torque on its bolt: clamp force, share of the proof load, and the right wrench.

If thread, preparation, material, class or hole is unknown, the bolt is "not judged", with the reason; nothing is
guessed.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, NotRequired

from typing_extensions import TypedDict

from app import standards
from app.catalogue.agreement import unit_of
from app.catalogue.tables import Fastener, Torque
from app.physics.bolt import (
    NUT_FACTORS,
    USE_OF_YIELD,
    NutFactor,
    Thread,
    equivalent_stress_pa,
    preload_n,
    share_of_proof_load,
    share_of_yield_limit,
    thread_friction,
)
from app.questions.answers.explained import Assumption, Formula
from app.units.preferences import Units
from app.units.quantity import Quantity, computed, middle, quantity

FIFTHS = 5  # ISO 6789:2003 tests a wrench from a fifth of its maximum
MOST_TYPICAL_SHARE = 0.75  # of the proof load, for a joint that is taken apart again: Shigley 9e, equation 8-31
FORMULA: Formula = {
    "text": "F = T/(K·d); share of the proof load = F/(Sp·As), As = π/4·((d2 + d3)/2)² less the hole; "
    "share of the yield limit = √(σ² + 3τ²)/(0.9·Rp0.2), tension and torsion together",
    "source": "Shigley's Mechanical Engineering Design 9e, equations 8-27 and 8-31; ISO 898-1:2013; VDI 2230-1:2003",
    "validity": "steel bolts and nuts with ISO metric threads, tightened by a torque wrench",
}
Judgement = Literal["within", "may exceed", "exceeds", "not judged"]


class StandardLink(TypedDict):
    """A row of a public standard that a figure comes from, and how that row was verified."""

    name: str
    href: str
    row: NotRequired[str]
    verified: str


class WrenchView(TypedDict):
    """The setting wrench for a torque: its marked maximum lies between `min` and `max` of the range."""

    marked_maximum: Quantity
    text: str
    source: str


class PreloadView(TypedDict):
    """The clamp force with the scatter of its preparation; `proof_load` says whether the bolt can take it.

    `share_of_proof_load` is for tension alone. `share_of_yield_limit` is the stress of tension and torsion together as
    a share of 90 % of the yield strength. `proof_load` judges the larger of the two.
    """

    preload: NotRequired[Quantity]
    nut_factor: NotRequired[Assumption]
    share_of_proof_load: NotRequired[Quantity]
    share_of_yield_limit: NotRequired[Quantity]
    proof_load: Judgement
    not_judged: NotRequired[list[str]]
    text: str
    wrench: NotRequired[WrenchView]
    formula: Formula
    assumptions: list[Assumption]
    standards: list[StandardLink]


@dataclass(frozen=True, slots=True)
class Tightening:
    """A torque in N·m: the nominal value, and the limits that its source allows."""

    nominal_nm: float
    low_nm: float
    high_nm: float


def preload(torque: Torque, fastener: Fastener, units: Units) -> PreloadView:
    """The assessment of this torque on this fastener."""
    thread = None if fastener.thread is None else standards.thread(fastener.thread)
    tightening = _tightening(torque)
    factor = NUT_FACTORS.get(torque.thread_prep or "")
    shown: PreloadView = {
        "proof_load": "not judged",
        "text": "",
        "formula": FORMULA,
        "assumptions": [],
        "standards": _standards(fastener, thread),
    }
    if tightening is not None and (wrench := _wrench(torque, units)) is not None:
        shown["wrench"] = wrench
    reasons = [*_no_preload(torque, fastener, thread, tightening, factor)]
    if not reasons and thread is not None and tightening is not None and factor is not None:
        reasons = _add_preload(shown, fastener, thread, tightening, factor, units)
    if reasons:
        shown["not_judged"] = reasons
        shown["text"] = f"Not judged: {'; '.join(reasons)}."
    return shown


def _tightening(torque: Torque) -> Tightening | None:
    """The torque in N·m; None if it or its unit is missing."""
    unit = None if torque.unit is None else unit_of("torque", torque.unit)
    given = [figure for figure in (torque.value, torque.min, torque.max) if figure is not None]
    if unit is None or not given:
        return None
    factor = float(unit.factor)
    low = float(torque.min if torque.min is not None else min(given)) * factor
    high = float(torque.max if torque.max is not None else max(given)) * factor
    nominal = low if torque.value is None else float(torque.value) * factor
    if torque.value is None and torque.min is not None and torque.max is not None:
        nominal = float(middle(torque.min, torque.max)) * factor
    return Tightening(nominal, low, high)


def _no_preload(
    torque: Torque,
    fastener: Fastener,
    thread: standards.MetricThread | None,
    tightening: Tightening | None,
    factor: NutFactor | None,
) -> list[str]:
    """Why no clamp force can be computed."""
    reasons = []
    if fastener.kind not in ("bolt", "nut"):
        reasons.append(f"a {fastener.kind} does not clamp as a bolt or nut does")
    if tightening is None:
        reasons.append("the torque is not stated")
    if thread is None:
        reasons.append(
            "the thread is not stated" if fastener.thread is None else "the thread is not a known ISO metric thread"
        )
    if factor is None:
        reasons.append("how the thread is prepared is not stated")
    if fastener.material != "steel":
        material = "not stated" if fastener.material is None else fastener.material
        reasons.append(f"nut factors are for steel, and the material is {material}")
    return reasons


def _add_preload(
    shown: PreloadView,
    fastener: Fastener,
    thread: standards.MetricThread,
    tightening: Tightening,
    factor: NutFactor,
    units: Units,
) -> list[str]:
    """Add clamp force and share to the answer; return why the share is not judged, if so."""
    metal = Thread(thread.diameter_mm / 1000, thread.pitch_mm / 1000)
    force = preload_n(tightening.nominal_nm, metal, factor.nominal)
    low, high = preload_n(tightening.low_nm, metal, factor.high), preload_n(tightening.high_nm, metal, factor.low)
    step = Decimal(10) if units.usual("force", "N").name == "N" else None
    shown["preload"] = computed("force", force, "N", band=(low, high), share=None, to=units, step=step)
    prepared = next(name for name, each in NUT_FACTORS.items() if each is factor)
    nominal, least, most = (Decimal(f"{each:.2f}") for each in (factor.nominal, factor.low, factor.high))
    shown["nut_factor"] = {
        "name": "nut factor",
        "value": quantity("percent", nominal, "ratio", minimum=least, maximum=most),
        "text": f"{prepared}; {factor.source}",
    }
    shown["assumptions"] = _assumptions(fastener)
    strength, reasons = _strength(fastener, thread)
    if strength is None:
        return reasons
    hole = None if fastener.through_hole_mm is None else float(fastener.through_hole_mm) / 1000
    ends = [(force, factor.nominal), (low, factor.high), (high, factor.low)]
    try:
        shares = [share_of_proof_load(each, metal, strength.proof_pa, hole) for each, _ in ends]
        stresses = [equivalent_stress_pa(each, metal, thread_friction(nut, metal), hole) for each, nut in ends]
    except ValueError:  # reported to the reader: the hole leaves nothing of the bolt
        return ["the hole is as wide as the core of the thread"]
    with_torsion = [share_of_yield_limit(each, strength.yield_pa) for each in stresses]
    shown["share_of_proof_load"] = computed(
        "percent", shares[0], "%", band=(shares[1], shares[2]), share=None, to=units
    )
    shown["share_of_yield_limit"] = computed(
        "percent", with_torsion[0], "%", band=(with_torsion[1], with_torsion[2]), share=None, to=units
    )
    _, lowest, highest = (max(both) for both in zip(shares, with_torsion, strict=True))
    shown["proof_load"] = "exceeds" if lowest > 1 else "may exceed" if highest > 1 else "within"
    says = {"within": "within both, scatter included", "may exceed": "beyond them at the end of the scatter"}
    shown["text"] = (
        f"{shown['share_of_proof_load']['text']} of the proof load; with torsion "
        f"{shown['share_of_yield_limit']['text']} of {100 * USE_OF_YIELD:.0f} % of the yield strength: "
        f"{says.get(shown['proof_load'], 'beyond the limit')}; {100 * MOST_TYPICAL_SHARE:.0f} % of the proof "
        "load is the usual target for a joint that is taken apart again."
    )
    return []


@dataclass(frozen=True, slots=True)
class Strength:
    """Stress under proof load and yield strength of a bolt, in Pa."""

    proof_pa: float
    yield_pa: float


def _strength(fastener: Fastener, thread: standards.MetricThread) -> tuple[Strength | None, list[str]]:
    """The strength of the bolt, or why it is unknown."""
    if fastener.property_class is None:
        return None, ["the property class is not stated"]
    found = standards.property_class(fastener.property_class, thread.diameter_mm)
    if found is None or found.proof_stress_mpa is None or found.yield_min_mpa is None:
        return None, [f"no proof stress is standardised for class {fastener.property_class} here"]
    if fastener.through_hole_mm is None and fastener.standard is None:
        return None, ["whether a hole runs through the bolt is not stated"]
    return Strength(found.proof_stress_mpa * 1e6, found.yield_min_mpa * 1e6), []


def _assumptions(fastener: Fastener) -> list[Assumption]:
    found: list[Assumption] = [
        {"name": "scatter", "text": "the limits include the scatter of the nut factor and the tolerance of the torque"},
        {
            "name": "torsion",
            "text": (
                "friction in the thread assumed equal to that under the head, on a mean diameter of 1.3 times "
                "the thread's"
            ),
        },
    ]
    if fastener.counterpart_material not in (None, "steel"):
        text = f"the thread in the {fastener.counterpart_material} is not judged: it may strip before the bolt yields"
        found.append({"name": "counterpart", "text": text})
    if fastener.through_hole_mm is None and fastener.standard is not None:
        found.append({"name": "hole", "text": f"none: a screw of {fastener.standard} is solid"})
    return found


def _wrench(torque: Torque, units: Units) -> WrenchView | None:
    """The marked maximum lies between the torque and five times it; like limits, these are never loosened."""
    given = [figure for figure in (torque.value, torque.min, torque.max) if figure is not None]
    if torque.unit is None or not given:
        return None
    least = torque.max if torque.max is not None else max(given)
    most = (torque.min if torque.min is not None else min(given)) * FIFTHS
    if most < least:
        return None  # limits so far apart that no wrench covers both
    shown = quantity("torque", None, torque.unit, minimum=least, maximum=most, to=units)
    return {
        "marked_maximum": shown,
        "text": f"a setting wrench marked up to {shown['text']}, with this torque in its marked range",
        "source": "ISO 6789-1:2017 (marked range); ISO 6789:2003 (from a fifth of the maximum)",
    }


def _standards(fastener: Fastener, thread: standards.MetricThread | None) -> list[StandardLink]:
    links: list[StandardLink] = []
    if thread is not None:
        links.append(_link("threads", thread.source, thread.verified, thread.id))
        if fastener.property_class is not None:
            found = standards.property_class(fastener.property_class, thread.diameter_mm)
            if found is not None:
                links.append(_link("property-classes", found.source, found.verified, found.id))
    if fastener.standard is not None and fastener.thread is not None:
        key = standards.key_size(fastener.standard, fastener.thread)
        if key is not None:
            links.append(_link("key-sizes", key.source, key.verified, key.id))
    return links


def _link(table: str, source: str, verified: str, row: str | None) -> StandardLink:
    link: StandardLink = {"name": source, "href": f"/v1/standards/{table}", "verified": verified}
    if row is not None:
        link["row"] = row
    return link
