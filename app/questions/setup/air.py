"""The air spring's part of the answer to `setup`: start pressure on every basis, limits, and behaviour."""

from dataclasses import replace

from app.catalogue.tables import Fit, Spring
from app.physics.air_spring import pull_m2, push_m2
from app.questions.answers.views import SpringRef
from app.questions.configuration.prevailing import Applicable
from app.questions.configuration.region import Region
from app.questions.setup.altitude import ambient_pa, put_altitude
from app.questions.setup.basis import estimates, geometries
from app.questions.setup.behaviour import modelled, put_expected, put_model, put_unknown
from app.questions.setup.builder import SetupBuilder
from app.questions.setup.chambers import negative_filling, put_chambers
from app.questions.setup.estimate import StartPressureEstimate
from app.questions.setup.headline import put_bases, put_disagreement
from app.questions.setup.inputs import SetupInputs, Target, readings_in, spacer_of, spring_of
from app.questions.setup.limits import limit_gaps, limits_of, limits_view
from app.questions.setup.model import Formatter as Figures
from app.questions.setup.model import Model
from app.questions.setup.readings import READINGS_TEXT, examples_of, two_sags_of
from app.questions.setup.views import SetupAnswer
from app.questions.setup.words import formulas, sag_view, travel_change
from app.questions.sheet.fits import spring_ref

USUAL_PRESSURE_UNIT = "psi"


def put_air(answer: SetupAnswer, work: SetupBuilder, shown: Applicable[Fit], wanted: Target, where: Region) -> None:
    """Add everything about one air spring to the answer."""
    found, fit = work.found, shown.statement
    spring = spring_of(found, fit)
    if spring is None:
        work.miss(
            "spring", "the start pressure depends on its sizes", f"The spring {fit.spring} is not in the catalogue."
        )
        return
    work.limits = limits_of(fit, spring, found.limits, found.chambers_of(spring.id))
    work.gaps += limit_gaps(work.limits)
    same, text = travel_change(spring)
    answer["travel_change"] = {"same_pressure": same, "siblings": _siblings(work, spring), "text": text}
    if work.limits.over_rider(work.asked) or work.put_words():
        answer["sag"] = sag_view(wanted, work.units, None, None)
        _put_limits(answer, work, None, None)
        return
    figures = Figures(work.units, fit.pressure_unit or spring.pressure_unit or USUAL_PRESSURE_UNIT)
    ground = _ground(work, fit, spring, wanted, where)
    if ground.spacers is not None:
        answer["spacers"] = ground.spacers
    if ground.scales_together:
        answer["example_readings"] = list(examples_of(ground))
    bases, gaps = estimates(ground)
    work.gaps += gaps
    if not bases and ground.spacers is not None and "example_readings" in answer:
        work.miss("start-pressure", "there is nothing to work out a start pressure from", two_sags_of(ground))
    headline = bases[0] if bases and not bases[0].read_again else None
    start = put_bases(answer, work, bases, headline, figures)
    model = None if headline is None or start is None else modelled(work, ground, headline, start)
    if model is not None:
        put_model(answer, work, model, ground, figures, headline)
    elif ground.spacers is None:
        put_unknown(answer, work, ground, start, headline, figures)
    rest = None if model is None else model.stroke.rest
    view = sag_view(wanted, work.units, rest, None if headline is None else headline.basis)
    answer["sag"] = view
    if model is not None:
        put_expected(view, work, model, figures)
    put_chambers(answer, work, ground, None if headline is None else headline.basis, start)
    if headline is not None:
        put_disagreement(answer, work, headline, model, figures)
    _put_limits(answer, work, headline, ground.spacers)
    _conclude(answer, work, ground, headline, model, figures, bases)


def _ground(work: SetupBuilder, fit: Fit, spring: Spring, wanted: Target, where: Region) -> SetupInputs:
    ground = SetupInputs(
        fit, spring, spacer_of(work.found, fit), _spacers(work, fit), work.asked, work.guides,
        tuple(readings_in(work.found, where)), wanted, work.load, work.pushed, ambient_pa(work.asked),
        negative_pa=_negative_pa(work, spring, wanted), chambers=work.found.chambers_of(spring.id), added=work.added,
    )  # fmt: skip
    found, gaps = geometries(ground)
    work.gaps += gaps
    return replace(ground, geometries=found)


