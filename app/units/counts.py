"""Clicks and turns with the end they are counted from: counts, not quantities. The end is never assumed."""

from decimal import Decimal
from typing import Literal, NotRequired

from typing_extensions import TypedDict

End = Literal["closed", "open"]
OTHER_END: dict[End, End] = {"closed": "open", "open": "closed"}
NOT_STATED = "counted from an unstated end"

_CountedFrom = TypedDict("_CountedFrom", {"from": NotRequired[Literal["closed", "open"]]})  # `from` is a keyword


class Clicks(_CountedFrom):
    """The setting of an adjuster: a `count`, or `min` and `max`, and the end it is counted `from` (absent if unknown).

    `total` is the number of clicks that the adjuster has, and `count_from_other_end` the same setting counted from the
    other end. Both are absent if the catalogue does not give the total. `text` says all of it.
    """

    count: NotRequired[int]
    min: NotRequired[int]
    max: NotRequired[int]
    total: NotRequired[int]
    count_from_other_end: NotRequired[int]
    text: str


_TurnedFrom = TypedDict("_TurnedFrom", {"from": Literal["minimum preload"]})


class Turns(_TurnedFrom):
    """The setting of a preload knob: turns in from minimum preload, as the column `preload_turns` defines it."""

    count: float
    text: str


def clicks_view(count: int, counted_from: End | None, total: int | None, *, unknown: str = NOT_STATED) -> Clicks:
    """A number of clicks with its datum; counted from both ends if the total is known and not exceeded.

    `unknown` is what `text` says if `counted_from` is None.
    """
    number = "1 click" if count == 1 else f"{count} clicks"
    shown: Clicks = {"count": count, "text": f"{number}, {unknown}"}
    if total is not None:
        shown["total"] = total
    if counted_from is None:
        return shown
    shown["from"] = counted_from
    shown["text"] = f"{number} from {counted_from}"
    if total is not None and count <= total:
        shown["count_from_other_end"] = total - count
        shown["text"] += f" ({total - count} from {OTHER_END[counted_from]})"
    return shown


def turns_view(count: Decimal) -> Turns:
    """The turns of a preload knob, which the catalogue counts in from minimum preload."""
    text = f"{count.normalize() + 0:f} {'turn' if count == 1 else 'turns'} in from minimum preload"
    return {"count": float(count), "from": "minimum preload", "text": text}
