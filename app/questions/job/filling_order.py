"""The order in which the chambers of a spring are filled, for the steps of a card. Pure."""

from collections.abc import Mapping, Sequence

from app.catalogue.tables import AirChamber, Spring, SpringChamber
from app.questions.job.conditions import KeptStep
from app.questions.setup.inputs import valves_of

FILLS: Mapping[str, AirChamber] = {
    "{filling}": "positive", "{extra}": "second positive", "{second}": "negative",
}  # fmt: skip
"""The chamber that a step fills, by the placeholder of its pressure."""


def filling_order(spring: Spring | None, chambers: Sequence[SpringChamber]) -> list[AirChamber]:
    """The chambers with their own valve in the order of filling; empty for only one, or if one has no place in it."""
    if spring is None or len(valves := valves_of(spring, chambers)) < 2:
        return []
    places = {each.chamber: each.order for each in chambers if each.order is not None}
    return sorted(valves, key=lambda chamber: places[chamber]) if places.keys() >= set(valves) else []


def in_filling_order(steps: Sequence[KeptStep], order: Sequence[AirChamber]) -> list[KeptStep]:
    """The steps, with those that fill the chambers in that order. They change places only if they follow each other:
    an order of work that does something between them keeps its own.
    """
    filled = {at: chamber for at, each in enumerate(steps) if (chamber := _filled(each)) is not None}
    if not filled or not set(filled.values()) <= set(order) or max(filled) - min(filled) >= len(filled):
        return list(steps)
    ordered = sorted(filled, key=lambda at: order.index(filled[at]))
    return [*steps[: min(filled)], *(steps[at] for at in ordered), *steps[max(filled) + 1 :]]


def _filled(each: KeptStep) -> AirChamber | None:
    return next((chamber for slot, chamber in FILLS.items() if slot in each.step.text), None)
