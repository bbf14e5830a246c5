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
from app.questions.job.plan import Plan, serials_of
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
    fill_rows: list[Applicable[Fill]] = field(default_factory=list)
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
    template = _of_spacers(plan, step, figures) or _without_oil(plan, named, step, figures) or step.text
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
    return [row for key in sorted(mine) for row in _answering(plan, mine[key])]


def _answering(plan: Plan, shown: Sequence[Applicable[S]]) -> list[Applicable[S]]:
    """The one statement that answers; if the serial cannot be read, all that differ by it, the widest first.

    None if two disagree, which is a gap.
    """
    if len(shown) < 2 or all(agree(shown[0].statement, other.statement) for other in shown[1:]):
        return list(shown[:1])
    if plan.serial_unread and _differ_by_serial(shown):
        return sorted(shown, key=lambda each: (each.scope.serials is not None, each.scope.serials))
    ids = ", ".join(each.statement.id for each in shown)
    text = f"The sources disagree: {ids}. Read them before this step; the card uses neither."
    plan.miss("sources-disagree", shown[0].statement.id, "two different figures are not an instruction", text)
    return []


def _differ_by_serial(shown: Sequence[Applicable[S]]) -> bool:
    """Whether nothing but the serial is open, and each of the statements has serials of its own."""
    ranges = {each.scope.serials for each in shown}
    return len(ranges) == len(shown) and all(set(each.open_in) <= {"serial"} for each in shown)


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
        texts[fastener.id] = _by_stage(rows, shown) or BLANK
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


def _by_stage(rows: Sequence[Applicable[Torque]], shown: Sequence[TorqueView]) -> str:
    """The torques of one fastener: stage by stage, each for every material of the mating part; those of one stage and
    material that differ by serial number, each with its range.
    """
    stages: dict[int, dict[str, list[tuple[Applicable[Torque], str]]]] = {}
    for row, each in zip(rows, shown, strict=True):
        material = f" ({each['mating_material']})" if "mating_material" in each else ""
        of_stage = stages.setdefault(row.statement.stage or 1, {})
        of_stage.setdefault(material, []).append((row, f"{_figure(each)}{material}"))
    return ", then ".join(
        " or ".join(_each_with_serials(*zip(*several, strict=True)) for several in of_stage.values())
        for of_stage in stages.values()
    )


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


CONDITIONS = (None, "refill", "as built", "new foam rings")
"""The conditions of a fill, in the order in which a job needs it: a fork in the workshop is refilled."""


def fills_of(plan: Plan, chamber: str | None) -> list[list[Applicable[Fill]]]:
    """The fills of a chamber by condition; the first are for the step. Several of one condition differ by serial."""
    mine = [each for each in plan.found.fills if each.statement.chamber == chamber]
    found = [_answering(plan, [each for each in mine if each.statement.condition == name]) for name in CONDITIONS]
    return [rows for rows in found if rows]


def _without_oil(plan: Plan, named: NamedEntities, step: Step, figures: StepFigures) -> str | None:
    """The instruction of a step that fills a chamber without oil; None for any other step."""
    fills = fills_of(plan, step.chamber) if "{volume}" in step.text else []
    if not fills or any(row.statement.amount not in ("none", "greased") for row in fills[0]):
        return None
    rows = fills[0]
    figures.fill_rows, figures.fill = rows, fill_view(rows[0], named)
    return _each_with_serials(rows, [_dry(plan, named, figures, row) for row in rows])


def _dry(plan: Plan, named: NamedEntities, figures: StepFigures, row: Applicable[Fill]) -> str:
    fill = row.statement
    figures.cite(fill.id)
    if fill.amount == "none":
        return f"No oil goes into this place: {fill.chamber}."
    if fill.fluid is None:
        text = f"The catalogue does not say which grease to use: {fill.chamber}."
        plan.miss("fluid", fill.id, "the wrong grease swells seals", text)
    return f"Grease this place, without oil: {fill.chamber}. {_amount_of(fill_view(row, named))}."


def _each_with_serials(rows: Sequence[Applicable[S]], texts: Sequence[str]) -> str:
    """The one text; of several that differ by serial number, each with its range."""
    if len(texts) == 1:
        return texts[0]
    return " or ".join(f"{text} ({serials_of(row.scope)})" for row, text in zip(rows, texts, strict=True))


