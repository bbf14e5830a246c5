"""Clicks and turns with the end they are counted from: counts, not quantities. The end is never assumed."""

from decimal import Decimal
from typing import Literal, NamedTuple, NotRequired

from typing_extensions import TypedDict

End = Literal["closed", "open"]
OTHER_END: dict[End, End] = {"closed": "open", "open": "closed"}
NOT_STATED = "counted from an unstated end"

_CountedFrom = TypedDict("_CountedFrom", {"from": NotRequired[Literal["closed", "open"]]})  # `from` is a keyword


class Clicks(_CountedFrom):
    """The setting of an adjuster: a `count`, a range from `min` to `max`, and the end it is counted `from` (absent if
    unknown).

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
    """The setting of a preload knob: turns in from minimum preload, as a `count` or a range from `min` to `max`."""

    count: NotRequired[float]
    min: NotRequired[float]
    max: NotRequired[float]
    text: str


class AdjusterCount(NamedTuple):
    """A number of clicks or turns as published: a count, a range or both."""

    number: Decimal | int | None
    low: Decimal | int | None = None
    high: Decimal | int | None = None

    @property
    def is_given(self) -> bool:
        """Whether anything is published."""
        return any(each is not None for each in self)

    def text(self) -> str:
        """`12`, `12–13`, `12 (11–13)`, `≥ 12`, `≤ 13`."""
        low, high = (None if each is None else _plain(each) for each in (self.low, self.high))
        if low is not None and high is not None:
            limits = f"{low}–{high}"
        else:
            limits = f"≥ {low}" if low is not None else f"≤ {high}" if high is not None else ""
        if self.number is None:
            return limits
        return f"{_plain(self.number)} ({limits})" if limits else _plain(self.number)

    def worded(self, one: str) -> str:
        """The number with its noun: `1 click`, `12–13 clicks`."""
        return f"{self.text()} {one if self == (1, None, None) else f'{one}s'}"

    def from_other_end(self, total: int) -> "AdjusterCount":
        """This setting counted from the other end of that many clicks."""
        number, low, high = (None if each is None else total - each for each in self)
        return AdjusterCount(number, high, low)


def _plain(number: Decimal | int) -> str:
    return f"{Decimal(number).normalize() + 0:f}"


def clicks_view(
    clicks: AdjusterCount, counted_from: End | None, total: int | None, *, unknown: str = NOT_STATED
) -> Clicks:
    """A number of clicks with its datum; counted from both ends if the total is known and not exceeded.

    `unknown` is what `text` says if `counted_from` is None.
    """
    shown: Clicks = {"text": f"{clicks.worded('click')}, {unknown}"}
    for name, number in zip(("count", "min", "max"), clicks, strict=True):
        if number is not None:
            shown[name] = int(number)  # type: ignore[literal-required]
    if total is not None:
        shown["total"] = total
    if counted_from is None:
        return shown
    shown["from"] = counted_from
    shown["text"] = f"{clicks.worded('click')} from {counted_from}"
    if total is not None and all(each is None or each <= total for each in clicks):
        other = clicks.from_other_end(total)
        if other.number is not None:
            shown["count_from_other_end"] = int(other.number)
        shown["text"] += f" ({other.text()} from {OTHER_END[counted_from]})"
    return shown


def turns_view(turns: AdjusterCount) -> Turns:
    """The turns of a preload knob, which the catalogue counts in from minimum preload."""
    shown: Turns = {"from": "minimum preload", "text": f"{turns.worded('turn')} in from minimum preload"}
    for name, number in zip(("count", "min", "max"), turns, strict=True):
        if number is not None:
            shown[name] = float(number)  # type: ignore[literal-required]
    return shown
