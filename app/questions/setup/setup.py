"""The start pressure or coil for a rider: the question `setup`. Every figure has its basis and its band.

Nothing is computed from a guess. If several fits remain, each gets an answer and the deciding parameters are named. If
something is missing, the shortest measurement that closes the gap is named.
"""

from dataclasses import replace

from app.catalogue.rows import Snapshot
from app.catalogue.tables import Fit, Spring
from app.questions.answers.cautions import cautions
from app.questions.answers.open_choices import shown_undecided
from app.questions.answers.statement_views import AdjustmentView, NamedEntities, adjustment_view, guide_view
from app.questions.answers.views import chassis_ref
from app.questions.configuration.prevailing import Applicable, undecided
from app.questions.configuration.region import Given, Region, given
from app.questions.setup.adjustments import adjusted, refuse_conditions
from app.questions.setup.air import USUAL_PRESSURE_UNIT, put_air
from app.questions.setup.builder import SetupBuilder
from app.questions.setup.candidates import put_candidates
from app.questions.setup.coil import coil_found
from app.questions.setup.inputs import (
    Chosen,
    Target,
    adjustments_in,
    chosen_fit,
    for_rider,
    guides_in,
    narrowed,
    spring_of,
    target,
)
from app.questions.setup.limits import limits_of, limits_view
from app.questions.setup.load import load_band, pushed_band
from app.questions.setup.model import Formatter as Figures
from app.questions.setup.parameters import Circumstances, SetupAsked, circumstances
from app.questions.setup.riding import of_riding, open_riding, refuse_riding
from app.questions.setup.views import Headline, SetupAnswer, SetupAskedView
from app.questions.setup.words import COIL_VALIDITY, PRACTICE, VALIDITY, formulas, sag_percent, sag_view, travel_change
from app.questions.sheet.fits import asked_view, chosen_units, fit_view, prevailing_fits, serial_codes, spring_ref
from app.questions.sheet.gather import Sheet, gather
from app.units.measure import Measure
from app.units.preferences import Units
from app.units.quantity import Quantity, bare_limit, computed, quantity
from app.units.table import Kind


def setup(snapshot: Snapshot, chassis: str, asked: SetupAsked, *, curves: bool = True) -> SetupAnswer:
    """The answer at one revision, with or without curves.

    Raises NotFound, Gone, and Invalid for a configuration that cannot exist.
    """
    units = chosen_units(asked)
    how = circumstances(asked)
    return setup_of(gather(snapshot, chassis, configuration_of(asked)), how, units, curves=curves)


def configuration_of(asked: SetupAsked) -> Given:
    """The requested configuration. Raises Invalid."""
    return given(
        travel=asked.travel, model_year=asked.model_year, variant=asked.variant, spring=asked.spring,
        damper=asked.damper, wheel_size=asked.wheel_size, serial=asked.serial, fitted_part=asked.fitted_part,
    )  # fmt: skip


def setup_of(found: Sheet, asked: Circumstances, units: Units, *, curves: bool = True) -> SetupAnswer:
    """The set-up of a gathered configuration: for this question and, without curves, for the job card."""
    refuse_riding(found, asked.riding)
    refuse_conditions([each.statement for each in found.adjustments], asked.conditions)
    work = SetupBuilder(found, asked, units, chosen_fit(found), curves=curves)
    work.undecided = dict(work.chosen.undecided)
    _weigh(work)
    answer = _answered(work)
    if curves and not work.chosen.coils and work.chosen.fit is None:
        children = [
            SetupBuilder(found, asked, units, Chosen(each, [], {}), curves=False, load=work.load, pushed=work.pushed)
            for each in work.chosen.candidates
        ]
        put_candidates(answer, work, _answered, children)
    return _finished(answer, work)


def _answered(work: SetupBuilder) -> SetupAnswer:
    """The answer before its common closing parts."""
    found, asked = work.found, work.asked
    answer = _begun(work)
    fits = [work.chosen.fit] if work.chosen.fit is not None else work.chosen.coils
    if not found.fits:
        work.miss("fit", "a set-up is for one spring in one chassis", "No fit is listed for this configuration.")
    if not fits:
        return answer
    where = narrowed(found, fits[0].statement.travel_mm, frozenset(each.statement.spring for each in fits))
    _choose_guides(work, where)
    wanted = target(asked, [each.statement for each in work.guides.sure], fits[0].statement.travel_mm)
    _assume_sag(work, wanted)
    if work.chosen.coils or _is_coil(work):
        _coil(answer, work, wanted)
    elif work.chosen.fit is not None:
        put_air(answer, work, work.chosen.fit, wanted, where)
    return answer


