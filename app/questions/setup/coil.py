"""A coil spring: the rate that gives the sag, the listed spring to fit, and the sag of every spring that fits."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.catalogue.tables import Fit, Guide, Spring
from app.physics import coil
from app.physics.band import Band, Uncertain, band
from app.questions.answers.clicks import counted
from app.questions.answers.explained import as_published
from app.questions.answers.gap import Gap
from app.questions.answers.views import SpringRef
from app.questions.configuration.prevailing import Applicable
from app.questions.setup.inputs import ForRider, Target, same_sag
from app.questions.setup.load import Load, load_inputs
from app.questions.setup.model import Formatter as Figures
from app.questions.setup.parameters import Circumstances, si_of
from app.questions.setup.views import Basis, Coil, CoilSag, CoilView, CurvePointView
from app.questions.setup.words import band_view
from app.questions.sheet.fits import spring_ref
from app.units.counts import AdjusterCount, turns_view
from app.units.quantity import computed, quantity

RATE_UNIT = "N/mm"


@dataclass(frozen=True, slots=True)
class CoilFound:
    """The answer's block on coils, its basis, its gaps, and whether guide and computation disagree."""

    coil: Coil
    basis: Basis | None
    softest: Band | None
    gaps: list[Gap]
    disagree: bool
    assumed_preload: bool


def coil_found(
    fits: Sequence[Applicable[Fit]], springs: dict[str, Spring], guides: ForRider, target: Target,
    asked: Circumstances, pushed: Band | None, figures: Figures,
) -> CoilFound:  # fmt: skip
    """The rate for the load at the sag, with minimum preload, and the sag of each coil that fits."""
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
    preload_mm = min(stated, default=None)
    shown: Coil = {"springs": [], "text": _TEXT}
    choice = _published_choice(guides, target)
    if choice is not None:
        shown["published_choice"] = spring_ref(choice, springs)
    usual = next((row.rate_unit for row in offered.values() if row.rate_unit), RATE_UNIT)
    softest: Band | None = None
    own: dict[str, _Coil] = {}
    for id, rate in sorted(known.items(), key=lambda item: item[1].value):
        own[id] = _Coil(offered[id], rate, pushed, travel_m, figures)
        softest = softest or own[id].sag("preload_min_mm")
        shown["springs"].append(own[id].shown(springs, usual))
    disagree = False
    if pushed is not None and asked.rider_kg is not None:
        disagree = _add_rate(shown, rates, springs, choice, preload_mm, target, asked, asked.rider_kg, usual, figures)
    if choice is not None:
        _add_turns(shown, guides, choice, own)
    _add_headline(shown, own, springs, choice, target)
    basis: Basis | None = "published" if choice is not None else "computed" if "rate_wanted" in shown else None
    return CoilFound(shown, basis, softest, gaps, disagree, not stated)


_TEXT = (
    "The rate is for minimum preload. More preload only lifts the fork; it does not stiffen the spring. "
    "Choose between the next softer and stiffer spring by the sag of each."
)


_UNKNOWN_TURN = (
    "The catalogue does not say how far one turn moves the spring, so the sag at the published turns is not computed. "
    "It lies between those at the least and at the greatest preload."
)


def _add_rate(
    shown: Coil, rates: Mapping[str, float], springs: dict[str, Spring], choice: str | None, preload_mm: Decimal | None,
    target: Target, asked: Circumstances, rider_kg: float, usual: str, figures: Figures,
) -> bool:  # fmt: skip
    """Put the wanted rate and its neighbours in; returns whether the guide's spring is neither of these."""
    load, preload_m = Load(rider_kg), float(preload_mm or 0) / 1000
    inputs = [*load_inputs(asked), Uncertain("friction_n", 0.0, asked.friction_n)]

    def rate(at: Mapping[str, float]) -> float:
        return coil.rate_for_sag_n_per_m(load(at) + at["friction_n"], target.sag_m, preload_m)

    found = band(rate, inputs)
    shown["rate_wanted"] = computed("spring rate", found.value, usual, band=(found.low, found.high), to=figures.units)
    shown["band"] = band_view(found.biggest)
    stated = None if preload_mm is None else quantity("length", preload_mm, "mm", to=figures.units)
    shown["preload"] = stated or figures.length(0.0)
    neighbours = coil.next_rates(found.value, rates.values())
    near: set[str] = set()
    for name, wanted in zip(("softer", "stiffer"), neighbours, strict=True):
        if wanted is not None:
            id = min(id for id, offered in rates.items() if offered == wanted)
            near.add(id)
            shown[name] = spring_ref(id, springs)  # type: ignore[literal-required]
    within = {id for id, offered in rates.items() if found.low <= offered <= found.high}
    return choice is not None and choice in rates and choice not in near | within


def _add_turns(shown: Coil, guides: ForRider, choice: str, own: Mapping[str, "_Coil"]) -> None:
    """The preload that the guide gives with its spring. No column says how far a turn moves the spring, so the sag is
    computed at no turns only; at any other number the answer says between which sags it lies."""
    rows = [each.statement for each in guides.sure if each.statement.spring_choice == choice]
    given = [each for each in {counted(row, "preload_turns") for row in rows} if each.is_given]
    if len(given) != 1:
        return
    shown["published_turns"] = turns_view(given[0])
    if given[0] != AdjusterCount(Decimal(0)):
        shown["preload_text"] = _UNKNOWN_TURN
    elif choice in own:
        shown["at_published_turns"] = own[choice].sag_shown("preload_min_mm")


