"""The cautions that come with an answer, by code. The codes are contract, the sentences are not."""

from collections.abc import Iterable

from app.catalogue.tables import Source
from app.questions.answers.views import Caution

TEXTS = {
    "invented-data": "This is demonstration data: the makers, documents and every figure are invented. "
    "Never use it on a real fork.",
    "pressure-before-opening": "Let all the air out before you open anything: hold the valve open, cycle the fork "
    "past the port and back, and finish fully extended.",
    "trapped-gas": "If the fork stays down or still springs back with the valve open, gas is trapped inside. "
    "Stop and do not open it.",
    "cap-under-pressure": "Never turn a cap while there is air under it.",
    "eye-protection": "Wear eye protection at retaining rings and foot bolts: springs and oil can come out suddenly.",
    "shock-pump-only": "Use a shock pump only: no compressor, tyre pump or gas cartridge.",
    "limits": "Stay within the pressure, spacer and travel limits.",
    "frame-limit": "Fit more travel only if the frame maker permits it. Not stated is not permission.",
    "damaged-parts": "Never reuse a damaged steerer, crown or stanchion.",
    "brakes-clean": "Keep oil and grease off brake pads and rotor.",
    "not-in-the-catalogue": "If the catalogue does not list something, it is unknown. That is not permission.",
    "undecided": "Some of this depends on choices that are still open. Only one of the alternatives applies.",
    "manual-prevails": "The maker's current manual prevails. If this differs from it, stop.",
    "qualified": "Suspension work is for a qualified mechanic, within the rules that apply where you are.",
    "computed": "A computed value is a starting point, not a setting or a maker's figure. Measure and adjust.",
    "stand-in": (
        "An alternative is not what the maker specifies: equal viscosity does not mean equal behaviour. Never "
        "mix it with the old fluid: clean everything, then refill."
    ),
    "bases-disagree": "Published, measured and computed pressure differ by more than their bands allow: all are shown. "
    "Trust none of them until you have measured the sag.",
    "over-pressure-limit": "This pressure is above the maximum fill pressure. Do not fill to it.",
    "over-spacer-limit": "This is more than the maximum number of volume spacers. Do not fit them.",
    "below-gauge": "This pressure is below what a shock pump gauge reads. Add air in small steps and set the sag.",
    "over-rider-mass-limit": "The rider with gear is above this fork's weight limit.",
    "serial-unread": "This serial number does not look like any that the catalogue lists for this fork, so it decided "
    "nothing. Read the stamp letter by letter.",
    "sources-disagree": "Two sources disagree by more than their tolerances. Both are shown.",
}

ALWAYS = ("manual-prevails", "qualified")
BEFORE_OPENING = (
    "pressure-before-opening", "trapped-gas", "cap-under-pressure", "eye-protection", "damaged-parts", "brakes-clean",
)  # fmt: skip


def caution(code: str) -> Caution:
    """The caution with this code. Raises KeyError for an unknown code."""
    return {"code": code, "text": TEXTS[code]}


def cautions(*codes: str, sources: Iterable[Source] = ()) -> list[Caution]:
    """The cautions of an answer: invented data first, then `codes`, and always that the manual prevails."""
    wanted = ["invented-data"] if any(source.invented for source in sources) else []
    wanted += [*codes, *ALWAYS]
    return [caution(code) for code in dict.fromkeys(wanted)]
