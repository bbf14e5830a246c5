"""An answer to `setup` in the making: what it stands on, and what gathers beside the figures."""

from dataclasses import dataclass, field

from app.questions.answers.explained import Assumption
from app.questions.answers.gap import Gap
from app.questions.setup.inputs import Chosen, ForRider
from app.questions.setup.limits import KeptLimits
from app.questions.setup.load import load_band
from app.questions.setup.model import Formatter as Figures
from app.questions.setup.parameters import Circumstances
from app.questions.setup.views import BandOf, BandOfWhat, SetupAnswer
from app.questions.setup.words import band_view, load_assumptions
from app.questions.sheet.gather import Sheet
from app.units.preferences import Units
from app.units.quantity import Quantity


@dataclass(slots=True)
class SetupBuilder:
    """An answer in the making: what it stands on so far, and what has been gathered beside the figures."""

    found: Sheet
    asked: Circumstances
    units: Units
    chosen: Chosen
    guides: ForRider = field(default_factory=lambda: ForRider((), ()))
    limits: KeptLimits = field(default_factory=lambda: KeptLimits(None, None))
    undecided: dict[str, list[str | int | float]] = field(default_factory=dict)
    assumptions: list[Assumption] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    codes: list[str] = field(default_factory=list)
    bands: list[BandOf] = field(default_factory=list)
    load_n: float | None = None
    curves: bool = True  # a job card has no use for them, and they take half the time

    def assume(self, name: str, value: Quantity | int | float | str, text: str) -> None:
        """Note something that was taken for granted."""
        self.assumptions.append({"name": name, "value": value, "text": text})

    def miss(self, what: str, why: str, text: str) -> None:
        """Note something that is missing."""
        self.gaps.append({"what": what, "why_needed": why, "text": text})

    def add_band(self, of: BandOfWhat, share: float, biggest: str | None) -> None:
        """Note how sure a figure is, and what moves it most."""
        self.bands.append({"of": of, **band_view(share, biggest)})

    def add_load(self, answer: SetupAnswer, figures: Figures) -> None:
        """Put the load in with its band, and what was taken for granted of it."""
        band = load_band(self.asked)
        answer["load"] = figures.force(band.value, (band.low, band.high))
        self.add_band("load", band.share, band.biggest)
        self.assumptions += load_assumptions(self.asked, self.units)