def _add_headline(
    shown: Coil, own: Mapping[str, "_Coil"], springs: dict[str, Spring], choice: str | None, target: Target
) -> None:
    """The listed spring to fit: the guide's, else the one whose sag comes nearest; with the conflict in words."""
    sags = {id: found for id, each in own.items() if (found := each.sag("preload_min_mm")) is not None}
    nearest = min(sags, key=lambda id: abs(sags[id].value - target.sag_m), default=None)
    if nearest is not None:
        shown["calculated_choice"] = spring_ref(nearest, springs)
        shown["calculated_percent"] = own[nearest].figures.percent(sags[nearest], own[nearest].travel_m)
    fit = choice or nearest
    if fit is None:
        return
    shown["fit"] = spring_ref(fit, springs)
    turns = f", preload {shown['published_turns']['text']}" if "published_turns" in shown else ""
    text = f"Fit {_called(shown['fit'])} ({'published' if choice is not None else 'computed'}{turns})"
    if nearest is None:
        shown["headline"] = f"{text}."
    elif nearest == fit:
        shown["headline"] = f"{text}: the calculation expects {_expected(own[fit], shown)} of sag with it."
    else:
        with_it = f"expects {_expected(own[fit], shown)} of sag with it and " if fit in sags else ""
        shown["headline"] = (
            f"{text}: the calculation {with_it}says {_called(shown['calculated_choice'])}, which gives "
            f"{shown['calculated_percent']['value']:g} % at the minimum preload, for the wanted {target.percent:.3g} %."
        )


def _expected(each: "_Coil", shown: Coil) -> str:
    """The sag as a share of the travel at the published turns, or between which shares it lies if they are turned in
    by an unknown length."""
    least = each.percent("preload_min_mm")
    if "preload_text" not in shown:
        return f"{least:g} % at the minimum preload"
    if each.row.preload_max_mm is None:
        return f"at most {least:g} % (that at the minimum preload)"
    return f"{each.percent('preload_max_mm'):g} to {least:g} % (maximum to minimum preload)"


def _called(spring: SpringRef) -> str:
    return spring.get("part_number") or spring.get("name") or spring["id"]


def _published_choice(guides: ForRider, target: Target) -> str | None:
    """The one spring that the guide names for this rider at this sag, if that row surely applies."""
    rows = [each.statement for each in guides.sure if each.surely]
    named = {row.spring_choice for row in rows if _names_coil(row) and same_sag(row, target)} - {None}
    return named.pop() if len(named) == 1 else None


def _names_coil(guide: Guide) -> bool:
    return guide.chamber in (None, "coil") and guide.spring_choice is not None


@dataclass(frozen=True, slots=True)
class _Coil:
    """A coil that fits: its rate in SI, the load with friction if it is known, and how figures are shown."""

    row: Spring
    rate: Uncertain
    load: Band | None
    travel_m: float
    figures: Figures

    def preload(self, column: str) -> Uncertain:
        """A preload as published, in m; None if not stated."""
        stated: Decimal | None = getattr(self.row, column)
        return Uncertain("preload", 0.0, 0.0) if stated is None else as_published("preload", Decimal(stated), 1e-3)

    def sag(self, column: str) -> Band | None:
        """The sag at a preload in m with its band, if the load is known."""
        return None if self.load is None else coil.sag_band(self.rate, self.load, self.preload(column))

    def percent(self, column: str) -> float:
        """The sag at a preload as a share of the travel in %, rounded as it is shown; ValueError without a load."""
        found = self.sag(column)
        if found is None:
            raise ValueError("without a load there is no sag")
        return round(found.value / self.travel_m * 100, 1)

    def shown(self, springs: dict[str, Spring], usual: str) -> CoilView:
        row, figures = self.row, self.figures
        shown: CoilView = {
            "spring": spring_ref(row.id, springs),
            "rate": quantity("spring rate", Decimal(row.rate or 0), row.rate_unit or usual, to=figures.units),
            "least_preload": self.sag_shown("preload_min_mm"),
            "curve": [self._point(at) for at in (0.0, self.travel_m)],
        }
        if row.preload_max_mm is not None:
            shown["greatest_preload"] = self.sag_shown("preload_max_mm")
        return shown

    def _point(self, travel_m: float) -> CurvePointView:
        least = self.preload("preload_min_mm")
        force_n = coil.force_n(self.rate.value, travel_m, least.value)
        ends = coil.force_ends_n(self.rate, travel_m, least)
        return {"travel": self.figures.length(travel_m), "force": self.figures.force(force_n, ends, band_in_text=False)}

    def sag_shown(self, column: str) -> CoilSag:
        """The preload and the sag it gives, as the answer has them."""
        stated: Decimal | None = getattr(self.row, column)
        length = quantity("length", stated or Decimal(0), "mm", to=self.figures.units)
        shown: CoilSag = {"preload": length if stated is not None else self.figures.length(0.0)}
        found = self.sag(column)
        if found is not None:
            shown["travel"] = self.figures.length(found.value, (found.low, found.high))
            shown["percent"] = self.figures.percent(found, self.travel_m)
            shown["topped_out"] = found.value == 0
        return shown


def _gap(what: str, about: str, why: str, missing: str) -> Gap:
    return {
        "what": what,
        "about": about,
        "why_needed": why,
        "text": f"The catalogue does not give {missing} of {about}.",
    }
