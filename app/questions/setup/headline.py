"""The start pressures on every basis, and the one for the headline."""

from app.questions.answers.views import figure, source_ref
from app.questions.setup.basis import disagreeing
from app.questions.setup.builder import SetupBuilder
from app.questions.setup.estimate import MEASURED_ON_THE_BENCH, StartPressureEstimate
from app.questions.setup.inputs import stated_sag
from app.questions.setup.model import Formatter as Figures
from app.questions.setup.model import Model
from app.questions.setup.parameters import shown_gauge_pa
from app.questions.setup.views import BasisView, SetupAnswer
from app.questions.setup.words import PRACTICE, band_view, disagreement, reading_assumptions, surroundings_assumption
from app.units.quantity import Quantity, quantity

LEAST_READ_PA = 20 * 6894.757293168  # below this a shock pump's gauge hardly moves; common practice, no source
_GEAR = {
    "without": (
        "3 to 8 kg",
        f"The guide goes by the rider without gear; gear of this mass always leads to this row ({PRACTICE}).",
    ),
    "not stated": ("in the mass", "The guide does not say whether its masses include gear; read with gear."),
}


def put_bases(
    answer: SetupAnswer, work: SetupBuilder, bases: list[StartPressureEstimate],
    headline: StartPressureEstimate | None, figures: Figures,
) -> Quantity | None:  # fmt: skip
    """Add every basis; return the start pressure for the headline."""
    answer["bases"] = [_basis_shown(each, figures, work) for each in bases]
    if disagreeing(bases):
        work.codes.append("bases-disagree")
    if any(each.banded for each in bases):
        work.codes.append("computed")
        work.assumptions += surroundings_assumption(work.asked, work.units)
    if any(each.basis in MEASURED_ON_THE_BENCH for each in bases):
        work.assumptions += reading_assumptions(work.load is None, work.units)
    if headline is None:
        return None
    first = answer["bases"][0]
    answer["basis"] = first["basis"]
    answer["start_pressure"] = first["start_pressure"]
    if "band" in first:
        answer["band"] = first["band"]
    if headline.guide is not None and headline.guide.mass_is != "with gear":
        work.assume("gear", *_GEAR[headline.guide.mass_is or "not stated"])
    if headline.gauge_pa < LEAST_READ_PA:
        work.codes.append("below-gauge")
    return first["start_pressure"]


def _basis_shown(each: StartPressureEstimate, figures: Figures, work: SetupBuilder) -> BasisView:
    pressure: Quantity | None
    if each.guide is not None:
        pressure = figure(
            each.guide, "pressure", "pressure", each.guide.pressure_unit, work.units,
            minimum="pressure_min", maximum="pressure_max", is_set=True,
        )  # fmt: skip
        if pressure is not None:
            pressure.setdefault("basis", "published")
    elif each.given is not None:
        pressure = quantity("pressure", each.given.given_value, each.given.given_unit, to=work.units)
        pressure.pop("as_published", None)
    else:
        pressure = figures.pressure(each.gauge_pa, (each.low_pa, each.high_pa))
        pressure["basis"] = "computed" if each.basis == "computed" else "measured"
    if pressure is None:
        raise ValueError(f"the guide row {each.statements} has no pressure")
    shown: BasisView = {
        "basis": each.basis, "start_pressure": pressure, "statements": list(each.statements), "text": each.text,
    }  # fmt: skip
    if work.limits.pressure_pa is not None:
        shown["within_limit"] = not work.limits.over_pressure(each.gauge_pa)
    if each.banded:
        shown["band"] = band_view(each.biggest)
    return shown


def shown_pa(headline: StartPressureEstimate, start: Quantity) -> float:
    """The gauge pressure that the user sees, in Pa: everything else is computed from it."""
    if not headline.banded:
        return headline.gauge_pa
    return shown_gauge_pa(start)


def put_disagreement(
    answer: SetupAnswer, work: SetupBuilder, headline: StartPressureEstimate, model: Model | None,
    figures: Figures,
) -> None:  # fmt: skip
    """A sentence if the guide's sag at its pressure lies outside the band of the expected sag."""
    sag, guide = answer["sag"], headline.guide
    stated = None if guide is None else stated_sag(guide)
    if guide is None or stated is None or model is None or model.stroke.sag is None or "expected" not in sag:
        return
    travel_m = model.geometry.air.travel_m
    low_m, high_m = (end / 100 * travel_m for end in stated.ends)
    found = model.stroke.sag
    if found.low <= high_m and low_m <= found.high:
        return
    source = source_ref(guide, work.found.context.sources)
    sag["disagreement"] = disagreement(
        figures.length(float(stated.figure) / 100 * travel_m)["text"], f"about {sag['expected']['text']}",
        answer["start_pressure"]["text"], source["title"] if source is not None else guide.id,
    )  # fmt: skip
    if "bases-disagree" not in work.codes:
        work.codes.append("bases-disagree")
