"""Placeholders of a step filled from statements: a figure, or a blank line and a gap. Never a figure of our own."""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from math import inf
from typing import TypeVar

from app.catalogue.agreement import agree
from app.catalogue.columns import write_number
from app.catalogue.tables import Fastener, Fill, Grease, Statement, Step, Torque, Use
from app.questions.answers.statement_views import (
    FillView,
    GreaseView,
    NamedEntities,
    TorqueView,
    fill_view,
    fluid_view,
    grease_view,
    torque_view,
)
from app.questions.configuration.prevailing import Applicable
from app.questions.job.plan import Plan
from app.questions.job.set_figures import filled_slot
from app.questions.job.spacer_words import travel_spacer_words, volume_spacer_words
from app.questions.job.views import BLANK, StepFigure

S = TypeVar("S", bound=Statement)
SLOT = re.compile(r"\{([a-z]+)\}")
SPACER_CAP = "spacer cap"
TRAVEL_SPACER = "travel spacer"


@dataclass(slots=True)
class StepFigures:
    """The values for one step's placeholders. `after` are sentences that follow the text."""

    torques: list[Applicable[Torque]] = field(default_factory=list)
    torque: list[TorqueView] = field(default_factory=list)
    fill_row: Applicable[Fill] | None = None
    fill: FillView | None = None
    grease_row: Applicable[Grease] | None = None
    grease: GreaseView | None = None
    after: list[str] = field(default_factory=list)
    values: list[StepFigure] = field(default_factory=list)
    statements: list[str] = field(default_factory=list)

    def cite(self, id: str) -> None:
        """Record a row whose figure is in the text."""
        if id not in self.statements:
            self.statements.append(id)


def filled(plan: Plan, named: NamedEntities, step: Step) -> tuple[str, StepFigures]:
    """The text of a step with all placeholders filled, and the values used."""
    figures = StepFigures()
    texts: dict[str, str] = {}
    template = _of_spacers(plan, step, figures) or step.text
    for slot in dict.fromkeys(SLOT.findall(template)):
        if (said := filled_slot(plan, slot)) is not None:
            texts[slot], shown = said
            figures.values += shown
        elif slot == "torque":
            texts[slot] = _torque(plan, named, step, figures)
        elif slot == "volume":
            texts[slot] = _volume(plan, named, step, figures)
        elif slot in ("grease", "extent"):
            texts[slot] = _grease(plan, named, step, figures, slot)
        elif slot == "count":
            texts[slot] = _count(plan, step, figures)
        elif slot == "turns" and step.turns is not None:
            texts[slot] = step.turns
            figures.cite(step.id)
        else:
            texts[slot] = BLANK
            plan.miss(slot, step.id, "the step needs it", f"The catalogue gives no {slot} for this step.")
    text = SLOT.sub(lambda found: texts[found[1]], template)
    return " ".join([text, *figures.after]), figures


def _of_spacers(plan: Plan, step: Step, figures: StepFigures) -> str | None:
    """The instruction of a step that fits spacers, from the present and the wanted number; None for any other step."""
    if "{count}" not in step.text:
        return None
    if step.part_kind == TRAVEL_SPACER:
        words = travel_spacer_words(plan)
    elif step.fastener_position == SPACER_CAP and step.action == "tighten":
        words = volume_spacer_words(plan)
    else:
        return None
    if words is not None:
        figures.cite(plan.fit.statement.id)
    return words


def uses_of(plan: Plan, kind: str | None) -> list[Applicable[Use]]:
    """The uses of the job whose part is of a kind."""
    if kind is None:
        return []
    parts = plan.found.context.parts
    return [each for each in plan.uses if each.statement.part in parts and parts[each.statement.part].kind == kind]


def torques_of(plan: Plan, fastener: Fastener) -> list[Applicable[Torque]]:
    """The torques of a fastener in order of stage, then by the material of the mating part.

    None for a stage and material on which sources disagree.
    """
    mine: dict[tuple[int, str], list[Applicable[Torque]]] = {}
    for each in plan.found.torques:
        if each.statement.fastener == fastener.id:
            mine.setdefault((each.statement.stage or 1, each.statement.mating_material or ""), []).append(each)
    found = [_only(plan, mine[key]) for key in sorted(mine)]
    return [each for each in found if each is not None]


