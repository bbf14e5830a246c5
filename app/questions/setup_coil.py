"""A coil spring: the rate that gives the sag, and the springs that fit beside it. Refuses to choose one."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.catalogue.tables import Fit, Guide, Spring
from app.physics import coil
from app.physics.band import Uncertain, band
from app.questions.fits import spring_ref
from app.questions.gaps import Gap
from app.questions.prevailing import Shown
from app.questions.setup_asked import Circumstances, si_of
from app.questions.setup_ground import ForRider, Target, same_sag
from app.questions.setup_load import Load, load_inputs
from app.questions.setup_model import Shown as Figures
from app.questions.setup_shapes import Basis, Coil, CoilSag, CoilShown
from app.questions.setup_words import band_shown
from app.units.quantity import computed, quantity

RATE_UNIT = "N/mm"


@dataclass(frozen=True, slots=True)
class CoilFound:
    """What was found for coils: the answer's block, its basis, what is missing, whether guide and computation agree."""

    coil: Coil
    basis: Basis | None
    gaps: list[Gap]
    disagree: bool
    assumed_preload: bool


def coil_found(
    fits: Sequence[Shown[Fit]], springs: dict[str, Spring], guides: ForRider, target: Target,
    asked: Circumstances, load_n: float | None, figures: Figures,
) -> CoilFound:  # fmt: skip
    """The rate for the load at the sag, counted with the least preload, and each coil that fits with its sag."""
    travel_m = fits[0].statement.travel_mm / 1000
    offered = {spring.id: spring for each in fits if (spring := springs.get(each.statement.spring)) is not None}
    rates = {
        id: si_of("spring rate", row.rate, row.rate_unit) for id, row in offered.items() if row.rate and row.rate_unit
    }
    gaps = [_gap("rate", id, "the sag is computed from it", "the rate") for id in offered if id not in rates]
    stated = [row.preload_min_mm for row in offered.values() if row.preload_min_mm is not None]
    preload_m = float(min(stated)) / 1000 if stated else 0.0
    shown: Coil = {"springs": [], "text": _TEXT}
    choice = _published_choice(guides, target)
    if choice is not None:
        shown["published_choice"] = spring_ref(choice, springs)
    usual = next((row.rate_unit for row in offered.values() if row.rate_unit), RATE_UNIT)
    for id, rate in sorted(rates.items(), key=lambda item: item[1]):
        shown["springs"].append(_spring(offered[id], rate, springs, load_n, travel_m, usual, figures))
    disagree = False
    if load_n is not None and asked.rider_kg is not None:
        disagree = _add_rate(shown, rates, springs, choice, preload_m, target, asked, asked.rider_kg, usual, figures)
    basis: Basis | None = "published" if choice is not None else "computed" if "rate_wanted" in shown else None
    return CoilFound(shown, basis, gaps, disagree, not stated)


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
    shown["band"] = band_shown(found.share, found.biggest)
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


def _spring(
    row: Spring, rate: float, springs: dict[str, Spring], load_n: float | None, travel_m: float, usual: str,
    figures: Figures,
) -> CoilShown:  # fmt: skip
    least_m = 0.0 if row.preload_min_mm is None else float(row.preload_min_mm) / 1000
    ends = [(at, coil.force_n(rate, at, least_m)) for at in (0.0, travel_m)]
    shown: CoilShown = {
        "spring": spring_ref(row.id, springs),
        "rate": quantity("spring rate", Decimal(row.rate or 0), row.rate_unit or usual, to=figures.units),
        "least_preload": _sag(rate, least_m, load_n, travel_m, figures),
        "curve": [{"travel": figures.length(at), "force": figures.force(force)} for at, force in ends],
    }
    if row.preload_max_mm is not None:
        shown["greatest_preload"] = _sag(rate, float(row.preload_max_mm) / 1000, load_n, travel_m, figures)
    return shown


def _sag(rate: float, preload_m: float, load_n: float | None, travel_m: float, figures: Figures) -> CoilSag:
    shown: CoilSag = {"preload": figures.length(preload_m)}
    if load_n is not None:
        sag_m = coil.sag_travel_m(rate, load_n, preload_m)
        shown["travel"] = figures.length(sag_m)
        shown["percent"] = round(sag_m / travel_m * 100, 1)
        shown["topped_out"] = sag_m == 0
    return shown


def _gap(what: str, about: str, why: str, missing: str) -> Gap:
    return {
        "what": what,
        "about": about,
        "why_needed": why,
        "text": f"The catalogue does not say {missing} of {about}.",
    }
