"""Changes of a work order: what the card has to tick, measure and decide, and how changes are merged. Pure."""

from collections.abc import Collection, Iterator, Mapping
from typing import NamedTuple

from app.access.keys import now
from app.bench.measurements import points, refuse_unread
from app.bench.work_order_shapes import OrderPart, OrderProgress, PartFate
from app.errors import Fault, Invalid
from app.json_types import JsonObject


class OrderChange(NamedTuple):
    """Changes of a work order. False and None remove an entry; entries that are not named stay."""

    ticks: Mapping[str, bool]
    measurements: Mapping[str, str | None]
    parts: Mapping[str, PartFate | None]
    fields: Mapping[str, str | None]


def merged(before: OrderProgress, wanted: OrderChange) -> OrderProgress:
    """The progress with each named entry changed and every other one as it was."""
    at = now()
    ticks = {step: moment for step, moment in before["ticks"].items() if wanted.ticks.get(step, True)}
    ticks |= {step: at for step, done in wanted.ticks.items() if done and step not in ticks}
    measurements = {**before["measurements"], **wanted.measurements}
    parts = {**before["parts"], **wanted.parts}
    return {
        "ticks": ticks,
        "measurements": {id: text for id, text in measurements.items() if text is not None},
        "parts": {id: fate for id, fate in parts.items() if fate is not None},
    }


def parts_of(card: JsonObject) -> list[OrderPart]:
    """The parts of a card, each once, with the first step that names it."""
    first: dict[str, int] = {}
    for step in card["steps"]:
        for part in step["parts"]:
            first.setdefault(part["id"], step["number"])
    found: dict[str, OrderPart] = {}
    for part in card["parts"]:
        shown: OrderPart = {"id": part["id"], "name": part["name"], "when": part["when"]}
        if "part_number" in part:
            shown["part_number"] = part["part_number"]
        if "count" in part:
            shown["count"] = part["count"]
        if part["id"] in first:
            shown["step"] = first[part["id"]]
        found.setdefault(part["id"], shown)
    return list(found.values())


def refuse_wrong(card: JsonObject, wanted: OrderChange) -> None:
    """Raises Invalid with a fault for each entry that the card does not have or whose measurement cannot be read."""
    at = {point.id: point for point in points(card)}
    faults = [
        *_unknown("ticks", wanted.ticks, [str(step["number"]) for step in card["steps"]]),
        *_unknown("measurements", wanted.measurements, at),
        *_unknown("parts", wanted.parts, [part["id"] for part in parts_of(card)]),
    ]
    for id, written in wanted.measurements.items():
        if id in at and written is not None:
            try:
                refuse_unread(at[id], written)
            except Invalid as refusal:
                faults += [Fault(each.code, each.text, pointer=f"/measurements/{id}") for each in refusal.faults]
    if faults:
        raise Invalid(faults[0].text, faults)


def _unknown(member: str, named: Collection[str], known: Collection[str]) -> Iterator[Fault]:
    for name in named:
        if name not in known:
            text = f"The card of this order has no {name} in {member}: GET the order to see what it has."
            yield Fault("not-in-the-order", text, pointer=f"/{member}/{name}")