def _amount_of(shown: FillView) -> str:
    """`10 mL of Bath oil`, `15 g of Grease`, `Bath oil to the level below`, with a blank for what is missing."""
    fluid = shown["fluid"]["name"] if "fluid" in shown else BLANK
    if "volume" in shown or "mass" in shown:
        amounts = [shown[name]["text"] for name in ("volume", "mass") if name in shown]
        return f"{' or '.join(amounts)} of {fluid}"
    if shown.get("amount") == "greased":
        return f"Grease: {fluid}"
    return f"{fluid} to the level below" if "level" in shown else f"{BLANK} mL of {fluid}"


def _volume(plan: Plan, named: NamedEntities, step: Step, figures: StepFigures) -> str:
    fills = fills_of(plan, step.chamber)
    if not fills:
        text = f"The catalogue gives no oil for this place: {step.chamber}. Fill it in from the maker's manual."
        plan.miss("fill", step.chamber, "an empty chamber wears, an overfilled one locks the fork", text)
        return f"{BLANK} mL of {BLANK}"
    rows = fills[0]
    figures.fill_rows, figures.fill = [row for each in fills for row in each], fill_view(rows[0], named)
    for each in figures.fill_rows:
        figures.cite(each.statement.id)
    texts = [_of_fill(plan, named, step, figures, row) for row in rows]
    for others in fills[1:]:
        figures.after.append(_each_with_serials(others, [_otherwise(fill_view(other, named)) for other in others]))
    return _each_with_serials(rows, texts)


def _of_fill(plan: Plan, named: NamedEntities, step: Step, figures: StepFigures, row: Applicable[Fill]) -> str:
    shown = fill_view(row, named)
    if row.statement.fluid is None:
        text = f"The catalogue does not say which oil to use: {step.chamber}."
        plan.miss("fluid", row.statement.id, "the wrong oil swells seals or changes the damping", text)
    if "level" in shown:
        where = [shown["level_datum"]] if "level_datum" in shown else []
        state = [shown["level_state"]] if "level_state" in shown else []
        said = ", ".join([f"Level: {shown['level']['text']}", *(f"from the {datum}" for datum in where), *state])
        figures.after.append(f"{said}.")
    if "level_limit" in shown:
        figures.after.append(f"Hard limit of the level: {shown['level_limit']['text']}.")
    if not shown.keys() & {"volume", "mass", "level"}:
        text = f"The catalogue does not say how much oil to use: {step.chamber}."
        plan.miss("volume", row.statement.id, "too much oil locks the fork", text)
    of = f" ({shown['condition']})" if "condition" in shown else ""
    return f"{_amount_of(shown)}{of}"


def _otherwise(shown: FillView) -> str:
    """The fill under another condition: `With new foam rings: 5 mL of Bath oil.`"""
    condition = shown.get("condition", "")
    words = "with new foam rings" if condition == "new foam rings" else condition
    amount = "no oil" if shown.get("amount") == "none" else _amount_of(shown)
    level = f", level {shown['level']['text']}" if "level" in shown else ""
    return f"{words[:1].upper()}{words[1:]}: {amount}{level}."


def _grease(plan: Plan, named: NamedEntities, step: Step, figures: StepFigures, slot: str) -> str:
    rows = _answering(plan, [each for each in plan.found.greases if each.statement.place == step.place])
    if not rows:
        text = f"The catalogue does not say which grease to use on the {step.place}."
        plan.miss("grease", step.place, "dry seals stick and wear, the wrong grease swells them", text)
        return BLANK
    if figures.grease is None:
        figures.grease_row, figures.grease = rows[0], grease_view(rows[0], named)
        if "amount" in figures.grease:
            figures.after.append(f"Amount: {figures.grease['amount']}.")
    return _each_with_serials(rows, [_of_grease(plan, named, step, figures, slot, row) for row in rows])


def _of_grease(
    plan: Plan, named: NamedEntities, step: Step, figures: StepFigures, slot: str, row: Applicable[Grease]
) -> str:
    figures.cite(row.statement.id)
    shown = grease_view(row, named)
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
    rows = [row for row in _answering(plan, uses_of(plan, step.part_kind)) if row.statement.count is not None]
    for row in rows:
        figures.cite(row.statement.id)
    if rows:
        return _each_with_serials(rows, [str(row.statement.count) for row in rows])
    text = f"The catalogue does not give the number needed: {step.part_kind or step.id}."
    plan.miss("count", step.part_kind or step.id, "you need it before you start", text)
    return BLANK