def _only(plan: Plan, shown: Sequence[Applicable[S]]) -> Applicable[S] | None:
    """The one statement that answers, or None if there is none or if two disagree, which is a gap."""
    if len(shown) < 2:
        return shown[0] if shown else None
    if any(not agree(shown[0].statement, other.statement) for other in shown[1:]):
        ids = ", ".join(each.statement.id for each in shown)
        text = f"The sources disagree: {ids}. Read them before this step; the card uses neither."
        plan.miss("sources-disagree", shown[0].statement.id, "two different figures are not an instruction", text)
        return None
    return shown[0]


def _torque(plan: Plan, named: NamedEntities, step: Step, figures: StepFigures) -> str:
    position = step.fastener_position or ""
    fasteners = plan.at_position(position)
    texts: dict[str, str] = {}
    for fastener in fasteners:
        rows = torques_of(plan, fastener)
        figures.torques += rows
        shown = [torque_view(row, named) for row in rows]
        figures.torque += shown
        for row in rows:
            figures.cite(row.statement.id)
        texts[fastener.id] = _stages(shown)
        if BLANK in texts[fastener.id]:
            text = f"The catalogue does not give the torque for {fastener.id}: fill it in from the maker's manual."
            plan.miss("torque", fastener.id, "too loose, it leaks or comes off; too tight, it strips", text)
    if not fasteners:
        text = f"The catalogue lists no {position} for this fork: fill its torque in from the maker's manual."
        plan.miss("torque", position, "too loose, it leaks or comes off; too tight, it strips", text)
        return BLANK
    figures.torque.sort(key=lambda each: each.get("order", inf))
    figures.after += [*_in_turns(plan, named, fasteners), *_how(fasteners, figures.torque)]
    if len(set(texts.values())) == 1:
        return next(iter(texts.values()))
    return ", ".join(f"{texts[row.id]} ({row.side or row.id})" for row in fasteners)


def _stages(shown: Sequence[TorqueView]) -> str:
    """The torques of one fastener: stage by stage, each for every material of the mating part."""
    stages: dict[int, list[str]] = {}
    for each in shown:
        material = f" ({each['mating_material']})" if "mating_material" in each else ""
        stages.setdefault(each.get("stage", 1), []).append(f"{_figure(each)}{material}")
    return ", then ".join(" or ".join(texts) for texts in stages.values()) or BLANK


def _figure(each: TorqueView) -> str:
    """The torque, or the words in its place."""
    return each["torque"]["text"] if "torque" in each else each.get("instruction", BLANK)


def _in_turns(plan: Plan, named: NamedEntities, fasteners: Iterable[Fastener]) -> Iterator[str]:
    """The order in which a group of fasteners is tightened, whichever positions it has."""
    for group in dict.fromkeys(row.group for row in fasteners if row.group is not None):
        rows = [row for row in plan.found.torques if named.fasteners[row.statement.fastener].group == group]
        shown = [each for row in rows if "order" in (each := torque_view(row, named))]
        if shown:
            shown.sort(key=lambda each: each["order"])
            turns = [f"{_called(each)} {_figure(each)}" for each in shown]
            yield f"Tighten in this order: {', '.join(turns)}."


def _called(each: TorqueView) -> str:
    return each["fastener"].get("side", each["fastener"]["position"])


def _how(fasteners: Iterable[Fastener], torques: Iterable[TorqueView]) -> list[str]:
    """Details beyond the figure: the thread's preparation, the instruction, whether the fastener is replaced."""
    said: list[str] = []
    for each in torques:
        if "thread_prep" in each:
            said.append(f"Thread: {each['thread_prep']}.")
        if "instruction" in each and "torque" in each:
            words = each["instruction"]
            said.append(f"{words[:1].upper()}{words[1:]}.")
    if any(row.reuse == "replace" for row in fasteners):
        said.append("Fit new ones: these are single-use.")
    return list(dict.fromkeys(said))


