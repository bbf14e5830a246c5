"""What to start from for a rider: the question `setup`. Every figure says on which basis it stands and how sure it is.

Nothing is computed from a guess: where several fits remain it says what decides, where something is missing it says
the shortest measurement.
"""

from dataclasses import replace

from app.catalogue.rows import Snapshot
from app.catalogue.tables import Fit, Spring
from app.questions.answers.cautions import cautions
from app.questions.answers.open_choices import shown_undecided
from app.questions.answers.statement_views import Named, guide_view
from app.questions.answers.views import chassis_ref
from app.questions.configuration.prevailing import Applicable, undecided
from app.questions.configuration.region import Given, given
from app.questions.setup.air import USUAL_PRESSURE_UNIT, put_air
from app.questions.setup.builder import SetupBuilder
from app.questions.setup.coil import coil_found
from app.questions.setup.inputs import Target, chosen_fit, for_rider, guides_in, narrowed, target
from app.questions.setup.limits import limits_of, limits_view
from app.questions.setup.load import load_band
from app.questions.setup.model import Formatter as Figures
from app.questions.setup.parameters import Circumstances, SetupAsked, circumstances
from app.questions.setup.views import SetupAnswer
from app.questions.setup.words import PRACTICE, VALIDITY, formulas, sag_view, travel_change
from app.questions.sheet.fits import asked_view, chosen_units, fit_view, prevailing_fits, spring_ref
from app.questions.sheet.gather import Sheet, gather
from app.units.preferences import Units
from app.units.quantity import computed


def setup(snapshot: Snapshot, chassis: str, asked: SetupAsked) -> SetupAnswer:
    """The answer at one revision. Raises NotFound, Gone, and Invalid for what the chassis or a fork cannot be."""
    units = chosen_units(asked)
    how = circumstances(asked)
    return setup_of(gather(snapshot, chassis, configuration_of(asked)), how, units)


def configuration_of(asked: SetupAsked) -> Given:
    """The configuration a set-up is asked for. Raises Invalid."""
    return given(
        travel=asked.travel, model_year=asked.model_year, variant=asked.variant, spring=asked.spring,
        damper=asked.damper, wheel_size=asked.wheel_size,
    )  # fmt: skip


def setup_of(found: Sheet, asked: Circumstances, units: Units, *, curves: bool = True) -> SetupAnswer:
    """The set-up of a gathered configuration: what the question and, without curves, the job card show."""
    work = SetupBuilder(found, asked, units, chosen_fit(found), curves=curves)
    work.undecided = dict(work.chosen.undecided)
    answer = _begun(work)
    fits = [work.chosen.fit] if work.chosen.fit is not None else work.chosen.coils
    if not found.fits:
        work.miss("fit", "it is for one spring in one chassis", "No fit is listed for this configuration.")
    if not fits:
        return _finished(answer, work)
    where = narrowed(found, fits[0].statement.travel_mm, frozenset(each.statement.spring for each in fits))
    work.guides = for_rider(guides_in(found, where), asked.rider)
    for name, values in undecided(work.guides.all, where, found.context.choices(where, found.offered)).items():
        work.undecided.setdefault(name, values)
    wanted = target(asked, [each.statement for each in work.guides.sure], fits[0].statement.travel_mm)
    _assume_sag(work, wanted)
    _weigh(work)
    if work.chosen.coils:
        _coil(answer, work, wanted)
    elif work.chosen.fit is not None:
        put_air(answer, work, work.chosen.fit, wanted, where)
    return _finished(answer, work)


def _begun(work: SetupBuilder) -> SetupAnswer:
    found = work.found
    answer: SetupAnswer = {
        "revision": found.context.snapshot.revision,
        "chassis": chassis_ref(found.context.chassis, found.context.maker),
        "configuration": asked_view(found.wanted, found.where, work.units),
        "bases": [], "published": [], "curve": [], "by_spacers": [],
        "limits": {"pressure": [], "rider_mass": [], "text": ""},
        "assumptions": [], "formula": [], "validity": VALIDITY, "bands": [],
        "undecided": [], "gaps": [], "cautions": [],
    }  # fmt: skip
    if work.chosen.fit is not None:
        answer["fit"] = fit_view(work.chosen.fit, found.context, found.springs, found.spacers, work.units)
    return answer


