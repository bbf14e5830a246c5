"""Placeholders filled from the set-up, the fit and the limits: values that a step sets or proves.

Each becomes a sentence or a phrase with its figures, or says that the catalogue does not give them.
"""

import math
from collections.abc import Callable, Mapping
from decimal import Decimal

from app.catalogue.columns import write_number
from app.catalogue.tables import AirChamber
from app.questions.answers.views import axle_to_crown_ends, figure, length
from app.questions.fork_check.permission import USUAL_OFFSET_MM, method_difference_mm
from app.questions.job.plan import Plan
from app.questions.job.views import BLANK, StepFigure
from app.questions.setup.parameters import shown_gauge_pa, si_of
from app.units.quantity import Quantity, bare_limit, computed, quantity, to_set

CROWN_HEIGHT = "stanchion height in the crown"
READ_TO_MM = 1.0  # accuracy of reading a rule in the workshop; common practice, no source
SETTLED_JOBS = ("lower-leg-service", "full-service")
_STATE = ("present pressure", "coil fitted")


def noted_in(plan: Plan) -> str:
    """The step in which the fork's state was noted, as `step 2`; the label if the order of work has none."""
    for number, each in enumerate(plan.kept, 1):
        if each.step.action == "check" and any(what in (each.step.measures or "") for what in _STATE):
            return f"step {number}"
    return "the old label"


def click_end(plan: Plan) -> str | None:
    """The end that the clicks of the fork's damper are counted from, or None if it is unknown."""
    ends = {damper.clicks_from for damper in plan.dampers}
    return ends.pop() if len(ends) == 1 else None


def filled_slot(plan: Plan, slot: str) -> tuple[str, list[StepFigure]] | None:
    """The text of a placeholder and its figures; None for any other placeholder."""
    fill = _SLOTS.get(slot)
    return None if fill is None else fill(plan)


def _filling(plan: Plan) -> tuple[str, list[StepFigure]]:
    """The start pressure, half of it and the maximum; or the pressure that was noted; or how to find one.

    If the fork is ridden elsewhere than it is filled, the pressure to fill here leads and the half is half of that.
    """
    most = maximum(plan)
    limit = f"Maximum: {BLANK}, not in the catalogue" if most is None else f"Maximum: {bare_limit(most)}"
    start = plan.setup.get("start_pressure")
    figures: list[StepFigure] = []
    if start is not None:
        words, figures = _start(plan, start, most)
        words = f"{words} {limit}."
    elif plan.job in SETTLED_JOBS:
        words = f"Refill to the pressure noted in {noted_in(plan)}. {limit}."
    elif plan.setup["headline"]["what"] == "rider-mass-limit":
        words = f"The rider is above the limit of this fork: there is no start pressure. {limit}."
    elif plan.setup["headline"]["what"] == "instruction":
        words = f"{plan.setup['headline']['text']} {limit}."
    else:
        stay = "" if most is None else f" and stay below {bare_limit(most)}"
        text = "No start pressure is listed for this rider and configuration."
        plan.miss("start-pressure", plan.fit.statement.id, "the fork is filled to it", text)
        words = f"No start pressure is known: start low, set the sag{stay}. {limit}."
    if most is not None:
        figures.append({"what": "maximum pressure", "value": most, "text": most["text"]})
    return words + _in_order(plan), figures


def _start(plan: Plan, start: Quantity, most: Quantity | None) -> tuple[str, list[StepFigure]]:
    """The pressure to fill, half of it, and a warning if it is above the maximum."""
    figures: list[StepFigure] = [{"what": "start pressure", "value": start, "text": start["text"]}]
    words = f"Start pressure: {_only(start)} ({plan.setup.get('basis', '')})."
    filled, half_of = start, "half of the start pressure"
    if "altitude" in plan.setup:
        place = plan.setup["altitude"]
        filled, half_of = place["fill_to"], "half of the pressure to fill here"
        figures.append({"what": "pressure to fill here", "value": filled, "text": filled["text"]})
        words = f"Fill to {_only(filled)} here, at {place['fill_altitude']['text']}. {words}"
    half = _half(filled, plan)
    figures.append({"what": half_of, "value": half, "text": half["text"]})
    words = f"{words} Half of {'it' if filled is start else _only(filled)}: {half['text']}."
    if most is not None and shown_gauge_pa(filled) > _most_pascal(most) * (1 + 1e-9):
        words += f" {_only(filled)} is above the maximum: do not fill to it."
    return words, figures


