"""A start pressure on one basis, and how one is made of a band."""

from dataclasses import dataclass

from app.catalogue.tables import Guide
from app.physics.band import Band
from app.questions.answers.gap import Gap
from app.questions.setup.views import Basis
from app.units.measure import Measure

MEASURED_ON_THE_BENCH = frozenset(
    ("measured from two sags", "measured from one sag", "measured from one force")
)  # from readings of a sag or a force
SAGS = frozenset(("measured from two sags", "measured from one sag"))  # the asker can read them again
TOO_WIDE = 0.5  # of the figure: a band wider than this is no headline. Common practice, no source


@dataclass(frozen=True, slots=True)
class StartPressureEstimate:
    """A gauge start pressure on one basis, in Pa, with the range it lies in.

    `guide` if it is published, `given` if the asker gave it; `biggest` moves a computed or measured one most.
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
        """Whether it was measured so badly that its band says too little for a headline."""
        return self.basis in SAGS and self.high_pa - self.low_pa > TOO_WIDE * self.gauge_pa


def estimate_of(basis: Basis, band: Band, text: str, statements: tuple[str, ...]) -> StartPressureEstimate:
    """The estimate of a band that the physics found."""
    return StartPressureEstimate(basis, band.value, band.low, band.high, text, band.biggest, True, statements)


def gap(what: str, why: str, text: str) -> Gap:
    """Something missing: its code, what it is needed for, and how to get it."""
    return {"what": what, "why_needed": why, "text": text}
