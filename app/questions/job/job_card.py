"""From "this fork, that travel" to ordered work: the question `job-card`.

A card is made for one configuration: what is undecided, forbidden or impossible is refused (422) with stable codes and
what would be possible (`app.questions.job.refusals`). What the catalogue does not say is a blank line and a gap.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from app.catalogue.present import present
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Frame, Source
from app.questions.answers.cautions import BEFORE_OPENING, cautions
from app.questions.answers.gap import Gap
from app.questions.answers.statement_views import NamedEntities, TorqueView
from app.questions.answers.views import chassis_ref, source_ref
from app.questions.configuration.region import Given, Region
from app.questions.fork_check.fork_check import ForkCheck
from app.questions.fork_check.fork_check import gather as gather_frame
from app.questions.fork_check.permission import overall
from app.questions.job.checks import checks_view, label, to_write
from app.questions.job.consumables import Sum, on_threads, shown, sums_of
from app.questions.job.parameters import JOB_WORDS, JobCardAsked
from app.questions.job.parts import parts_needed
from app.questions.job.plan import Plan, planned
from app.questions.job.refusals import not_done, refuse_frame
from app.questions.job.steps import Step_, steps_view
from app.questions.job.tools import tools_needed
from app.questions.job.views import (
    JOB_CARD,
    CardCaution,
    FrameVerdict,
    JobCardAnswer,
    JobSettings,
    ProcedureRef,
)
from app.questions.sheet.fits import asked_view, chosen_units, fit_view, spring_ref
from app.questions.sheet.gaps import gaps

__all__ = ["JOB_CARD", "JobCardAnswer", "JobCardAsked", "Made", "job_card", "made"]

OF_THE_FIT = ("spacer-limit", "pressure-limit")


@dataclass(frozen=True, slots=True)
class Made:
    """A card, and what it needs of each fluid before it is rounded: what a fleet is summed from."""

    answer: JobCardAnswer
    sums: dict[str, Sum]


def job_card(snapshot: Snapshot, chassis: str, asked: JobCardAsked) -> JobCardAnswer:
    """The card at one revision. Raises NotFound, Gone, and Invalid with every reason why there is none."""
    return made(snapshot, chassis, asked).answer


def made(snapshot: Snapshot, chassis: str, asked: JobCardAsked) -> Made:
    """The same, with what a fleet is summed from."""
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
    answer["gaps"] = _gaps(plan, check)
    answer["cautions"] = _cautions(plan, check, steps)
    return Made(answer, sums)


def _frame_check(snapshot: Snapshot, chassis: str, asked: JobCardAsked, plan: Plan) -> ForkCheck | None:
    """What the frame says of the fork as it shall be; None where no frame is given."""
    if asked.frame is None:
        if plan.job == "travel-change":
            text = "No frame is given: nobody has checked that it permits this travel. Not stated is not permitted."
            plan.miss("frame", None, "a longer fork loads and steepens a frame beyond what its maker tested", text)
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
    return shown


def _replaced(steps: Sequence[Step_]) -> Iterator[tuple[str, str, int]]:
    """The fasteners that the work opens and that are used once."""
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
    """What a mechanic sets of the set-up; the curve stays with the question `setup`."""
    setup = plan.setup
    shown: JobSettings = {"limits": setup["limits"], "published": setup["published"], "text": ""}
    for name in ("basis", "start_pressure", "band", "sag", "coil", "travel_change"):
        if name in setup:
            shown[name] = setup[name]
    said = []
    if plan.spacers is not None and plan.fit.statement.spacer is not None:
        shown["spacers"] = plan.spacers
        how = "as the factory fits" if plan.spacers_as_delivered else "as asked"
        said.append(f"{plan.spacers} volume spacers, {how}.")
    if "start_pressure" in setup:
        said.append(f"Start pressure {setup['start_pressure']['text']} ({setup.get('basis', '')}): then set the sag.")
    elif plan.spring is None or plan.spring.kind == "air":
        said.append("No start pressure: see `gaps`. Fill little, then set the sag; the maximum holds.")
    said.append("Clicks as they were noted, unless the published set-up is followed.")
    shown["text"] = " ".join(said)
    return shown


def _gaps(plan: Plan, check: ForkCheck | None) -> list[Gap]:
    """What the card lacks: its own blanks, the limits of the fit, and what the set-up lacks."""
    found = [*plan.gaps, *(gap for gap in gaps(plan.found) if gap["what"] in OF_THE_FIT)]
    known = {gap["what"] for gap in found}
    found += [gap for gap in plan.setup["gaps"] if gap["what"] not in known]
    if not plan.uses:
        text = f"The catalogue does not say which parts {JOB_WORDS[plan.job]} of this fork takes."
        found.append({"what": "parts", "why_needed": "they must be at hand before the work begins", "text": text})
    return found


def _cautions(plan: Plan, check: ForkCheck | None, steps: Sequence[Step_]) -> list[CardCaution]:
    """Those of any opened fork, those of the set-up, then each of the steps with where it stands."""
    sources: list[Source] = list(plan.found.context.sources.values())
    if check is not None:
        sources += check.context.sources.values()
    codes = [*BEFORE_OPENING, "shock-pump-only", "limits"]
    codes += ["frame-limit"] if plan.job == "travel-change" or check is not None else []
    codes += [each["code"] for each in plan.setup["cautions"]] + ["not-in-the-catalogue"]
    context: dict[str, CardCaution] = {}
    for step in steps:
        for each in step.shown["cautions"]:
            found = context.setdefault(each["text"], {"code": each["code"], "text": each["text"], "steps": []})
            found["steps"].append(step.shown["number"])
    top: list[CardCaution] = [
        {"code": each["code"], "text": each["text"]}
        for each in cautions(*dict.fromkeys(codes), sources=sources)
        if each["text"] not in context
    ]
    return [*top, *context.values()]
