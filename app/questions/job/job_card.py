"""The question `job-card`: from "this fork, that travel" to ordered work.

A card is made for one configuration. An undecided, forbidden or impossible request is refused (422) with stable codes
and the possible alternatives (`app.questions.job.refusals`). A figure that the catalogue lacks is a blank line and a
gap.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from app.catalogue.present import present
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Frame
from app.questions.answers.gap import Gap
from app.questions.answers.statement_views import NamedEntities, TorqueView
from app.questions.answers.views import chassis_ref, source_ref
from app.questions.configuration.region import Given, Region
from app.questions.fork_check.fork_check import ForkCheck
from app.questions.fork_check.fork_check import gather as gather_frame
from app.questions.fork_check.permission import overall
from app.questions.job.card_cautions import at_steps, card_cautions
from app.questions.job.checks import checks_view, label, to_write
from app.questions.job.consumables import Sum, on_threads, shown, sums_of
from app.questions.job.parameters import JOB_WORDS, JobCardAsked
from app.questions.job.parts import parts_needed
from app.questions.job.plan import Plan, planned
from app.questions.job.refusals import not_done, refuse_frame, takes_spacers
from app.questions.job.set_figures import SETTLED_JOBS, clicks_noted, maximum, noted_in
from app.questions.job.steps import Step_, steps_view
from app.questions.job.tools import tools_needed
from app.questions.job.views import (
    JOB_CARD,
    FrameVerdict,
    JobCardAnswer,
    JobSettings,
    ProcedureRef,
)
from app.questions.sheet.fits import asked_view, chosen_units, fit_view, spring_ref
from app.questions.sheet.gaps import gaps

__all__ = ["JOB_CARD", "JobCardAnswer", "JobCardAsked", "Made", "job_card", "made"]

NO_START_PRESSURE = ("rider-mass-limit", "instruction")
"""Headlines that forbid a start pressure."""
OF_THE_RIDER = {"rider-mass", "start-pressure"}
OF_THE_FIT = ("spacer-limit", "pressure-limit")


@dataclass(frozen=True, slots=True)
class Made:
    """A card, and its fluid requirements before rounding, which a fleet list adds up."""

    answer: JobCardAnswer
    sums: dict[str, Sum]


def job_card(snapshot: Snapshot, chassis: str, asked: JobCardAsked) -> JobCardAnswer:
    """The card at one revision. Raises NotFound, Gone, and Invalid with every reason why there is none."""
    return made(snapshot, chassis, asked).answer


def made(snapshot: Snapshot, chassis: str, asked: JobCardAsked) -> Made:
    """Like `job_card`, with the requirements that a fleet list adds up."""
    units = chosen_units(asked)
    plan = planned(snapshot, chassis, asked, units)
    check = _frame_check(snapshot, chassis, asked, plan)
    if check is not None:
        refuse_frame(check, asked.job == "travel-change")
    context = plan.found.context
    context.with_sources([plan.procedure])
    named = NamedEntities(
        units, context.sources, plan.found.fasteners, plan.found.fluids, context.parts, plan.found.tools
    )
    steps = steps_view(plan, named)
    of_steps = at_steps(steps)
    sums = sums_of(plan, steps)
    answer: JobCardAnswer = {
        "revision": snapshot.revision,
        "job": asked.job,
        "chassis": chassis_ref(context.chassis, context.maker),
        "procedure": _procedure(plan),
        "present": asked_view(plan.present, _present_region(plan), units),
        "configuration": asked_view(plan.found.wanted, plan.found.where, units),
        "fit": fit_view(plan.fit, context, plan.found.springs, plan.found.spacers, units),
        "steps": [each.shown for each in steps],
        "parts": parts_needed(plan, named, _replaced(steps)),
        "tools": tools_needed(plan, steps),
        "consumables": [*(shown(each, units) for each in sums.values()), *on_threads(steps)],
        "torques": _torques(steps),
        "settings": _settings(plan),
        "write_down": to_write(steps),
        "checks": checks_view(plan, named, steps),
        "label": label(plan, steps),
        "not_done": not_done(asked.job, plan.dampers),
        "undecided": [],
        "gaps": [],
        "cautions": [],
    }
    if plan.present_spring is not None:
        answer["present_spring"] = spring_ref(plan.present_spring.id, {plan.present_spring.id: plan.present_spring})
    if check is not None:
        answer["frame"] = _frame_verdict(check)
    answer["gaps"] = _gaps(plan)
    sources = [*context.sources.values(), *(check.context.sources.values() if check is not None else ())]
    answer["cautions"] = card_cautions(plan, of_steps, sources, check is not None)
    return Made(answer, sums)


def _frame_check(snapshot: Snapshot, chassis: str, asked: JobCardAsked, plan: Plan) -> ForkCheck | None:
    """The frame's verdict on the fork after the job; None if no frame is given."""
    if asked.frame is None:
        if plan.job == "travel-change":
            text = (
                "No frame is given, so it was not checked whether the frame permits this travel. Not stated is "
                "not permitted."
            )
            plan.miss(
                "frame",
                None,
                ("a longer fork slackens the head angle and can load the frame beyond what its maker tested"),
                text,
            )
        return None
    wanted = Given(travel=plan.found.wanted.travel, wheel_size=plan.found.wanted.wheel_size)
    return gather_frame(snapshot, present(snapshot, Frame, asked.frame), chassis, wanted, asked.offset)


