"""The spring's behaviour at the start pressure that is shown: sag, curve, peak, cases by number of spacers."""

from dataclasses import replace
from decimal import Decimal

from app.physics.band import GAUGE_HALF_WIDTH_PA
from app.physics.stroke import EXPONENT
from app.questions.setup.altitude import meant_for_pa
from app.questions.setup.builder import SetupBuilder
from app.questions.setup.estimate import StartPressureEstimate
from app.questions.setup.headline import shown_pa
from app.questions.setup.inputs import SetupInputs
from app.questions.setup.lower_legs import put_lower_legs
from app.questions.setup.model import Formatter as Figures
from app.questions.setup.model import Model, by_spacers_view, cases_of, curve_view, model_of, unknown_cases
from app.questions.setup.views import SagView, SetupAnswer
from app.questions.setup.words import PRACTICE
from app.units.quantity import Quantity, quantity


def modelled(work: SetupBuilder, ground: SetupInputs, headline: StartPressureEstimate, start: Quantity) -> Model | None:
    """The spring at the start pressure that is shown; None, with a gap, if it cannot be computed."""
    if ground.geometry is None or ground.spacers is None:
        return None
    if ground.geometry.air.port_travel_m is None and ground.negative_pa is None:
        return None
    air = meant_for_pa(headline.basis, work.asked)
    try:
        return model_of(ground.geometry, ground, shown_pa(headline, start), air, curves=work.curves)
    except ValueError as impossible:
        text = f"At {start['text'].partition(' (')[0]}: {impossible}"
        work.miss("curve", "the sag and the curve depend on the start pressure", text)
        return None


def put_model(
    answer: SetupAnswer, work: SetupBuilder, model: Model, ground: SetupInputs, figures: Figures,
    headline: StartPressureEstimate | None,
) -> None:  # fmt: skip
    """Add the spring's behaviour at the start pressure that is shown."""
    found, start = model.stroke, answer["start_pressure"]
    work.add_load(answer, figures)
    answer["free_travel"] = figures.length(found.rest.value, (found.rest.low, found.rest.high))
    answer["peak_pressure"] = figures.banded_pressure(found.peak_gauge)
    answer["peak_force"] = figures.banded_force(found.peak_force)
    work.add_band("free_travel", found.rest.biggest)
    work.add_band("peak_pressure", found.peak_gauge.biggest)
    if work.curves:
        from_load = headline is not None and headline.basis in ("computed", "measured geometry")
        cases, gaps = cases_of(model, ground, work.limits, from_load=from_load)
        work.gaps += gaps
        work.add_band("curve", found.peak_force.biggest)
        answer["curve"] = curve_view(found, start, figures)
        answer["by_spacers"] = by_spacers_view(cases, start, work.limits, figures, answer["curve"])
    _assume_model(work, ground, figures)
    put_lower_legs(
        answer, work, model.geometry.air.travel_m, found.turn_m, model.filled.ambient_pa, figures
    )  # fmt: skip


def put_expected(sag: SagView, work: SetupBuilder, model: Model, figures: Figures) -> None:
    """Add the sag at the start pressure shown to the wanted one."""
    found = model.stroke.sag
    if found is not None:
        sag["expected"] = figures.length(found.value, (found.low, found.high))
        sag["expected_percent"] = figures.percent(found, model.geometry.air.travel_m)
        work.add_band("expected_sag", found.biggest)


def put_unknown(
    answer: SetupAnswer, work: SetupBuilder, ground: SetupInputs, start: Quantity | None,
    headline: StartPressureEstimate | None, figures: Figures,
) -> None:  # fmt: skip
    """A case for every number of volume spacers, because the fitted number is unknown."""
    at = None if headline is None or start is None else shown_pa(headline, start)
    air = ground.ambient_pa if headline is None else meant_for_pa(headline.basis, work.asked)
    cases, gaps = unknown_cases(replace(ground, ambient_pa=air), work.limits, at)
    work.gaps += gaps
    answer["by_spacers"] = by_spacers_view(cases, start, work.limits, figures, ())
    if cases:
        work.add_load(answer, figures)
        _assume_model(work, ground, figures)


def _assume_model(work: SetupBuilder, ground: SetupInputs, figures: Figures) -> None:
    if ground.geometry is None:
        return
    known = {
        "stated": "as stated by the source: volumes ±3 %, bore ±0.1 mm, port ±0.5 mm",
        "measured": "as measured: volumes ±6 %, bore ±0.1 mm, port ±1 mm",
        "estimated": "estimated, or of unstated origin: volumes ±20 %, bore ±0.5 mm, port ±2 mm",
    }[ground.geometry.known]
    work.assume("geometry", ground.geometry.known, f"Sizes {known} ({PRACTICE}).")
    gauge = figures.pressure(GAUGE_HALF_WIDTH_PA)
    work.assume("gauge", gauge, f"The gauge may be off by this much either way ({PRACTICE}).")
    low, high = EXPONENT.value - EXPONENT.half_width, EXPONENT.value + EXPONENT.half_width
    text = f"Polytropic exponent of the stroke beyond the sag; 1 up to it ({PRACTICE})."
    exponent = quantity("percent", None, "ratio", minimum=Decimal(f"{low:.2f}"), maximum=Decimal(f"{high:.2f}"))
    work.assume("fast_exponent", exponent, text)