def _choose_guides(work: SetupBuilder, where: Region) -> None:
    """The guide rows for the rider and the kind of riding, and what is added to them on the given conditions."""
    found, asked = work.found, work.asked
    work.published = for_rider(of_riding(guides_in(found, where), asked.riding), asked.rider)
    for name, values in undecided(work.published.all, where, found.context.choices(where, found.offered)).items():
        work.undecided.setdefault(name, values)
    if ridings := open_riding(work.published.all):
        work.undecided.setdefault("riding", [*ridings])
        text = "The guide has a column for each kind of riding. Give riding."
        work.miss("published", "a maker's figure takes precedence over a computed one", text)
    work.adjustments = adjustments_in(found, where)
    changed = adjusted(work.published, work.adjustments, asked.conditions)
    work.guides, work.added = changed.guides, changed.added
    for text in changed.refused:
        work.miss("adjustment", "the source adds it to its guide on this condition", text)


def _is_coil(work: SetupBuilder) -> bool:
    spring = None if work.chosen.fit is None else spring_of(work.found, work.chosen.fit.statement)
    return spring is not None and spring.kind == "coil"


def _begun(work: SetupBuilder) -> SetupAnswer:
    found = work.found
    answer: SetupAnswer = {
        "revision": found.context.snapshot.revision,
        "chassis": chassis_ref(found.context.chassis, found.context.maker),
        "asked": _asked(work),
        "configuration": asked_view(found.wanted, found.where, work.units),
        "headline": {"what": "none", "text": ""},
        "bases": [], "published": [], "adjustments": [], "curve": [], "by_spacers": [],
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
    value = sag_percent(wanted, work.units)
    text = f"A general starting point between 15 and 25 % ({PRACTICE})."
    work.assume("sag", value, "As stated in the guide for this rider." if wanted.wanted_by == "guide" else text)


def _asked(work: SetupBuilder) -> SetupAskedView:
    """The request: the configuration, the rider, the place."""
    asked, units = work.asked, work.units
    shown: SetupAskedView = {**asked_view(work.found.wanted, work.found.where, units)}  # type: ignore[typeddict-item]
    for name, measure in (
        ("rider_mass", asked.rider), ("sag", asked.sag), ("pressure", asked.pressure),
        ("negative_pressure", asked.negative),
    ):  # fmt: skip
        if measure is not None:
            shown[name] = _as_given(measure, units)  # type: ignore[literal-required]
    figures: tuple[tuple[str, Kind, str, float | None], ...] = (
        ("bike_mass", "mass", "kg", asked.bike_kg.value if asked.bike_kg.given else None),
        ("front_share", "percent", "%", asked.front_share.value if asked.front_share.given else None),
        ("head_angle", "angle", "°", asked.head_angle_rad.value if asked.head_angle_rad.given else None),
        ("fill_altitude", "length", "m", asked.fill_altitude_m),
        ("fill_temperature", "temperature", "°C", asked.fill_temperature_k),
        ("altitude", "length", "m", asked.altitude_m),
        ("temperature", "temperature", "°C", asked.temperature_k),
    )
    for name, kind, usual, value in figures:
        if value is not None:
            shown[name] = computed(kind, value, usual, to=units, basis=None)  # type: ignore[literal-required]
    if asked.spacers is not None:
        shown["spacers"] = asked.spacers
    if asked.riding is not None:
        shown["riding"] = asked.riding
    if asked.conditions:
        shown["condition"] = list(asked.conditions)
    if asked.readings:
        shown["reading"] = [each.text for each in asked.readings]
    return shown


def _as_given(measure: Measure, units: Units) -> Quantity:
    """The user's own figure in the chosen units, without a published value."""
    shown = quantity(measure.kind, measure.given_value, measure.given_unit, to=units)
    shown.pop("as_published", None)
    return shown


def _weigh(work: SetupBuilder) -> None:
    """The load of the rider, or a gap for what is missing."""
    if work.asked.rider is None:
        work.miss("rider-mass", "the spring carries the rider", "Give rider_mass: the rider weighed with all gear.")
        return
    try:
        work.load, work.pushed = load_band(work.asked), pushed_band(work.asked)
    except ValueError as impossible:
        work.miss("load", "the spring carries it", str(impossible))


def _coil(answer: SetupAnswer, work: SetupBuilder, wanted: Target) -> None:
    """Add everything about coil springs to the answer: the fitted one, and all that fit at its travel."""
    found = work.found
    figures = Figures(work.units, USUAL_PRESSURE_UNIT)
    fits, springs = _beside(work)
    fitted = None if work.chosen.fit is None else work.chosen.fit.statement.spring
    first = work.chosen.coils[0] if work.chosen.coils else work.chosen.fit
    spring = None if first is None else springs.get(first.statement.spring)
    work.limits = limits_of(None, spring, found.limits)
    answer["sag"] = sag_view(wanted, work.units, None, None)
    if spring is not None:
        answer["travel_change"] = {"same_pressure": False, "siblings": [], "text": travel_change(spring)[1]}
    if work.limits.over_rider(work.asked) or work.put_words():
        return
    coils = coil_found(fits, springs, work.guides, wanted, work.asked, work.pushed, figures)
    answer["coil"] = coils.coil
    if coils.basis is not None:
        answer["basis"] = coils.basis
    work.gaps += coils.gaps
    if coils.assumed_preload:
        work.assume("preload", figures.length(0.0), "The minimum preload is not stated; taken as zero.")
    if coils.disagree:
        work.codes.append("bases-disagree")
    if coils.softest is not None:
        work.add_band("coil", coils.softest.biggest)
    if coils.coil["springs"]:
        text = (
            "Rates and preloads as published, to half a unit of the last digit; how far springs scatter is not stated."
        )
        work.assumptions.append({"name": "rates", "text": text})
    if work.load is not None:
        work.add_load(answer, figures)
        work.codes.append("computed")
    if fitted is not None:
        coils.coil["fitted"] = spring_ref(fitted, springs)
        answer["curve"] = next((each["curve"] for each in coils.coil["springs"] if each["spring"]["id"] == fitted), [])
    if "headline" in coils.coil:
        work.headline = {"what": "coil", "text": coils.coil["headline"]}
    answer["validity"] = COIL_VALIDITY
    answer["formula"] = formulas(False, [], False, True)


def _beside(work: SetupBuilder) -> tuple[list[Applicable[Fit]], dict[str, Spring]]:
    """The coils that fit at this travel, whichever is fitted now, and all their rows."""
    found = work.found
    first = work.chosen.coils[0] if work.chosen.coils else work.chosen.fit
    if first is None:
        return [], {}
    travel_mm = first.statement.travel_mm
    any_spring = replace(found.wanted, spring=None)
    every = prevailing_fits(found.context, found.offered, any_spring, found.where)
    at_travel = {each.statement.spring: each for each in every if each.statement.travel_mm == travel_mm}
    springs = found.context.snapshot.many(Spring, at_travel.keys())
    return [each for id, each in at_travel.items() if id in springs and springs[id].kind == "coil"], springs


def _finished(answer: SetupAnswer, work: SetupBuilder) -> SetupAnswer:
    context = work.found.context
    named = NamedEntities(work.units, context.sources, dampers=work.found.dampers)
    answer["published"] = [guide_view(each, named) for each in work.published.all]
    answer["adjustments"] = _adjustments(work, named)
    if work.added:
        changed = [each for each in work.guides.sure if each.statement.id in work.added]
        answer["adjusted"] = [guide_view(each, named) for each in changed]
    if not answer["limits"]["text"]:
        answer["limits"], codes = limits_view(work.limits, None, None, None, work.asked, context.sources, work.units)
        work.codes += codes
    answer["headline"] = _headline(answer, work)
    answer["assumptions"] = work.assumptions
    answer["bands"] = work.bands
    answer["undecided"] = shown_undecided(work.undecided, context)
    answer["gaps"] = work.gaps
    air = "coil" not in answer and any(each.kind == "air" for each in work.found.springs.values())
    codes = [*work.codes, *(["shock-pump-only"] if air else []), "limits", *(["undecided"] if work.undecided else [])]
    codes += serial_codes(context, work.found.wanted)
    answer["cautions"] = cautions(*codes, sources=context.sources.values())
    return answer


def _adjustments(work: SetupBuilder, named: NamedEntities) -> list[AdjustmentView]:
    """The amount that the source adds on which condition, and whether the figures of this answer contain it."""
    contained = {row.id for rows in work.added.values() for row in rows}
    shown = [adjustment_view(each, named) for each in work.adjustments]
    for each in shown:
        each["added"] = each["id"] in contained
    return shown


def _headline(answer: SetupAnswer, work: SetupBuilder) -> Headline:
    """The first thing to do. A rider above the limit comes before everything else."""
    over = next((each for each in answer["limits"]["rider_mass"] if not each["within"]), None)
    if over is not None and work.asked.rider is not None:
        rider = answer["asked"]["rider_mass"]["text"]
        text = (
            f"This fork carries a rider of at most {bare_limit(over['limit'])} with gear. {rider} is "
            "above that: do not set it up."
        )
        return {"what": "rider-mass-limit", "text": text}
    if work.headline is not None:
        return work.headline
    limit = work.limits.pressure_pa
    if "coil" in answer or work.chosen.fit is None:
        return {"what": "none", "text": "Something is still missing: see below."}
    if work.guides.maybe:
        text = "More than one row of the guide may apply, with and without gear: weigh the rider without gear."
        return {"what": "none", "text": text}
    if limit is None:
        return {"what": "none", "text": "No start pressure is listed. Start low and set the sag."}
    most = answer["limits"]["pressure"]
    stay = bare_limit(min(most, key=lambda each: each["limit"]["max"])["limit"]) if most else ""
    return {
        "what": "none",
        "text": f"No start pressure is listed. Start low, set the sag, and stay below {stay}.",
    }
