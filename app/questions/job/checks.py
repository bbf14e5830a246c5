"""Checks that prove the work, notes to write down, and the label for the leg: blank lines for figures to come."""

from collections.abc import Sequence

from app.catalogue.columns import write_number
from app.questions.answers.statement_views import NamedEntities, limit_view
from app.questions.answers.views import axle_to_crown_view, figure, length
from app.questions.job.plan import Plan, limits_of_job
from app.questions.job.steps import Step_
from app.questions.job.views import BLANK, Check, ToWrite
from app.questions.setup.inputs import valves_of
from app.units.quantity import bare_limit

FEET = ("spring-side lower leg", "damper-side lower leg", "above the air piston", "damper")


def checks_view(plan: Plan, named: NamedEntities, steps: Sequence[Step_]) -> list[Check]:
    """The proof of the travel first, then every limit, then what to tighten again after the first ride."""
    return [*_proof(plan), *_limits(plan, named), *_again(steps)]


def _proof(plan: Plan) -> list[Check]:
    fit = plan.fit.statement
    travel = write_number(fit.travel_mm)
    found: list[Check] = [
        {
            "what": "travel", "value": length(fit.travel_mm, plan.units), "statements": [fit.id],
            "text": f"Compressed fully without air, the fork must move {travel} mm.",
        }
    ]  # fmt: skip
    to_crown = axle_to_crown_view(fit, plan.units)
    if to_crown is None:
        text = "The catalogue does not give the axle-to-crown at this travel: measure before and after."
        plan.miss("axle-to-crown", fit.id, "it proves the change and decides whether the frame permits it", text)
        found.append({"what": "axle-to-crown", "text": f"Axle to crown, unloaded: {BLANK} mm.", "statements": []})
        return found
    text = f"Axle to crown, unloaded: {to_crown['text']}."
    before = plan.present_fit.statement
    if plan.job == "travel-change" and before.axle_to_crown_mm is not None and fit.axle_to_crown_mm is not None:
        more = fit.axle_to_crown_mm - before.axle_to_crown_mm
        if more:
            text += f" That is {abs(more)} mm {'longer' if more > 0 else 'shorter'} than before."
    ids = [fit.id, before.id] if plan.job == "travel-change" else [fit.id]
    found.append({"what": "axle-to-crown", "text": text, "value": to_crown, "statements": ids})
    return found


def _limits(plan: Plan, named: NamedEntities) -> list[Check]:
    found: list[Check] = []
    for each in limits_of_job(plan.found.limits, plan.job, plan.kept):
        shown = limit_view(each, named)
        details = [shown["limit"]["text"]] if "limit" in shown else [BLANK]
        details += [shown[name] for name in ("method", "action", "unchecked") if name in shown]
        text = f"{shown['subject'][:1].upper()}{shown['subject'][1:]}: {'; '.join(details)}."
        found.append({"what": shown["subject"], "text": text, "limit": shown, "statements": [shown["id"]]})
    return found


def _again(steps: Sequence[Step_]) -> list[Check]:
    found: list[Check] = []
    for each in steps:
        for shown in each.shown.get("torque", ()):
            if "recheck" in shown and "torque" in shown:
                position = shown["fastener"]["position"]
                text = f"{shown['recheck'][:1].upper()}{shown['recheck'][1:]}: {position}, {shown['torque']['text']}."
                check: Check = {
                    "what": "torque again", "text": text, "value": shown["torque"], "statements": [shown["id"]],
                }  # fmt: skip
                if check not in found:
                    found.append(check)
    return found


def to_write(steps: Sequence[Step_]) -> list[ToWrite]:
    """Every line to fill in, in order of work."""
    return [
        {"step": each.shown["number"], "what": what, "value": BLANK}
        for each in steps
        for what in each.shown["measures"]
    ]


def label(plan: Plan, steps: Sequence[Step_]) -> list[str]:
    """The lines of the label for the leg, which replaces the old one."""
    fit, spring = plan.fit.statement, plan.spring
    part = f", {spring.part_number}" if spring is not None and spring.part_number is not None else ""
    name = fit.spring if spring is None else spring.name
    lines = [
        f"{plan.found.context.chassis.name}, {length(fit.travel_mm, plan.units)['text']} of travel",
        f"Spring: {name}{part}",
    ]
    coil = spring is not None and spring.kind == "coil"
    if not coil:
        limit = BLANK if fit.spacer_limit is None else str(fit.spacer_limit)
        lines.append(f"Volume spacers: {BLANK if plan.spacers is None else plan.spacers}, at most {limit}")
        most = figure(fit, "pressure", None, fit.pressure_unit, plan.units, maximum="pressure_limit")
        if most is None and spring is not None:
            most = figure(spring, "pressure", None, spring.pressure_unit, plan.units, maximum="pressure_limit")
        lines.append(f"Pressure: {BLANK}, at most {BLANK if most is None else bare_limit(most)}")
        if spring is not None and spring.negative == "own valve":
            lines.append(f"Pressure, second chamber: {BLANK}")
        if spring is not None and "second positive" in valves_of(spring, plan.found.chambers_of(spring.id)):
            lines.append(f"Pressure, second positive chamber: {BLANK}")
    else:
        lines.append(f"Preload: {BLANK}")
    lines += [
        f"Oil, {fill['chamber']}: {fill['volume']['text'] if 'volume' in fill else BLANK}"
        f" {fill['fluid']['name'] if 'fluid' in fill else BLANK}"
        for each in steps
        if (fill := each.shown.get("fill")) is not None and fill["chamber"] in FEET
    ]
    return [*lines, f"Date: {BLANK}  Hours: {BLANK}", f"Catalogue revision {plan.snapshot.revision}"]