def fill_of(plan: Plan, chamber: str | None) -> Applicable[Fill] | None:
    """The fill of a chamber."""
    return _only(plan, [each for each in plan.found.fills if each.statement.chamber == chamber])


def _volume(plan: Plan, named: NamedEntities, step: Step, figures: StepFigures) -> str:
    row = fill_of(plan, step.chamber)
    if row is None:
        text = f"The catalogue gives no oil for this place: {step.chamber}. Fill it in from the maker's manual."
        plan.miss("fill", step.chamber, "an empty chamber wears, an overfilled one locks the fork", text)
        return f"{BLANK} mL of {BLANK}"
    figures.fill_row, figures.fill = row, fill_view(row, named)
    figures.cite(row.statement.id)
    shown = figures.fill
    oil = fluid_view(row.statement.fluid, named)["name"] if row.statement.fluid is not None else BLANK
    if row.statement.fluid is None:
        text = f"The catalogue does not say which oil to use: {step.chamber}."
        plan.miss("fluid", row.statement.id, "the wrong oil swells seals or changes the damping", text)
    if "level" in shown:
        where = [shown["level_datum"]] if "level_datum" in shown else []
        state = [shown["level_state"]] if "level_state" in shown else []
        said = ", ".join([f"Level: {shown['level']['text']}", *(f"from the {datum}" for datum in where), *state])
        figures.after.append(f"{said}.")
    if "volume" not in shown:
        if "level" not in shown:
            text = f"The catalogue does not say how much oil to use: {step.chamber}."
            plan.miss("volume", row.statement.id, "too much oil locks the fork", text)
        return f"{BLANK} mL of {oil}" if "level" not in shown else f"{oil} to the level below"
    return f"{shown['volume']['text']} of {oil}"


def _grease(plan: Plan, named: NamedEntities, step: Step, figures: StepFigures, slot: str) -> str:
    row = _only(plan, [each for each in plan.found.greases if each.statement.place == step.place])
    if row is None:
        text = f"The catalogue does not say which grease to use on the {step.place}."
        plan.miss("grease", step.place, "dry seals stick and wear, the wrong grease swells them", text)
        return BLANK
    figures.cite(row.statement.id)
    if figures.grease is None:
        figures.grease_row, figures.grease = row, grease_view(row, named)
        if "amount" in figures.grease:
            figures.after.append(f"Amount: {figures.grease['amount']}.")
    shown = figures.grease
    if slot == "extent":
        if "extent" in shown:
            return shown["extent"]["text"]
        text = f"The catalogue does not say over what length to grease the {step.place}."
        plan.miss("extent", row.statement.id, "too much grease closes the port", text)
        return BLANK
    if row.statement.fluid is None:
        text = f"The catalogue does not say which grease the {step.place} takes."
        plan.miss("fluid", row.statement.id, "the wrong grease swells seals", text)
        return BLANK
    return fluid_view(row.statement.fluid, named)["name"]


def _count(plan: Plan, step: Step, figures: StepFigures) -> str:
    fit = plan.fit.statement
    if step.fastener_position == SPACER_CAP:
        if plan.spacers is not None:
            figures.cite(fit.id)
            return str(plan.spacers)
        text = "The number of volume spacers is neither given nor in the catalogue: write down how many were fitted."
        plan.miss("spacers", fit.id, "they determine how firm the end of the travel is", text)
        return BLANK
    if step.part_kind == TRAVEL_SPACER:
        if fit.travel_spacers is not None:
            figures.cite(fit.id)
            return str(fit.travel_spacers)
        text = f"The catalogue does not say how many travel spacers make {write_number(fit.travel_mm)} mm."
        plan.miss("travel-spacers", fit.id, "they set the travel", text)
        return BLANK
    row = _only(plan, uses_of(plan, step.part_kind))
    if row is not None and row.statement.count is not None:
        figures.cite(row.statement.id)
        return str(row.statement.count)
    text = f"The catalogue does not give the number needed: {step.part_kind or step.id}."
    plan.miss("count", step.part_kind or step.id, "you need it before you start", text)
    return BLANK