def _most_pascal(limit: Quantity) -> float:
    return si_of("pressure", Decimal(write_number(limit["max"])), limit["unit"])


def _only(shown: Quantity) -> str:
    """The figure to set, without its band."""
    return f"{write_number(to_set(shown))} {shown['unit']}"


def _half(start: Quantity, plan: Plan) -> Quantity:
    pascal = shown_gauge_pa(start) / 2
    step = {"psi": Decimal(1), "bar": Decimal("0.1"), "kPa": Decimal(10)}.get(start["unit"])
    return computed("pressure", pascal, start["unit"], to=plan.units, rounding="maximum", step=step)


def maximum(plan: Plan) -> Quantity | None:
    """The lowest maximum pressure that fit and spring state."""
    limits = [each["limit"] for each in plan.setup["limits"]["pressure"]]
    return min(limits, default=None, key=_most_pascal)


def _second(plan: Plan) -> tuple[str, list[StepFigure]]:
    here = plan.setup.get("altitude", {}).get("negative_fill_to")
    return _other_chamber(plan, "negative", "second chamber", here)


def _extra(plan: Plan) -> tuple[str, list[StepFigure]]:
    here = plan.setup.get("altitude", {}).get("second_positive_fill_to")
    return _other_chamber(plan, "second positive", "second positive chamber", here)


def _other_chamber(plan: Plan, name: AirChamber, called: str, here: Quantity | None) -> tuple[str, list[StepFigure]]:
    """The start pressure and the maximum of a chamber besides the main one; or the noted pressure."""
    chamber = next((each for each in plan.setup.get("chambers", ()) if each["chamber"] == name), None)
    most = None if chamber is None else chamber.get("maximum")
    limit = "Its maximum is not in the catalogue" if most is None else f"Maximum: {bare_limit(most)}"
    order = _in_order(plan)
    figures: list[StepFigure] = []
    if most is not None:
        figures.append({"what": f"maximum pressure, {called}", "value": most, "text": most["text"]})
    if chamber is not None and "relative" in chamber:
        limit = f"It is {chamber['relative']}. {limit}"
    if chamber is not None and "pressure" in chamber:
        start = chamber["pressure"]
        figures.append({"what": f"start pressure, {called}", "value": start, "text": start["text"]})
        words = f"Start pressure of this chamber: {_to_fill(start)} ({chamber.get('basis', '')}). {limit}."
        if here is not None:
            figures.append({"what": f"pressure to fill here, {called}", "value": here, "text": here["text"]})
            words = f"Fill this chamber to {_only(here)} here. {words}"
        if chamber.get("within_limit") is False:
            words += f" {_only(start)} is above the maximum: do not fill to it."
        return words + order, figures
    if plan.job in SETTLED_JOBS and plan.setup.get("start_pressure") is None:
        return f"Refill it to its own pressure noted in {noted_in(plan)}. {limit}.{order}", figures
    text = f"No start pressure of the {called} is listed for this rider and configuration."
    plan.miss("start-pressure", plan.fit.statement.spring, f"the {called} is filled to it", text)
    return f"Start pressure of this chamber: {BLANK}; it is not in the catalogue. {limit}.{order}", figures


def _in_order(plan: Plan) -> str:
    return f" Order of filling: {', '.join(plan.filling_order)}." if plan.filling_order else ""


def _to_fill(shown: Quantity) -> str:
    return f"at least {_only(shown)}" if shown["kind"] == "at_least" else _only(shown)


def _sag(plan: Plan) -> tuple[str, list[StepFigure]]:
    sag = plan.setup.get("sag")
    if sag is None:
        plan.miss("sag", plan.fit.statement.id, "you set the pressure or preload by it", "The sag is unknown here.")
        return BLANK, []
    words = f"{sag['travel']['text']} from full extension ({sag['percent']['text']})"
    figures: list[StepFigure] = [{"what": "sag", "value": sag["travel"], "text": words}]
    if "from_rest" in sag:
        words += f"; the ring shows {sag['from_rest']['text']}"
        figures.append(
            {"what": "sag, as the ring shows it", "value": sag["from_rest"], "text": sag["from_rest"]["text"]}
        )
    return words, figures


