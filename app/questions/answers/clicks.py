"""Clicks and turns with the end they are counted from. A setting without its datum is never shown as a bare number."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Literal

from app.catalogue.columns import write_number
from app.catalogue.tables import Damper
from app.questions.answers.views import Clicks, Turns

Adjuster = Literal["rebound_clicks", "compression_clicks"]
End = Literal["closed", "open"]
OTHER_END: dict[End, End] = {"closed": "open", "open": "closed"}
NOT_STATED = "from which end is not stated"
DAMPER_DECIDES = "from which end depends on the damper"


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


def clicks_of_dampers(count: int, adjuster: Adjuster, dampers: Iterable[Damper]) -> Clicks:
    """The clicks of a guide, read with every damper that may be fitted. If they differ, the datum stays open."""
    fitted = list(dampers)
    ends = {damper.clicks_from for damper in fitted}
    totals = {getattr(damper, adjuster) for damper in fitted}
    total = totals.pop() if len(totals) == 1 else None
    if len(ends) == 1:
        return clicks_view(count, ends.pop(), total)
    return clicks_view(count, None, total, unknown=DAMPER_DECIDES if ends else NOT_STATED)


def turns_view(count: Decimal) -> Turns:
    """The turns of a preload knob, which the catalogue counts inward from the least preload."""
    text = f"{write_number(float(count))} {'turn' if count == 1 else 'turns'} in from the least preload"
    return {"count": float(count), "from": "least preload", "text": text}
