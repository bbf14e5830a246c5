"""The steps of a card: text with its figures, parts, tools, notes to write down, cautions where they are needed."""

from dataclasses import dataclass

from app.catalogue.tables import Fastener, Step
from app.questions.answers.cautions import caution
from app.questions.answers.statement_views import NamedEntities
from app.questions.answers.views import Caution
from app.questions.job.conditions import KeptStep
from app.questions.job.figures import SPACER_CAP, StepFigures, filled, uses_of
from app.questions.job.parts import of_use, travel_spacer, volume_spacer
from app.questions.job.plan import Plan
from app.questions.job.set_figures import click_end
from app.questions.job.views import PartNeeded, StepView

FOOT = ("foot bolt", "foot nut")
TURNED = ("loosen", "back-off", "free", "remove", "tighten")
_EYES = ("loosen", "back-off", "free", "remove", "seat")


@dataclass(slots=True)
class Step_:  # noqa: N801 - the row is called Step
    """A numbered step under construction, with the rows its figures come from and the fasteners it turns."""

    shown: StepView
    row: Step
    figures: StepFigures
    fasteners: list[Fastener]


def steps_view(plan: Plan, named: NamedEntities) -> list[Step_]:
    """Every step that applies, numbered from 1."""
    return [_step(plan, named, each, number) for number, each in enumerate(plan.kept, 1)]


def _step(plan: Plan, named: NamedEntities, kept: KeptStep, number: int) -> Step_:
    step = kept.step
    text, figures = filled(plan, named, step)
    fasteners = plan.at_position(step.fastener_position) if step.fastener_position else []
    shown: StepView = {
        "number": number, "step": step.id, "action": step.action, "text": text,
        "figures": figures.values, "parts": _parts(plan, named, step), "tools": [], "measures": _measures(plan, step),
        "cautions": _cautions(step), "statements": figures.statements,
    }  # fmt: skip
    if (words := kept.words) is not None:
        shown["condition"] = words
        shown["text"] = f"{words}: {text}"
    if figures.torque:
        shown["torque"] = figures.torque
    if figures.fill is not None:
        shown["fill"] = figures.fill
    if figures.grease is not None:
        shown["grease"] = figures.grease
    return Step_(shown, step, figures, fasteners if step.action in TURNED else [])


def _measures(plan: Plan, step: Step) -> list[str]:
    """The notes to write down at the step; clicks with the end that they are counted from."""
    found = [each.strip() for each in (step.measures or "").split(";") if each.strip()]
    end = click_end(plan)
    datum = "from closed or from open (mark which)" if end is None else f"from {end}"
    return [f"{each}, {datum}" if "clicks" in each and " from " not in each else each for each in found]


def _parts(plan: Plan, named: NamedEntities, step: Step) -> list[PartNeeded]:
    found = [of_use(each, plan, named) for each in uses_of(plan, step.part_kind)]
    if step.action == "tighten" and step.fastener_position != step.part_kind:
        found += [of_use(each, plan, named) for each in uses_of(plan, step.fastener_position)]
    if step.action == "tighten" and step.fastener_position == SPACER_CAP:
        found += volume_spacer(plan, total=True)
    if step.part_kind == "travel spacer":
        found += travel_spacer(plan, total=True)
    return found


def _cautions(step: Step) -> list[Caution]:
    """The step's own caution, and eye protection at rings and foot bolts if the step does not mention it."""
    found: list[Caution] = []
    if step.caution is not None:
        found.append({"code": "at-step", "text": step.caution})
    risky = step.action == "free" or step.part_kind == "retaining ring" or step.fastener_position in FOOT
    mentioned = "eye protection" in (step.caution or "").lower()
    if risky and step.action in _EYES and not mentioned:
        found.append(caution("eye-protection"))
    return found
