"""A work order as answers show it, and the finished job that follows from it."""

from typing import cast
from urllib.parse import urlencode

from app.bench.figures import figure_of, text_of
from app.bench.measurements import MEASURED, measurement_view, points, read
from app.bench.order_changes import parts_of
from app.bench.phases import NAMES, WorkPhase, phases
from app.bench.work_order_shapes import OrderPart, OrderProgress, OrderSummary, OrderView, PhaseView
from app.bench.work_orders import HeldOrder
from app.json_types import JsonObject


def order_summary(order: HeldOrder) -> OrderSummary:
    """A work order as the list shows it."""
    shown: JsonObject = {
        **order.fields, "id": order.id, "chassis": order.chassis, "job": order.job, "revision": order.revision,
        "steps_total": order.steps, "steps_done": len(order.progress["ticks"]), "opened_at": order.opened_at,
        "changed_at": order.changed_at,
    }  # fmt: skip
    if order.fork is not None:
        shown["fork"] = order.fork
    if order.service is not None:
        shown["service"] = order.service
    return cast(OrderSummary, shown)


def order_view(order: HeldOrder) -> OrderView:
    """A work order with everything to tick, measure and decide."""
    ticked = {int(step) for step in order.progress["ticks"]}
    entered = order.progress["measurements"]
    shown: JsonObject = {
        **order_summary(order), "job_card": card_address(order), "version": order.version,
        "phases": [_phase(phase, ticked) for phase in phases(order.card["steps"])],
        "ticks": sorted(ticked),
        "measurements": [measurement_view(point, entered.get(point.id)) for point in points(order.card)],
        "parts": [_part(part, order.progress) for part in parts_of(order.card)],
    }  # fmt: skip
    return cast(OrderView, shown)


def card_address(order: HeldOrder, pinned: bool = True) -> str:
    """The address of the order's job card, at the revision of the order or at the latest."""
    revision = {"revision": order.revision} if pinned else {}
    return f"/v1/chassis/{order.chassis}/job-card?{urlencode({**order.asked, **revision}, doseq=True)}"


def finished_job(order: HeldOrder) -> JsonObject:
    """The finished job that an order describes, as the body of a request: what its card changes in the fork, the parts
    replaced, and the final measurements that can be read as such.
    """
    fate = order.progress["parts"]
    replaced = [part for part in parts_of(order.card) if fate.get(part["id"]) == "replaced"]
    return {
        "job": order.job, "revision": order.revision, "job_card": card_address(order), "fitted": _fitted(order.card),
        "measured": _measured(order),
        "parts": [{"part": part["id"], **({"count": part["count"]} if "count" in part else {})} for part in replaced],
    }  # fmt: skip


def _fitted(card: JsonObject) -> JsonObject:
    """The parts of the configuration that a change of travel or of spacers sets; a service sets none."""
    found: JsonObject = {}
    if card["job"] == "travel-change":
        found = {"travel": card["fit"]["travel"]["text"], "spring": card["fit"]["spring"]["id"]}
    if card["job"] in ("travel-change", "spacer-change") and "spacers" in card["settings"]:
        found["spacers"] = card["settings"]["spacers"]
    return found


def _measured(order: HeldOrder) -> JsonObject:
    last = set(phases(order.card["steps"])[-1].steps)
    found: JsonObject = {}
    for point in points(order.card):
        name, text = MEASURED.get(point.what), order.progress["measurements"].get(point.id)
        if name is None or text is None or (point.step is not None and point.step not in last):
            continue
        if (measure := read(point, text)) is not None:
            found[name] = text_of(figure_of(measure))
    return found


def _phase(phase: WorkPhase, ticked: set[int]) -> PhaseView:
    done = len(ticked.intersection(phase.steps))
    return {"id": phase.id, "name": NAMES[phase.id], "steps": phase.steps, "done": done}


def _part(part: OrderPart, progress: OrderProgress) -> OrderPart:
    fate = progress["parts"].get(part["id"])
    return part if fate is None else {**part, "fate": fate}
