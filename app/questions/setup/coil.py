"""A coil spring: the rate that gives the sag, and the springs that fit beside it. Refuses to choose one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.catalogue.tables import Fit, Guide, Spring
from app.physics import coil
from app.physics.band import Band, Uncertain, band
from app.questions.answers.explained import as_published
from app.questions.answers.gap import Gap
from app.questions.configuration.prevailing import Applicable
from app.questions.setup.inputs import ForRider, Target, same_sag
from app.questions.setup.load import Load, load_inputs, pushed_band
from app.questions.setup.model import Formatter as Figures
from app.questions.setup.parameters import Circumstances, si_of
from app.questions.setup.views import Basis, Coil, CoilSag, CoilView, CurvePointView
from app.questions.setup.words import band_view
from app.questions.sheet.fits import spring_ref
from app.units.quantity import computed, quantity

RATE_UNIT = "N/mm"


@dataclass(frozen=True, slots=True)
class CoilFound:
    """What was found for coils: the answer's block, its basis, what is missing, whether guide and computation agree."""

    coil: Coil
    basis: Basis | None
    softest: Band | None
    gaps: list[Gap]
    disagree: bool
    assumed_preload: bool


def coil_found(
    fits: Sequence[Applicable[Fit]], springs: dict[str, Spring], guides: ForRider, target: Target,
    asked: Circumstances, load_n: float | None, figures: Figures,
) -> CoilFound:  # fmt: skip
    """The rate for the load at the sag, counted with the least preload, and each coil that fits with its sag."""
    travel_m = fits[0].statement.travel_mm / 1000
    offered = {spring.id: spring for each in fits if (spring := springs.get(each.statement.spring)) is not None}
    known = {
        id: as_published("rate", row.rate, si_of("spring rate", Decimal(1), row.rate_unit))
        for id, row in offered.items()
        if row.rate and row.rate_unit
    }
    rates = {id: rate.value for id, rate in known.items()}
    gaps = [_gap("rate", id, "the sag is computed from it", "the rate") for id in offered if id not in rates]
    stated = [row.preload_min_mm for row in offered.values() if row.preload_min_mm is not None]
    preload_m = float(min(stated)) / 1000 if stated else 0.0
    shown: Coil = {"springs": [], "text": _TEXT}
    choice = _published_choice(guides, target)
    if choice is not None:
        shown["published_choice"] = spring_ref(choice, springs)
    usual = next((row.rate_unit for row in offered.values() if row.rate_unit), RATE_UNIT)
    load = None if load_n is None else pushed_band(asked)
    softest: Band | None = None
    for id, rate in sorted(known.items(), key=lambda item: item[1].value):
        own = _Coil(offered[id], rate, load, travel_m, figures)
        softest = softest or own.sag("preload_min_mm")
        shown["springs"].append(own.shown(springs, usual))
    disagree = False
    if load_n is not None and asked.rider_kg is not None:
        disagree = _add_rate(shown, rates, springs, choice, preload_m, target, asked, asked.rider_kg, usual, figures)
    basis: Basis | None = "published" if choice is not None else "computed" if "rate_wanted" in shown else None
    return CoilFound(shown, basis, softest, gaps, disagree, not stated)


_TEXT = (
    "The rate is for the least preload; more preload only lifts the fork, it does not stiffen the spring. Choose the "
    "next softer or stiffer spring by the sag each gives."
)


def _add_rate(
    shown: Coil, rates: Mapping[str, float], springs: dict[str, Spring], choice: str | None, preload_m: float,
    target: Target, asked: Circumstances, rider_kg: float, usual: str, figures: Figures,
) -> bool:  # fmt: skip
    """Put the wanted rate and its neighbours in; returns whether the guide's spring is neither of these."""
    load = Load(rider_kg)
    inputs = [*load_inputs(asked), Uncertain("friction_n", 0.0, asked.friction_n)]

    def rate(at: Mapping[str, float]) -> float:
        return coil.rate_for_sag_n_per_m(load(at) + at["friction_n"], target.sag_m, preload_m)

    found = band(rate, inputs)
    shown["rate_wanted"] = computed("spring rate", found.value, usual, band=(found.low, found.high), to=figures.units)
    shown["band"] = band_view(found.share, found.biggest)
    shown["preload"] = figures.length(preload_m)
    neighbours = coil.next_rates(found.value, rates.values())
    near: set[str] = set()
    for name, wanted in zip(("softer", "stiffer"), neighbours, strict=True):
        if wanted is not None:
            id = min(id for id, offered in rates.items() if offered == wanted)
            near.add(id)
            shown[name] = spring_ref(id, springs)  # type: ignore[literal-required]
    within = {id for id, offered in rates.items() if found.low <= offered <= found.high}
    return choice is not None and choice in rates and choice not in near | within


def _published_choice(guides: ForRider, target: Target) -> str | None:
    """The one spring that the guide names for this rider at this sag, where it surely holds."""
    rows = [each.statement for each in guides.sure if each.surely]
    named = {row.spring_choice for row in rows if _names_coil(row) and same_sag(row, target)} - {None}
    return named.pop() if len(named) == 1 else None


def _names_coil(guide: Guide) -> bool:
    return guide.chamber in (None, "coil") and guide.spring_choice is not None


@dataclass(frozen=True, slots=True)
class _Coil:
    """A coil that fits, its rate in SI, the load with friction where it is known, and how figures are written."""

    row: Spring
    rate: Uncertain
    load: Band | None
    travel_m: float
    figures: Figures

    def preload(self, column: str) -> Uncertain:
        """A preload as published, in m; none where it is not stated."""
        stated: Decimal | None = getattr(self.row, column)
        return Uncertain("preload", 0.0, 0.0) if stated is None else as_published("preload", Decimal(stated), 1e-3)

    def sag(self, column: str) -> Band | None:
        """The sag at a preload in m with its band, where the load is known."""
        return None if self.load is None else coil.sag_band(self.rate, self.load, self.preload(column))

    def shown(self, springs: dict[str, Spring], usual: str) -> CoilView:
        row, figures = self.row, self.figures
        shown: CoilView = {
            "spring": spring_ref(row.id, springs),
            "rate": quantity("spring rate", Decimal(row.rate or 0), row.rate_unit or usual, to=figures.units),
            "least_preload": self._sag_shown("preload_min_mm"),
            "curve": [self._point(at) for at in (0.0, self.travel_m)],
        }
        if row.preload_max_mm is not None:
            shown["greatest_preload"] = self._sag_shown("preload_max_mm")
        return shown

    def _point(self, travel_m: float) -> CurvePointView:
        least = self.preload("preload_min_mm")
        force_n = coil.force_n(self.rate.value, travel_m, least.value)
        ends = coil.force_ends_n(self.rate, travel_m, least)
        return {"travel": self.figures.length(travel_m), "force": self.figures.force(force_n, ends, told=False)}

    def _sag_shown(self, column: str) -> CoilSag:
        shown: CoilSag = {"preload": self.figures.length(self.preload(column).value)}
        found = self.sag(column)
        if found is not None:
            shown["travel"] = self.figures.length(found.value, (found.low, found.high))
            shown["percent"] = round(found.value / self.travel_m * 100, 1)
            shown["topped_out"] = found.value == 0
        return shown


def _gap(what: str, about: str, why: str, missing: str) -> Gap:
    return {
        "what": what,
        "about": about,
        "why_needed": why,
        "text": f"The catalogue does not say {missing} of {about}.",
    }
