"""Whether an order of work is safe: opened only without air, closed again, refilled. Pure.

A mistake in a source must not reach the bench: a procedure that breaks one of these invariants is refused, not shown.
The invariants are common practice of the trade, no source.
"""

from collections.abc import Iterator, Sequence

from app.catalogue.tables import Spring
from app.errors import Fault
from app.questions.job.conditions import KeptStep, Properties

LOOSENED = ("loosen", "back-off", "free", "remove")
NEGATIVE = "negative chamber"
VALVED = ("negative", "second_positive")
"""The properties that say whether a chamber besides the positive one has its own valve."""
OWN_VALVE = "own valve"
OUTSIDE = (
    "axle", "brake caliper bolt", "adjuster knob screw", "upper crown bolt", "lower crown bolt", "stem bolt",
)  # fmt: skip
"""Positions that hold no pressure: they may be loosened before the air is out."""
_NUMBERS = {2: "two", 3: "three"}


def broken(steps: Sequence[KeptStep], spring: Spring | None, having: Properties) -> list[Fault]:
    """A fault `procedure-unsafe` for each invariant that the steps break, on a fork with these properties."""
    found = [*_closed(steps), *_filled(steps)]
    if spring is None or spring.kind == "air":
        found += _air_first(steps)
    found += _every_valve(steps, 1 + sum(having[name] == {OWN_VALVE} for name in VALVED))
    return [Fault("procedure-unsafe", f"The order of work in the catalogue is not safe: {text}.") for text in found]


def _closed(steps: Sequence[KeptStep]) -> Iterator[str]:
    """After the last loosening of a position there must be exactly one tightening; a position that is only
    tightened is checked.
    """
    actions: dict[str, list[str]] = {}
    for each in steps:
        if each.step.fastener_position is not None:
            actions.setdefault(each.step.fastener_position, []).append(each.step.action)
    for position, done in actions.items():
        last = max((index for index, action in enumerate(done) if action in LOOSENED), default=None)
        if last is not None and done[last + 1 :].count("tighten") != 1:
            yield f"{position} is loosened and then tightened {done[last + 1 :].count('tighten')} times"


def _filled(steps: Sequence[KeptStep]) -> Iterator[str]:
    for index, each in enumerate(steps):
        chamber = each.step.chamber
        if each.step.action == "empty" and chamber is not None:
            later = [one for one in steps[index:] if one.step.action == "fill" and one.step.chamber == chamber]
            if not later:
                yield f"the {chamber} is emptied and not refilled"


def _air_first(steps: Sequence[KeptStep]) -> Iterator[str]:
    opened = [
        index
        for index, each in enumerate(steps)
        if each.step.action in LOOSENED
        and (each.step.fastener_position not in (None, *OUTSIDE) or each.step.part_kind == "retaining ring")
    ]
    emptied = [
        index
        for index, each in enumerate(steps)
        if each.step.action == "empty" and each.step.chamber in (None, NEGATIVE)
    ]
    if opened and (not emptied or max(emptied) > min(opened)):
        yield f"{_what(steps[min(opened)])} is opened before the air is out"


def _every_valve(steps: Sequence[KeptStep], valves: int) -> Iterator[str]:
    """A spring with several valves is emptied at each, before anything is opened. A step for a chamber of which it
    is unknown whether it has a valve does not count.
    """
    emptied = [
        each
        for each in steps
        if each.step.action == "empty" and each.step.chamber in (None, NEGATIVE) and not set(VALVED) & set(each.open)
    ]
    if valves > 1 and len(emptied) < valves:
        done = "one of them is" if len(emptied) == 1 else f"{_NUMBERS[len(emptied)]} of them are"
        yield f"the spring has {_NUMBERS[valves]} valves and only {done} emptied" if emptied else "no valve is emptied"


def _what(each: KeptStep) -> str:
    return each.step.fastener_position or each.step.part_kind or each.step.id