def _proof(plan: Plan) -> tuple[str, list[StepFigure]]:
    """Axle-to-crown with its tolerance, and how much more or less stanchion shows than before."""
    before, after = plan.present_fit.statement.travel_mm, plan.fit.statement.travel_mm
    noted = noted_in(plan)
    more = after - before
    if plan.job == "travel-change" and more:
        shown = length(abs(more), plan.units)
        words = f"The exposed stanchion must be {shown['text']} {'longer' if more > 0 else 'shorter'} than in {noted}."
        figures: list[StepFigure] = [{"what": "change of the exposed stanchion", "value": shown, "text": shown["text"]}]
    else:
        words, figures = f"The exposed stanchion must be as long as in {noted}.", []
    to_crown = _axle_to_crown(plan)
    if to_crown is None:
        return f"{words} The catalogue does not give the axle-to-crown: write it down for next time.", figures
    figures.append({"what": "axle-to-crown", "value": to_crown, "text": to_crown["text"]})
    return f"{words} Axle-to-crown: {to_crown['text']}, depending on how it is measured.", figures


def _axle_to_crown(plan: Plan) -> Quantity | None:
    """The length of the fit with its tolerance, and one for reading the rule and for measuring straight."""
    stated, ends = plan.fit.statement.axle_to_crown_mm, axle_to_crown_ends(plan.fit.statement)
    if ends is None:
        return None
    least, most = (float(end) for end in ends)
    offset = max(plan.found.context.chassis.offsets_mm or (USUAL_OFFSET_MM,))
    low = math.floor(least - READ_TO_MM)
    high = math.ceil(most + method_difference_mm(most, offset) + READ_TO_MM)
    return quantity("length", stated, "mm", minimum=Decimal(low), maximum=Decimal(high), to=plan.units)


def _height(plan: Plan) -> tuple[str, list[StepFigure]]:
    for each in plan.found.limits:
        row = each.statement
        if row.subject == CROWN_HEIGHT and row.unit is not None:
            shown = figure(row, "length", None, row.unit, plan.units, minimum="min", maximum="max")
            if shown is not None:
                return shown["text"], [{"what": CROWN_HEIGHT, "value": shown, "text": shown["text"]}]
    text = "The catalogue does not give the height of the stanchions in the crown at this travel."
    plan.miss("crown-height", plan.fit.statement.id, "at the wrong height the tyre can hit the crown", text)
    return f"{BLANK} mm", []


def clicks_noted(plan: Plan) -> str:
    """Where the clicks were noted, and which end they are counted from."""
    end = click_end(plan)
    return f"noted in {noted_in(plan)}, counted from {'the end you marked' if end is None else end}"


def _preload(plan: Plan) -> tuple[str, list[StepFigure]]:
    """The turns of the guide for this rider with the spring of this card, or those that were noted."""
    spring = plan.fit.statement.spring
    turns = {
        each["preload_turns"]["text"]
        for each in plan.setup.get("adjusted", plan.setup["published"])
        if "preload_turns" in each and each.get("spring_choice", spring) == spring
    }
    if len(turns) == 1 and plan.setup.get("load") is not None:
        words = turns.pop()
        return f"{words} (published)", [{"what": "preload", "text": words}]
    if plan.job in SETTLED_JOBS:
        return f"as many turns as noted in {noted_in(plan)}", []
    text = "No preload is listed for this rider and this spring."
    plan.miss("preload", plan.fit.statement.spring, "the sag is set by it", text)
    return f"{BLANK} turns from the minimum preload, then by the sag", []


_SLOTS: Mapping[str, Callable[[Plan], tuple[str, list[StepFigure]]]] = {
    "filling": _filling,
    "second": _second,
    "extra": _extra,
    "sag": _sag,
    "proof": _proof,
    "height": _height,
    "preload": _preload,
    "clicks": lambda plan: (clicks_noted(plan), []),
    "noted": lambda plan: (noted_in(plan), []),
}