def _assume_sag(work: SetupBuilder, wanted: Target) -> None:
    if wanted.wanted_by == "asked":
        return
    value = computed("percent", wanted.percent / 100, "%", to=work.units, basis=None)
    text = f"A general starting point between 15 and 25 % ({PRACTICE})."
    work.assume("sag", value, "As the guide states it." if wanted.wanted_by == "guide" else text)


def _weigh(work: SetupBuilder) -> None:
    """The load of the rider, or what is missing for it."""
    if work.asked.rider is None:
        work.miss("rider-mass", "the spring carries the rider", "Give rider_mass: the rider weighed with all gear.")
        return
    try:
        work.load_n = load_band(work.asked).value
    except ValueError as impossible:
        work.miss("load", "the spring carries it", str(impossible))


def _coil(answer: SetupAnswer, work: SetupBuilder, wanted: Target) -> None:
    """Put everything about coil springs into the answer: the one that is fitted, and all that fit at its travel."""
    found = work.found
    figures = Figures(work.units, USUAL_PRESSURE_UNIT)
    fits, springs = _beside(work)
    coils = coil_found(fits, springs, work.guides, wanted, work.asked, work.load_n, figures)
    answer["coil"] = coils.coil
    answer["sag"] = sag_view(wanted, work.units, None, None)
    if coils.basis is not None:
        answer["basis"] = coils.basis
    work.gaps += coils.gaps
    if coils.assumed_preload:
        work.assume("preload", figures.length(0.0), "The least preload is not stated; taken as none.")
    if coils.disagree:
        work.codes.append("bases-disagree")
    if coils.softest is not None:
        work.add_band("coil", coils.softest.share, coils.softest.biggest)
    if coils.coil["springs"]:
        text = (
            "Rates and preloads as published, to half a unit of the last digit; how far springs scatter is not stated."
        )
        work.assumptions.append({"name": "rates", "text": text})
    if work.load_n is not None:
        work.add_load(answer, figures)
        work.codes.append("computed")
    if work.chosen.fit is not None:
        fitted = work.chosen.fit.statement.spring
        coils.coil["fitted"] = spring_ref(fitted, springs)
        answer["curve"] = next((each["curve"] for each in coils.coil["springs"] if each["spring"]["id"] == fitted), [])
    work.limits = limits_of(None, None, found.limits)
    spring = springs.get(fits[0].statement.spring)
    if spring is not None:
        answer["travel_change"] = {"same_pressure": False, "siblings": [], "text": travel_change(spring)[1]}
    answer["formula"] = formulas(False, [], False, True)


def _beside(work: SetupBuilder) -> tuple[list[Applicable[Fit]], dict[str, Spring]]:
    """The coils that fit at the travel in question, whichever is fitted now, and all their rows."""
    found = work.found
    travel_mm = work.chosen.coils[0].statement.travel_mm
    any_spring = replace(found.wanted, spring=None)
    every = prevailing_fits(found.context, found.offered, any_spring, found.where)
    at_travel = {each.statement.spring: each for each in every if each.statement.travel_mm == travel_mm}
    springs = found.context.snapshot.many(Spring, at_travel.keys())
    return [each for id, each in at_travel.items() if id in springs and springs[id].kind == "coil"], springs


def _finished(answer: SetupAnswer, work: SetupBuilder) -> SetupAnswer:
    context = work.found.context
    named = Named(work.units, context.sources, dampers=work.found.dampers)
    answer["published"] = [guide_view(each, named) for each in work.guides.all]
    if not answer["limits"]["text"]:
        answer["limits"], codes = limits_view(work.limits, None, None, None, work.asked, context.sources, work.units)
        work.codes += codes
    answer["assumptions"] = work.assumptions
    answer["bands"] = work.bands
    answer["undecided"] = shown_undecided(work.undecided, context)
    answer["gaps"] = work.gaps
    codes = [*work.codes, "shock-pump-only", "limits", *(["undecided"] if work.undecided else [])]
    answer["cautions"] = cautions(*codes, sources=context.sources.values())
    return answer
