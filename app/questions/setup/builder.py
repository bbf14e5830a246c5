"""An answer to `setup` under construction: its inputs, and what is collected besides the figures."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from app.catalogue.tables import Adjustment
from app.physics.band import Band
from app.questions.answers.explained import Assumption
from app.questions.answers.gap import Gap
from app.questions.configuration.prevailing import Applicable
from app.questions.setup.inputs import Chosen, ForRider, words_only
from app.questions.setup.limits import KeptLimits
from app.questions.setup.model import Formatter as Figures
from app.questions.setup.parameters import Circumstances
from app.questions.setup.views import BandOf, BandOfWhat, Headline, SetupAnswer
from app.questions.setup.words import band_view, load_assumptions
from app.questions.sheet.gather import Sheet
from app.units.preferences import Units
from app.units.quantity import Quantity


@dataclass(slots=True)
class SetupBuilder:
    """The inputs of an answer so far, and what has been collected besides the figures."""

    found: Sheet
    asked: Circumstances
    units: Units
    chosen: Chosen
    guides: ForRider = field(default_factory=lambda: ForRider((), ()))
    published: ForRider = field(default_factory=lambda: ForRider((), ()))  # as printed, with nothing added
    adjustments: list[Applicable[Adjustment]] = field(default_factory=list)
    added: Mapping[str, Sequence[Adjustment]] = field(default_factory=dict)  # by guide
    limits: KeptLimits = field(default_factory=lambda: KeptLimits(None, None))
    undecided: dict[str, list[str | int | float]] = field(default_factory=dict)
    assumptions: list[Assumption] = field(default_factory=list)
    gaps: list[Gap] = field(default_factory=list)
    codes: list[str] = field(default_factory=list)
    bands: list[BandOf] = field(default_factory=list)
    load: Band | None = None
    pushed: Band | None = None  # the load with friction
    headline: Headline | None = None
    curves: bool = True  # a job card and a list of candidates need no curves, and those take half the time

    def assume(self, name: str, value: Quantity | str, text: str) -> None:
        """Record an assumption: a figure, or words."""
        if isinstance(value, str):
            self.assumptions.append({"name": name, "assumed": value, "text": text})
        else:
            self.assumptions.append({"name": name, "value": value, "text": text})

    def miss(self, what: str, why: str, text: str) -> None:
        """Record a gap."""
        self.gaps.append({"what": what, "why_needed": why, "text": text})

    def put_words(self) -> bool:
        """Put the guide's words for this rider at the top if it has no figure for them; returns whether it has none."""
        row = words_only(self.guides)
        if row is None or not row.surely or "riding" in self.undecided:
            return False
        text = f"The guide gives no figure for this rider: {row.statement.instruction}."
        self.headline = {"what": "instruction", "text": text}
        return True

    def add_band(self, of: BandOfWhat, biggest: str | None) -> None:
        """Record how certain a figure is, and what affects it most."""
        self.bands.append({"of": of, **band_view(biggest)})

    def add_load(self, answer: SetupAnswer, figures: Figures) -> None:
        """Add the load with its band, and the assumptions about it."""
        if self.load is None:
            return
        answer["load"] = figures.banded_force(self.load)
        self.add_band("load", self.load.biggest)
        self.assumptions += load_assumptions(self.asked, self.units)
