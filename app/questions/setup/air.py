"""An air spring's part of the answer to `setup`: start pressure on every basis, limits, and what it then does."""

from app.catalogue.tables import Fit, Spring
from app.physics.band import GAUGE_HALF_WIDTH_PA, Band
from app.questions.answers.views import SpringRef, figure
from app.questions.configuration.prevailing import Applicable
from app.questions.configuration.region import Region
from app.questions.setup.altitude import ambient_pa, put_altitude
from app.questions.setup.basis import disagreeing, tiers
from app.questions.setup.builder import SetupBuilder
from app.questions.setup.estimate import StartPressureEstimate
from app.questions.setup.inputs import SetupInputs, Target, readings_in, spacer_of, spring_of
from app.questions.setup.limits import limit_gaps, limits_of, limits_view
from app.questions.setup.model import FAST, Model, by_spacers_view, curve_view, lines_of, model_of
from app.questions.setup.model import Formatter as Figures
from app.questions.setup.readings import TWO_SAGS
from app.questions.setup.views import BasisView, SetupAnswer
from app.questions.setup.words import (
    PRACTICE,
    band_view,
    formulas,
    reading_assumptions,
    sag_view,
    surroundings_assumption,
    travel_change,
)
from app.questions.sheet.fits import spring_ref

USUAL_PRESSURE_UNIT = "psi"
_GEAR = {
    "without": (
        "3 to 8 kg",
        f"The guide goes by the rider without gear; any gear of this mass gives this row ({PRACTICE}).",
    ),
    "not stated": ("in the mass", "The guide does not say whether gear is in its masses; looked up with gear."),
}


def put_air(answer: SetupAnswer, work: SetupBuilder, shown: Applicable[Fit], wanted: Target, where: Region) -> None:
    """Put everything about one air spring into the answer."""
    found, fit = work.found, shown.statement
    spring = spring_of(found, fit)
    if spring is None:
        work.miss(
            "spring", "its sizes decide the start pressure", f"The catalogue does not hold the spring {fit.spring}."
        )
        return
    work.limits = limits_of(fit, spring, found.limits)
    work.gaps += limit_gaps(work.limits)
    ground = SetupInputs(
        fit, spring, spacer_of(found, fit), _spacers(work, fit), work.asked, work.guides,
        tuple(readings_in(found, where)), wanted, work.load_n, ambient_pa(work.asked),
    )  # fmt: skip
    figures = Figures(work.units, fit.pressure_unit or spring.pressure_unit or USUAL_PRESSURE_UNIT)
    bases, gaps = tiers(ground)
    work.gaps += gaps
    if ground.spacers is not None:
        answer["spacers"] = ground.spacers
    if not bases:
        work.miss("start-pressure", "nothing here says what to start from", TWO_SAGS)
    modelled = next((each for each in bases if each.geometry is not None), None)
    model = None
    if modelled is not None and modelled.geometry is not None and work.load_n is not None:
        model = model_of(modelled.geometry, ground, work.load_n)
    _put_bases(answer, work, bases, figures)
    rest = None if model is None else model.free_travel
    if model is not None and modelled is not None and rest is not None:
        _put_model(answer, work, model, modelled, rest, ground, figures)
    answer["sag"] = sag_view(wanted, work.units, rest, bases[0].basis if bases else None)
    _put_limits(answer, work, bases, ground)
    same, text = travel_change(spring)
    answer["travel_change"] = {"same_pressure": same, "siblings": _siblings(work, spring), "text": text}
    if bases:
        put_altitude(answer, work, bases[0].gauge_pa, figures)
    answer["formula"] = formulas(model is not None, [each.basis for each in bases], "altitude" in answer, False)


def _spacers(work: SetupBuilder, fit: Fit) -> int | None:
    """The number of spacers in question: as asked, else from the factory; a fit that may carry none has none."""
    if work.asked.spacers is not None:
        return work.asked.spacers
    if fit.spacers_fitted is not None:
        work.assume("spacers", fit.spacers_fitted, "As fitted from the factory, according to the fit.")
        return fit.spacers_fitted
    if fit.spacer_limit == 0:
        return 0
    work.miss("spacers", "spacers take room from the air", "Give spacers: how many are fitted is not stated.")
    return None