def _spacers(work: SetupBuilder, fit: Fit) -> int | None:
    """The number of spacers: as given, else from the factory; a fit that may have none has none."""
    if work.asked.spacers is not None:
        return work.asked.spacers
    if fit.spacers_fitted is not None:
        text = "As fitted at the factory, according to the fit. If they have been changed, count them and give spacers."
        work.assumptions.append({"name": "spacers", "count": fit.spacers_fitted, "text": text})
        return fit.spacers_fitted
    if fit.spacer_limit == 0:
        return 0
    work.miss("spacers", "spacers reduce the air volume", "Give spacers: the number fitted is not stated.")
    return None


def _negative_pa(work: SetupBuilder, spring: Spring, wanted: Target) -> float | None:
    """The gauge pressure of a negative chamber with its own valve: as given, else from the guide for this rider, else
    from the chamber it depends on. A least pressure is not enough to compute with.
    """
    if spring.negative != "own valve":
        return None
    filling = negative_filling(work.asked, work.guides, wanted, work.found.chambers_of(spring.id))
    if filling is not None and not filling.at_least:
        return float(filling.gauge_pa)
    text = "Give negative_pressure: this negative chamber is filled through its own valve."
    work.miss("negative-pressure", "both chambers together carry the rider", text)
    return None


def _put_limits(
    answer: SetupAnswer, work: SetupBuilder, headline: StartPressureEstimate | None, spacers: int | None
) -> None:
    start = None if headline is None else headline.gauge_pa
    high = None if headline is None else headline.high_pa
    answer["limits"], codes = limits_view(
        work.limits, start, high, spacers, work.asked, work.found.context.sources, work.units
    )
    work.codes += codes


def _conclude(
    answer: SetupAnswer, work: SetupBuilder, ground: SetupInputs, headline: StartPressureEstimate | None,
    model: Model | None, figures: Figures, bases: list[StartPressureEstimate],
) -> None:  # fmt: skip
    """The altitude, the formulas, and the headline."""
    if headline is not None:
        put_altitude(
            answer, work, headline.gauge_pa, headline.basis, _shaft_share(model), ground.negative_pa, figures
        )  # fmt: skip
    with_model = model is not None or bool(answer["by_spacers"])
    answer["formula"] = formulas(with_model, [each.basis for each in bases], "altitude" in answer, False)
    if headline is not None:
        work.headline = {"what": "start-pressure", "text": _start_text(answer)}
    elif bases:
        work.headline = {"what": "read-again", "text": READINGS_TEXT}
    elif answer["by_spacers"]:
        text = "The number of fitted volume spacers is unknown: count them and use the line for that number."
        work.headline = {"what": "by-spacers", "text": text}


def _start_text(answer: SetupAnswer) -> str:
    """`Fill to 98 psi (published).`; names both chambers if each has a valve."""
    basis = answer["basis"]
    if "chambers" in answer:
        parts = [
            f"{each['chamber']} {each['pressure']['text']}" for each in answer["chambers"] if "pressure" in each
        ]  # fmt: skip
        way = "Fill in this order: " if all("order" in each for each in answer["chambers"]) else "Fill "
        return f"{way}{', '.join(parts)} ({basis})."
    filled = answer["altitude"]["fill_to"] if "altitude" in answer else None
    if filled is not None:
        return f"Fill to {filled['text']} here, for {answer['start_pressure']['text']} ({basis})."
    return f"Fill to {answer['start_pressure']['text']} ({basis})."


def _shaft_share(model: Model | None) -> float | None:
    """As/c at the sag: how much the outside air counts against the air inside."""
    if model is None:
        return None
    spring, at = model.geometry.air, model.stroke.turn_m
    pull = 0.0 if spring.port_travel_m is None else pull_m2(spring, at)
    return spring.shaft_area_m2 / (push_m2(spring, at) - pull)


def _siblings(work: SetupBuilder, spring: Spring) -> list[SpringRef]:
    """The other springs of the family that are listed for this chassis."""
    if spring.family is None:
        return []
    ids = {fit.spring for fit in work.found.offered} - {spring.id}
    rows = work.found.context.snapshot.many(Spring, ids) if ids else {}
    family = {id: row for id, row in rows.items() if row.family == spring.family and row.maker == spring.maker}
    return [spring_ref(id, family) for id in sorted(family)]
