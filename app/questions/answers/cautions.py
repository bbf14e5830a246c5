"""The cautions that come with an answer: one sentence each, by a code that is contract."""

from collections.abc import Iterable

from app.catalogue.tables import Source
from app.questions.answers.views import Caution

TEXTS = {
    "invented-data": "This is demonstration data: the makers, documents and every figure are invented. "
    "Never use it on a real fork.",
    "pressure-before-opening": "Let the air out by the full sequence before anything is opened: valve held open, "
    "cycled past the port and back, finished fully extended.",
    "trapped-gas": "A fork that stays down or still springs with the valve open holds trapped gas: "
    "stop, do not open it.",
    "cap-under-pressure": "Never turn a cap while there is air in the chamber under it.",
    "eye-protection": "Wear eye protection at retaining rings and foot bolts: springs and oil can leave suddenly.",
    "shock-pump-only": "Use a shock pump only: no compressor, tyre pump or gas cartridge.",
    "limits": "Exceed no pressure, spacer or travel limit.",
    "frame-limit": "More travel is allowed only where the frame maker permits it; not stated is not permitted.",
    "damaged-parts": "A damaged steerer, crown or stanchion is out of use, whatever else is right.",
    "brakes-clean": "Keep oil and grease off brake pads and rotor.",
    "not-in-the-catalogue": "What is not in the catalogue is unknown, not permitted.",
    "undecided": "Some of this depends on what is still to decide. Alternatives are not two instructions.",
    "manual-prevails": "The maker's current manual prevails. Where it and this differ, stop.",
    "qualified": "Work on a suspension fork is for someone qualified for it, within the rules that hold where you are.",
    "computed": "A computed value is a starting point with a band, not a maker's figure: measure and adjust.",
    "stand-in": "A stand-in is not what the maker names: like viscosity does not make like behaviour. "
    "Never mix it with what is left inside: clean and fill anew.",
    "bases-disagree": "Published, measured and computed lie further apart here than their bands allow: all are shown. "
    "Trust none before the sag has been measured.",
    "over-pressure-limit": "The pressure to fill is above the maximum fill pressure: do not fill it so.",
    "over-spacer-limit": "These are more volume spacers than the fit may carry: do not fit them.",
    "below-gauge": "This pressure is below what a shock pump's gauge reads: fill by the sag alone, little by little.",
    "over-rider-mass-limit": "The rider with gear is heavier than this fork may carry.",
    "sources-disagree": "Two sources of this catalogue disagree beyond what they allow: both are shown.",
}

ALWAYS = ("manual-prevails", "qualified")
BEFORE_OPENING = (
    "pressure-before-opening", "trapped-gas", "cap-under-pressure", "eye-protection", "damaged-parts", "brakes-clean",
)  # fmt: skip


def caution(code: str) -> Caution:
    """The caution of a code; KeyError for one that is not listed here."""
    return {"code": code, "text": TEXTS[code]}


def cautions(*codes: str, sources: Iterable[Source] = ()) -> list[Caution]:
    """The cautions of an answer: that its data are invented where they are, what the question asks for, and always
    that the manual prevails."""
    wanted = ["invented-data"] if any(source.invented for source in sources) else []
    wanted += [*codes, *ALWAYS]
    return [caution(code) for code in dict.fromkeys(wanted)]
