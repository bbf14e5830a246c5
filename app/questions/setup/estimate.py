"""A start pressure on one basis, and how one is made of a band."""

from dataclasses import dataclass

from app.catalogue.tables import Guide
from app.physics.band import Band
from app.questions.answers.gap import Gap
from app.questions.setup.spring_geometry import SpringGeometry
from app.questions.setup.views import Basis


@dataclass(frozen=True, slots=True)
class StartPressureEstimate:
    """A start pressure on one basis, gauge, in Pa, with the range it lies in; `guide` where it is published, `geometry`
    where a spring was computed with."""

    basis: Basis
    gauge_pa: float
    low_pa: float
    high_pa: float
    text: str
    share: float | None = None
    biggest: str | None = None
    statements: tuple[str, ...] = ()
    guide: Guide | None = None
    geometry: SpringGeometry | None = None


def tier_of(basis: Basis, band: Band, text: str, statements: tuple[str, ...]) -> StartPressureEstimate:
    """The tier of a band that the physics found."""
    return StartPressureEstimate(basis, band.value, band.low, band.high, text, band.share, band.biggest, statements)


def gap(what: str, why: str, text: str) -> Gap:
    """Something missing: its code, what it is needed for, and how it is got."""
    return {"what": what, "why_needed": why, "text": text}
