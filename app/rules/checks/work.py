"""Orders of work, judged when they are entered, so that no job card has to be refused at the bench."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from itertools import product

from app.catalogue.tables import Procedure, Step, is_row_of
from app.rules.registry import Violation, edit, rule
from app.rules.view import EntityView

OPENING = ("loosen", "back-off", "free", "remove")
OUTSIDE = (
    "axle", "brake caliper bolt", "adjuster knob screw", "upper crown bolt", "lower crown bolt", "stem bolt",
)  # fmt: skip
"""Positions that hold no pressure: they may be removed before the air is out."""
AIR, OTHER = "air", "another"
MOST = 2000  # constructions judged for one order of work
Construction = Mapping[str, str]


def _constructions(steps: Sequence[Step]) -> Iterator[Construction]:
    """Every combination of the properties that the steps depend on, with each named value and one other value."""
    named: dict[str, set[str]] = defaultdict(set)
    named["spring_kind"] |= {AIR, "coil"}
    for step in steps:
        for condition in step.when or ():
            name, _, values = condition.partition("=")
            named[name] |= {value.strip() for value in values.split("|")}
    names = sorted(named)
    choices = [sorted(named[name] | ({OTHER} if name != "spring_kind" else set())) for name in names]
    for number, chosen in enumerate(product(*choices)):
        if number >= MOST:
            return
        yield dict(zip(names, chosen, strict=True))


def _read(step: Step) -> tuple[tuple[str, frozenset[str]], ...]:
    """The conditions of a step: each a property and its allowed values."""
    parted = (condition.partition("=") for condition in step.when or ())
    return tuple((name, frozenset(value.strip() for value in values.split("|"))) for name, _, values in parted)


def _taken(steps: Sequence[Step]) -> Iterator[tuple[list[Step], Construction]]:
    """The steps for a fork, in order, with its construction; once for all constructions with the same steps."""
    read = [(step, conditions) for step in steps if (conditions := _read(step))]
    always = [step for step in steps if not step.when]
    seen: set[tuple[object, ...]] = set()
    for construction in _constructions(steps):
        own = [
            step for step, conditions in read if all(construction.get(name) in values for name, values in conditions)
        ]
        key = (construction["spring_kind"], *(step.id for step in own))
        if key not in seen:
            seen.add(key)
            yield sorted([*always, *own], key=lambda each: (each.order, each.id)), construction


def unsafe(steps: Sequence[Step], air: bool) -> Iterator[tuple[str, str]]:
    """Yield each fault in the steps for one fork: a sentence, and the id of the step it is about.

    Nothing may be opened before the air is out. Every loosened fastener is tightened once and every emptied chamber is
    filled again. Common practice of the trade, no source.
    """
    if air:
        yield from _air_first(steps)
    yield from _closed(steps)
    for index, step in enumerate(steps):
        if step.action == "empty" and step.chamber is not None:
            later = [each for each in steps[index:] if each.action == "fill" and each.chamber == step.chamber]
            if not later:
                yield f"the {step.chamber} is emptied and not filled again", step.id


def _air_first(steps: Sequence[Step]) -> Iterator[tuple[str, str]]:
    opened = [index for index, step in enumerate(steps) if _opens(step)]
    emptied = [index for index, step in enumerate(steps) if step.action == "empty" and step.chamber is None]
    if opened and (not emptied or max(emptied) > min(opened)):
        first = steps[min(opened)]
        yield f"{first.fastener_position or first.part_kind} is opened before the air is out", first.id


def _opens(step: Step) -> bool:
    holds = step.fastener_position is not None and step.fastener_position not in OUTSIDE
    return step.action in OPENING and (holds or step.part_kind == "retaining ring")


def _closed(steps: Sequence[Step]) -> Iterator[tuple[str, str]]:
    done: dict[str, list[Step]] = defaultdict(list)
    for step in steps:
        if step.fastener_position is not None:
            done[step.fastener_position].append(step)
    for position, turned in done.items():
        last = max((index for index, step in enumerate(turned) if step.action in OPENING), default=None)
        if last is None:
            continue
        times = sum(step.action == "tighten" for step in turned[last + 1 :])
        if times != 1:
            yield f"{position} is loosened and then tightened {times} times", turned[last].id


@rule(
    "work-unsafe",
    shape="entity",
    tables=(Procedure,),
    silenced_by=("condition-unreadable", "step-incomplete"),
    passes=edit("steps", "step-5", text="Tighten both foot bolts to {torque}."),
    fails=edit("steps", "step-4", chamber="damper-side lower leg"),
)
def work_unsafe(view: EntityView, today: date) -> Iterator[Violation]:
    """An order of work opens a fork under pressure, leaves a fastener loose, or leaves a chamber empty.

    It is checked for every construction that its conditions distinguish. Its job card would be refused at the bench.

    Fix: put the steps in order, add the missing step, or correct the condition of the step that is left out.
    """
    steps = sorted((row for row in view.referrers if is_row_of(row, Step)), key=lambda each: (each.order, each.id))
    told: dict[str, tuple[str, Construction]] = {}
    for taken, construction in _taken(steps):
        for text, step in unsafe(taken, construction["spring_kind"] == AIR):
            told.setdefault(text, (step, construction))
    for text, (step, construction) in told.items():
        properties = ", ".join(f"{name} {value}" for name, value in construction.items())
        yield Violation(view.row, "id", f"{text} ({step}), for a fork with {properties}")


@rule(
    "step-order-twice",
    shape="entity",
    tables=(Procedure,),
    passes=edit("steps", "step-4", order="40"),
    fails=edit("steps", "step-3", order="4"),
)
def step_order_twice(view: EntityView, today: date) -> Iterator[Violation]:
    """Two steps of one order of work have the same place.

    Their ids would decide which of them comes first.

    Fix: give each step its own number.
    """
    first: dict[int, Step] = {}
    for step in view.referrers:
        if is_row_of(step, Step) and first.setdefault(step.order, step) is not step:
            yield Violation(view.row, "id", f"{first[step.order].id} and {step.id} are both step {step.order}")
