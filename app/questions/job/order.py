"""Whether an order of work is safe: opened only without air, closed again, refilled. Pure.

A mistake in a source must not reach the bench: a procedure that breaks one of these invariants is refused, not shown.
The invariants are common practice of the trade, no source.
"""

from collections.abc import Iterator, Sequence

from app.catalogue.tables import Spring
from app.errors import Fault
from app.questions.job.conditions import KeptStep

LOOSENED = ("loosen", "back-off", "free", "remove")
NEGATIVE = "negative chamber"
VALVES = 2  # for a spring whose negative chamber has its own valve
OUTSIDE = (
    "axle", "brake caliper bolt", "adjuster knob screw", "upper crown bolt", "lower crown bolt", "stem bolt",
)  # fmt: skip
"""Positions that hold no pressure: they may be loosened before the air is out."""


def broken(steps: Sequence[KeptStep], spring: Spring | None) -> list[Fault]:
    """A fault `procedure-unsafe` for each invariant that the steps break."""
    found = [*_closed(steps), *_filled(steps)]
    if spring is None or spring.kind == "air":
        found += _air_first(steps)
    if spring is not None and spring.negative == "own valve":
        found += _both_valves(steps)
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


def _both_valves(steps: Sequence[KeptStep]) -> Iterator[str]:
    """A spring with two valves is emptied at each: two steps that let air out, before anything is opened."""
    emptied = [each for each in steps if each.step.action == "empty" and each.step.chamber in (None, NEGATIVE)]
    if len(emptied) < VALVES:
        yield "the spring has two valves and only one of them is emptied" if emptied else "no valve is emptied"


def _what(each: KeptStep) -> str:
    return each.step.fastener_position or each.step.part_kind or each.step.id