def _frame_verdict(check: ForkCheck) -> FrameVerdict:
    judged = check.judged(check.travel_mm)
    return {
        "id": check.frame.id,
        "allowed": overall(judged),
        "reasons": [
            {"code": each.code, "verdict": each.verdict, "decides": each.decides, "text": each.text} for each in judged
        ],
    }


def _present_region(plan: Plan) -> Region:
    return plan.found.context.region(plan.present, plan.found.offered)


def _procedure(plan: Plan) -> ProcedureRef:
    shown: ProcedureRef = {"id": plan.procedure.id, "name": plan.procedure.name}
    if (source := source_ref(plan.procedure, plan.found.context.sources)) is not None:
        shown["source"] = source
        if source.get("kind") == "common practice":
            shown["text"] = "Order of work: common practice; the maker's manual prevails."
    return shown


def _replaced(steps: Sequence[Step_]) -> Iterator[tuple[str, str, int]]:
    """The single-use fasteners that the work opens."""
    seen = set()
    for each in steps:
        for fastener in each.fasteners:
            if fastener.reuse == "replace" and fastener.id not in seen:
                seen.add(fastener.id)
                yield fastener.id, fastener.position, fastener.count or 1


def _torques(steps: Sequence[Step_]) -> list[TorqueView]:
    found: dict[str, TorqueView] = {}
    for each in steps:
        found.update((shown["id"], shown) for shown in each.shown.get("torque", ()))
    return list(found.values())


def _settings(plan: Plan) -> JobSettings:
    """The part of the set-up that a mechanic sets; the curve is left to the question `setup`."""
    setup = plan.setup
    shown: JobSettings = {
        "limits": setup["limits"], "published": setup["published"], "adjustments": setup["adjustments"], "text": "",
    }  # fmt: skip
    for name in ("adjusted", "headline", "basis", "start_pressure", "band", "chambers", "sag", "coil", "altitude"):
        if name in setup:
            shown[name] = setup[name]
    if "travel_change" in setup and plan.job == "travel-change":
        shown["travel_change"] = setup["travel_change"]
    sentences = []
    if setup["headline"]["what"] in NO_START_PRESSURE:
        sentences.append(setup["headline"]["text"])
    if plan.spacers is not None and takes_spacers(plan.fit.statement):
        shown["spacers"] = plan.spacers
        how = "as delivered" if plan.spacers_as_delivered else "as given"
        sentences.append(f"{plan.spacers} volume spacer{'' if plan.spacers == 1 else 's'}, {how}.")
    if "start_pressure" in setup:
        sentences.append(
            f"Start pressure {setup['start_pressure']['text']} ({setup.get('basis', '')}), then set the sag."
        )
        if "altitude" in setup:
            block = setup["altitude"]
            sentences.append(
                f"Fill to {block['fill_to']['text']} here, at {block['fill_altitude']['text']}; it reads "
                f"{block['reading_there']['text']} at {block['altitude']['text']}. {block['text']}"
            )
    elif setup["headline"]["what"] in NO_START_PRESSURE:
        pass  # already given above
    elif "fit" in setup.get("coil", {}) and setup["coil"]["fit"]["id"] != plan.fit.statement.spring:
        other, mine = setup["coil"]["fit"], plan.fit.statement.spring
        called = mine if plan.spring is None else plan.spring.part_number or plan.spring.name
        sentences.append(
            f"This card is for {called}. The set-up for this rider names another spring, "
            f"{other.get('part_number') or other['name']}: fitting it would be a change."
        )
    elif plan.spring is None or plan.spring.kind == "air":
        sentences.append(_without_start(plan))
    sentences.append(f"Set the clicks as {clicks_noted(plan)}, unless you follow the published set-up.")
    shown["text"] = " ".join(sentences)
    return shown


def _without_start(plan: Plan) -> str:
    """The pressure to fill if no start pressure is known; a service refills the previous pressure."""
    if plan.job in SETTLED_JOBS:
        return f"Refill to the pressure noted in {noted_in(plan)}, then check the sag."
    most = maximum(plan)
    stay = "" if most is None else f", and stay below {most['text']}"
    return f"No start pressure is listed. Start low, set the sag{stay}."


def _gaps(plan: Plan) -> list[Gap]:
    """The gaps of the card: its own blanks, the limits of the fit, and the gaps of the set-up."""
    found = [*plan.gaps, *(gap for gap in gaps(plan.found) if gap["what"] in OF_THE_FIT)]
    known = {gap["what"] for gap in found}
    if plan.job in SETTLED_JOBS and any(gap["what"] == "rider-mass" for gap in plan.setup["gaps"]):
        known |= OF_THE_RIDER  # without a rider, a service refills the previous pressure
    found += [gap for gap in plan.setup["gaps"] if gap["what"] not in known]
    if not plan.uses:
        text = f"The catalogue does not list the parts for {JOB_WORDS[plan.job]} of this fork."
        found.append({"what": "parts", "why_needed": "you need them before you start", "text": text})
    return found
