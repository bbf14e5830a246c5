"""The measurements of a work order, and whether an entry is within its limit.

A measurement has the id `15-2` (the second of step 15) or `check-3` (the third final check of the card). Limits are
those of the card's checks with the same subject, and the maximum fill pressure for the pressure that is filled. A value
equal to the limit is inside.
"""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import NamedTuple

from app.bench.figures import KINDS, USUAL
from app.bench.work_order_shapes import LimitVerdict, OrderMeasurement
from app.errors import Invalid
from app.json_types import JsonObject
from app.units.measure import Measure, parse_measure
from app.units.quantity import Quantity, quantity
from app.units.table import find

LATER = "torque again"  # after the first ride, when the order is closed
MEASURED = {
    "start pressure filled": "pressure", "start pressure filled, main chamber": "pressure",
    "start pressure filled, second chamber": "second_pressure", "final pressure or preload": "pressure",
    "sag, mean of six": "sag", "exposed stanchion": "exposed_stanchion", "axle-to-crown": "axle_to_crown",
}  # fmt: skip
"""Names of the final measurements in a finished job; a later one replaces an earlier one."""
_FILLED = ("start pressure filled", "final pressure")


class MeasuringPoint(NamedTuple):
    """Something to measure, with the limit and the figure that the card gives for it."""

    id: str
    step: int | None
    what: str
    listed: Quantity | None = None
    limit: Quantity | None = None
    action: str | None = None


def points(card: JsonObject) -> list[MeasuringPoint]:
    """Everything to measure, in order of work. A check that a step already asks for is not asked twice."""
    of_steps = [
        _with_limit(card, MeasuringPoint(f"{step['number']}-{number}", step["number"], what))
        for step in card["steps"]
        for number, what in enumerate(step["measures"], 1)
    ]
    return [*of_steps, *_final(card["checks"], [point.what for point in of_steps])]


def _final(checks: Sequence[JsonObject], asked: Sequence[str]) -> Iterator[MeasuringPoint]:
    for number, check in enumerate(checks, 1):
        if check["what"] != LATER and not any(_is_of(what, check["what"]) for what in asked):
            limit = check.get("limit", {})
            yield MeasuringPoint(
                f"check-{number}", None, check["what"], check.get("value"), limit.get("limit"), limit.get("action")
            )


def _with_limit(card: JsonObject, point: MeasuringPoint) -> MeasuringPoint:
    for check in card["checks"]:
        if _is_of(point.what, check["what"]):
            limit = check.get("limit", {})
            return point._replace(
                listed=check.get("value"), limit=limit.get("limit"), action=limit.get("action")
            )  # fmt: skip
    pressures: list[Quantity] = [each["limit"] for each in card["settings"]["limits"]["pressure"]]
    if pressures and point.what.startswith(_FILLED) and "second" not in point.what:
        return point._replace(limit=min(pressures, key=lambda limit: limit["max"]))
    return point


def _is_of(what: str, subject: str) -> bool:
    return what == subject or what.startswith(f"{subject},")


def read(point: MeasuringPoint, written: str) -> Measure | None:
    """The measure that was written; None if the point is in words, or may be and is.

    A number without a unit is in the unit of the limit, else in psi or mm. Raises Invalid if there is a limit and the
    entry cannot be compared with it.
    """
    name = MEASURED.get(point.what)
    if point.limit is not None:
        usual = point.limit["unit"]
        return parse_measure(written, kind=find(usual)[0].kind, usual=usual, parameter=point.what)
    if name is None:
        return None
    try:
        return parse_measure(written, kind=KINDS[name], usual=USUAL[KINDS[name]], parameter=point.what)
    except Invalid:
        return None  # such as the preload turns of a coil spring, or "as before"


def refuse_unread(point: MeasuringPoint, written: str) -> None:
    """Raises Invalid if an entry with a limit cannot be compared with it."""
    try:
        read(point, written)
    except Invalid as refusal:
        assert point.limit is not None, "only a limit makes an entry unreadable"
        limit, name = point.limit, f"{point.what[:1].upper()}{point.what[1:]}"
        figure = next(limit[end] for end in ("value", "target", "max", "min") if end in limit)
        text = f"{name}: write one number, such as {figure:g}, with its unit if it is not {limit['unit']}."
        text += f" The limit is {limit['text']}."
        raise Invalid.one(refusal.faults[0].code, text) from None


def verdict(limit: Quantity, value: Decimal) -> LimitVerdict:
    """Whether a value in the unit of the limit is inside it."""
    low, high = (Decimal(str(limit.get(name, value))) for name in ("min", "max"))
    return "inside" if low <= value <= high else "outside"


def measurement_view(point: MeasuringPoint, written: str | None) -> OrderMeasurement:
    """A measurement as answers show it."""
    shown: OrderMeasurement = {"id": point.id, "what": point.what}
    if point.step is not None:
        shown["step"] = point.step
    if point.listed is not None:
        shown["listed"] = point.listed
    if point.limit is not None:
        shown["limit"] = point.limit
    if point.action is not None:
        shown["action"] = point.action
    if written is None:
        return shown
    shown["written"] = written
    if (measure := read(point, written)) is not None:
        shown["value"] = quantity(measure.kind, measure.given_value, measure.given_unit, basis="measured")
        if point.limit is not None:
            shown["verdict"] = verdict(point.limit, measure.value)
    return shown
