"""The clicks of a guide, with the end that the damper counts them from."""

from collections.abc import Iterable
from typing import Literal

from app.catalogue.tables import Damper, Guide
from app.units.counts import NOT_STATED, AdjusterCount, Clicks, clicks_view

Adjuster = Literal["rebound_clicks", "compression_clicks"]
CountedColumn = Literal["rebound_clicks", "compression_clicks", "preload_turns"]
ADJUSTERS: tuple[Adjuster, ...] = ("rebound_clicks", "compression_clicks")
DAMPER_DECIDES = "counted from an end that depends on the damper"


def counted(guide: Guide, name: CountedColumn) -> AdjusterCount:
    """The clicks or turns of a guide: a count, a range or both."""
    return AdjusterCount(getattr(guide, name), getattr(guide, f"{name}_min"), getattr(guide, f"{name}_max"))


def clicks_of_dampers(clicks: AdjusterCount, adjuster: Adjuster, dampers: Iterable[Damper]) -> Clicks:
    """The clicks of a guide, read with every damper that may be fitted. If they differ, the datum stays open."""
    fitted = list(dampers)
    ends = {damper.clicks_from for damper in fitted}
    totals = {getattr(damper, adjuster) for damper in fitted}
    total = totals.pop() if len(totals) == 1 else None
    if len(ends) == 1:
        return clicks_view(clicks, ends.pop(), total)
    return clicks_view(clicks, None, total, unknown=DAMPER_DECIDES if ends else NOT_STATED)
