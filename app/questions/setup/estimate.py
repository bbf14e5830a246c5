"""A start pressure from one basis, and how a band becomes one."""

from dataclasses import dataclass

from app.catalogue.tables import Guide
from app.physics.band import Band
from app.questions.answers.gap import Gap
from app.questions.setup.views import Basis
from app.units.measure import Measure

MEASURED_ON_THE_BENCH = frozenset(
    ("measured from two sags", "measured from one sag", "measured from one force")
)  # from readings of a sag or a force
SAGS = frozenset(("measured from two sags", "measured from one sag"))  # the user can repeat these readings
TOO_WIDE = 0.5  # share of the figure: a band wider than this is not the headline. Common practice, no source


@dataclass(frozen=True, slots=True)
class StartPressureEstimate:
    """A gauge start pressure from one basis, in Pa, with its range.

    `guide` if it is published, `given` if the user gave it; `biggest` affects a computed or measured one most.
    """

    basis: Basis
    gauge_pa: float
    low_pa: float
    high_pa: float
    text: str
    biggest: str | None = None
    banded: bool = False
    statements: tuple[str, ...] = ()
    guide: Guide | None = None
    given: Measure | None = None

    @property
    def read_again(self) -> bool:
        """Whether its band is too wide for a headline."""
        return self.basis in SAGS and self.high_pa - self.low_pa > TOO_WIDE * self.gauge_pa


def estimate_of(basis: Basis, band: Band, text: str, statements: tuple[str, ...]) -> StartPressureEstimate:
    """The estimate for a band from the physics."""
    return StartPressureEstimate(basis, band.value, band.low, band.high, text, band.biggest, True, statements)


def gap(what: str, why: str, text: str) -> Gap:
    """A gap: its code, what it is needed for, and how to close it."""
    return {"what": what, "why_needed": why, "text": text}
