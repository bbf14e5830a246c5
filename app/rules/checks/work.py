"""Orders of work, judged when they are entered, so that no job card has to be refused at the bench."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from itertools import islice, product

from app.catalogue.tables import Procedure, Step, is_row_of
from app.rules.registry import Violation, edit, rule
from app.rules.view import EntityView

OPENING = ("loosen", "back-off", "free", "remove")
OUTSIDE = (
    "axle", "brake caliper bolt", "adjuster knob screw", "upper crown bolt", "lower crown bolt", "stem bolt",
)  # fmt: skip
"""Positions that hold no pressure: they may be removed before the air is out."""
NEGATIVE = "negative chamber"
MOST = 5000  # constructions judged for one fastener or chamber: all, unless conditions name dozens of values
AIR, OTHER, NOT_STATED = "air", "another", "not stated"
VALVED = ("negative", "second_positive")
"""The chambers that may have their own valve, besides the positive one, as conditions name them."""
OWN_VALVE = "own valve"
Construction = Mapping[str, str]
UnsafeWork = tuple[str, str, Construction]
"""A sentence, the id of the step it is about, and the construction of a fork for which it holds."""


def unsafe(steps: Sequence[Step]) -> Iterator[UnsafeWork]:
    """Yield each fault in the steps of an order of work, given in order, with a fork that shows it.

    Nothing may be opened before the air is out. A spring with several valves is emptied at each. Every loosened
    fastener is tightened once and every emptied chamber is filled again. Common practice of the trade, no source. Each
    of these is judged for every construction that its own steps distinguish: a property that is not stated keeps a
    step, as on a job card.
    """
    yield from _judged([step for step in steps if _lets_air_out(step) or _opens(step)], _air_first)
    yield from _judged([step for step in steps if _lets_air_out(step) or _opens(step) or _at_valve(step)], _every_valve)
    positions, chambers = (dict.fromkeys(step[name] for step in steps) for name in ("fastener_position", "chamber"))
    for position in positions:
        if position is not None:
            yield from _judged([step for step in steps if step.fastener_position == position], _closed)
    for chamber in chambers:
        if chamber is not None:
            yield from _judged([step for step in steps if step.chamber == chamber], _filled)


WorkInvariant = Callable[[Sequence[Step], Construction], Iterator[tuple[str, str]]]


def _judged(steps: Sequence[Step], judge: WorkInvariant) -> Iterator[UnsafeWork]:
    """The faults that a judge finds in the steps, each once, with the first construction that shows it."""
    conditions = [(step, _read(step)) for step in steps]
    found: dict[str, UnsafeWork] = {}
    for construction in _constructions(conditions):
        taken = [step for step, read in conditions if all(construction[name] in values for name, values in read)]
        for text, step in judge(taken, construction):
            found.setdefault(text, (text, step, construction))
    yield from found.values()


StepConditions = Sequence[tuple[str, frozenset[str]]]
"""The conditions of a step: each a property and its allowed values."""


def _constructions(steps: Sequence[tuple[Step, StepConditions]]) -> Iterator[Construction]:
    """Every combination of the properties that the steps depend on: each named value, another one, and not stated.

    The kind of the spring is always stated: its column is required.
    """
    named: dict[str, set[str]] = {"spring_kind": {AIR, "coil"}}
    for _, conditions in steps:
        for name, values in conditions:
            named.setdefault(name, {OTHER, NOT_STATED}).update(values - {NOT_STATED})
    names = sorted(named)
    for chosen in islice(product(*(sorted(named[name]) for name in names)), MOST):
        yield dict(zip(names, chosen, strict=True))


def _read(step: Step) -> StepConditions:
    parted = (condition.partition("=") for condition in step.when or ())
    return [(name, frozenset({*map(str.strip, values.split("|")), NOT_STATED})) for name, _, values in parted]


def _lets_air_out(step: Step) -> bool:
    return step.action == "empty" and step.chamber in (None, NEGATIVE)


def _opens(step: Step) -> bool:
    holds = step.fastener_position is not None and step.fastener_position not in OUTSIDE
    return step.action in OPENING and (holds or step.part_kind == "retaining ring")


def _at_valve(step: Step) -> bool:
    return any(name in VALVED for name, _ in _read(step))


def _air_first(steps: Sequence[Step], fork: Construction) -> Iterator[tuple[str, str]]:
    opened = [index for index, step in enumerate(steps) if _opens(step)]
    emptied = [index for index, step in enumerate(steps) if _lets_air_out(step)]
    if fork["spring_kind"] == AIR and opened and (not emptied or max(emptied) > min(opened)):
        first = steps[min(opened)]
        yield f"{first.fastener_position or first.part_kind} is opened before the air is out", first.id


def _every_valve(steps: Sequence[Step], fork: Construction) -> Iterator[tuple[str, str]]:
    """Only for conditions that name a valve: an order of work for springs without one need not mention it."""
    valves = 1 + sum(fork.get(name) == OWN_VALVE for name in VALVED)
    opened = next((step for step in steps if _opens(step)), None)
    emptied = sum(_lets_air_out(step) for step in steps)
    if fork["spring_kind"] == AIR and opened is not None and 0 < emptied < valves:
        done = "1 of them is" if emptied == 1 else f"{emptied} of them are"
        yield f"the spring has {valves} valves and only {done} emptied", opened.id


def _closed(steps: Sequence[Step], fork: Construction) -> Iterator[tuple[str, str]]:
    last = max((index for index, step in enumerate(steps) if step.action in OPENING), default=None)
    if last is None:
        return
    times = sum(step.action == "tighten" for step in steps[last + 1 :])
    if times != 1:
        yield f"{steps[last].fastener_position} is loosened and then tightened {times} times", steps[last].id


def _filled(steps: Sequence[Step], fork: Construction) -> Iterator[tuple[str, str]]:
    for index, step in enumerate(steps):
        if step.action == "empty" and not any(later.action == "fill" for later in steps[index:]):
            yield f"the {step.chamber} is emptied and not filled again", step.id


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

    It is checked for every construction that its conditions distinguish, and for forks of which the catalogue does not
    state one. Its job card would be refused at the bench.

    Fix: put the steps in order, add the missing step, or correct the condition of the step that is left out.
    """
    steps = sorted((row for row in view.referrers if is_row_of(row, Step)), key=lambda each: (each.order, each.id))
    for text, step, construction in unsafe(steps):
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