def _put_bases(answer: SetupAnswer, work: SetupBuilder, bases: list[StartPressureEstimate], figures: Figures) -> None:
    answer["bases"] = [_basis_shown(each, figures, work) for each in bases]
    if not bases:
        return
    first = answer["bases"][0]
    answer["basis"] = first["basis"]
    answer["start_pressure"] = first["start_pressure"]
    if "band" in first:
        answer["band"] = first["band"]
    if bases[0].guide is not None and bases[0].guide.mass_is != "with gear":
        work.assume("gear", *_GEAR[bases[0].guide.mass_is or "not stated"])
    if disagreeing(bases):
        work.codes.append("bases-disagree")
    if any(each.basis != "published" for each in bases):
        work.codes.append("computed")
        work.assumptions += surroundings_assumption(work.asked, work.units)
    if any(each.basis in ("measured from two sags", "measured from one force") for each in bases):
        work.assumptions += reading_assumptions(work.load_n is None, work.units)


def _basis_shown(tier: StartPressureEstimate, figures: Figures, work: SetupBuilder) -> BasisView:
    if tier.guide is not None:
        pressure = figure(
            tier.guide, "pressure", "pressure", tier.guide.pressure_unit, work.units,
            minimum="pressure_min", maximum="pressure_max",
        )  # fmt: skip
        if pressure is not None:
            pressure.setdefault("basis", "published")
    else:
        pressure = figures.pressure(tier.gauge_pa, (tier.low_pa, tier.high_pa))
        pressure["basis"] = "computed" if tier.basis == "computed" else "measured"
    if pressure is None:
        raise ValueError(f"the guide row {tier.statements} has no pressure")
    shown: BasisView = {
        "basis": tier.basis, "start_pressure": pressure, "statements": list(tier.statements), "text": tier.text,
    }  # fmt: skip
    if work.limits.pressure_pa is not None:
        shown["within_limit"] = not work.limits.over_pressure(tier.gauge_pa)
    if tier.share is not None:
        shown["band"] = band_view(tier.share, tier.biggest)
    return shown


def _put_model(
    answer: SetupAnswer,
    work: SetupBuilder,
    model: Model,
    tier: StartPressureEstimate,
    rest: Band,
    ground: SetupInputs,
    figures: Figures,
) -> None:
    """What the spring does at the start pressure that the tier found for it."""
    work.add_load(answer, figures)
    top = model.top
    peak = top.gauges_pa[-1]
    answer["curve_start_pressure"] = figures.pressure(model.start_gauge_pa, (tier.low_pa, tier.high_pa))
    answer["free_travel"] = figures.length(rest.value, (rest.low, rest.high))
    answer["peak_pressure"] = figures.pressure(peak.value, (peak.low, peak.high))
    work.add_band("free_travel", rest.share, rest.biggest)
    work.add_band("peak_pressure", rest.share, top.biggest_pressure)
    if work.curves:
        lines, gaps = lines_of(model, ground, work.limits)
        work.gaps += gaps
        work.add_band("curve", rest.share, top.biggest)
        answer["by_spacers"] = by_spacers_view(lines, model, work.limits, figures)
        for line, drawn in zip(lines, answer["by_spacers"], strict=True):
            if line.spacers == (ground.spacers or 0):
                answer["curve"] = curve_view(line, drawn, figures)
    known = {
        "stated": "as stated by the source: volumes ±3 %, bore ±0.1 mm, port ±0.5 mm",
        "measured": "as measured: volumes ±6 %, bore ±0.1 mm, port ±1 mm",
        "estimated": "estimated, or nobody says whence they are: volumes ±20 %, bore ±0.5 mm, port ±2 mm",
    }[model.geometry.known]
    work.assume("geometry", model.geometry.known, f"Sizes {known} ({PRACTICE}).")
    gauge = figures.pressure(GAUGE_HALF_WIDTH_PA)
    work.assume("gauge", gauge, f"The gauge may be off this much either way ({PRACTICE}).")
    work.assume("fast_exponent", FAST, "Polytropic exponent of the stroke beyond the sag; 1 up to it.")


def _put_limits(
    answer: SetupAnswer, work: SetupBuilder, bases: list[StartPressureEstimate], ground: SetupInputs
) -> None:
    start = bases[0].gauge_pa if bases else None
    high = bases[0].high_pa if bases else None
    answer["limits"], codes = limits_view(
        work.limits, start, high, ground.spacers, work.asked, work.found.context.sources, work.units
    )
    work.codes += codes


def _siblings(work: SetupBuilder, spring: Spring) -> list[SpringRef]:
    """The other springs of the family that this chassis is listed with."""
    if spring.family is None:
        return []
    ids = {fit.spring for fit in work.found.offered} - {spring.id}
    rows = work.found.context.snapshot.many(Spring, ids) if ids else {}
    family = {id: row for id, row in rows.items() if row.family == spring.family and row.maker == spring.maker}
    return [spring_ref(id, family) for id in sorted(family)]
