"""The next due dates by the catalogue's intervals: months in calendar days, hours in riding hours. Pure.

A month later is the same day of the month, or the last day of a shorter month (29 February plus twelve months is 28
February): common practice, no source. A day is the calendar day at the workshop; no time zone moves it. A full service
includes a lower-leg service: common practice, no source.
"""

import calendar
import datetime as dt
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any, NamedTuple

from app.bench.figures import hours_view
from app.bench.shapes import DueInterval, DueView
from app.catalogue.tables import Interval
from app.json_types import JsonObject
from app.units.quantity import quantity

COVERED_BY = {"lower-leg-service": ("lower-leg-service", "full-service")}


class DoneJob(NamedTuple):
    """A finished job: its day and the total riding hours then; each None if unknown."""

    operation: str
    on: dt.date | None
    hours: Decimal | None


def months_later(day: dt.date, months: int) -> dt.date:
    """The day that many months later. Raises OverflowError past the year 9999."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    if year > dt.MAXYEAR:
        raise OverflowError("past the year 9999")
    return dt.date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def due(
    intervals: Iterable[Interval], jobs: Sequence[DoneJob], *, first_used_on: dt.date | None, today: dt.date,
    hours: Decimal | None,
) -> list[DueView]:  # fmt: skip
    """The next time of each interval, the most urgent first. `hours` are the fork's total riding hours now."""
    found = [_due(interval, jobs, first_used_on, today, hours) for interval in intervals]
    order = {"due": 0, "not known": 1, "not due": 2}
    return sorted(found, key=lambda each: (order[each["state"]], each.get("due_on", "9999"), each["interval"]["id"]))


def _due(
    interval: Interval, jobs: Sequence[DoneJob], first_used_on: dt.date | None, today: dt.date, hours: Decimal | None
) -> DueView:
    covering = COVERED_BY.get(interval.operation, (interval.operation,))
    done = [job for job in jobs if job.operation in covering]
    since: JsonObject = {}
    not_known: list[str] = []
    shown: JsonObject = {}
    is_due = False
    if interval.months is not None:
        base = max((job.on for job in done if job.on is not None), default=None)
        base = base if done else first_used_on
        if base is None:
            not_known.append("months")
        else:
            since["on"] = base.isoformat()
            on = months_later(base, int(interval.months))
            shown |= {"due_on": on.isoformat(), "days_left": (on - today).days}
            is_due = on <= today
    if interval.hours is not None:
        at = max((job.hours for job in done if job.hours is not None), default=None)
        at = at if done else Decimal(0)
        if at is None or hours is None:
            not_known.append("hours")
        if at is not None:
            since["hours"] = hours_view(at)
            due_at = at + Decimal(str(interval.hours))
            shown["due_at_hours"] = hours_view(due_at)
            if hours is not None:
                shown["hours_left"] = hours_view(due_at - hours)
                is_due = is_due or due_at <= hours
    if since:
        shown["counted_from"] = {**since, "what": done[-1].operation if done else "first use"}
    state = "due" if is_due else "not known" if not_known else "not due"
    answer: Any = {
        "operation": interval.operation, "state": state, **shown, "not_known": not_known,
        "interval": _interval(interval), "text": _text(interval.operation, state, shown, not_known),
    }  # fmt: skip
    return answer  # type: ignore[no-any-return]


def _interval(interval: Interval) -> DueInterval:
    shown: DueInterval = {"id": interval.id}
    if interval.hours is not None:
        shown["hours"] = hours_view(Decimal(interval.hours))
    if interval.months is not None:
        shown["months"] = quantity("calendar time", Decimal(interval.months), "months")
    if interval.riding is not None:
        shown["riding"] = interval.riding
    return shown


def _text(operation: str, state: str, shown: JsonObject, not_known: Sequence[str]) -> str:
    when = [f"on {shown['due_on']}"] if "due_on" in shown else []
    when += [f"at {shown['due_at_hours']['text']}"] if "due_at_hours" in shown else []
    name = operation.replace("-", " ")
    said = f"{name[:1].upper()}{name[1:]}: {state}"
    said += f", next {' or '.join(when)}" + (", whichever is first" if len(when) > 1 else "") if when else ""
    lacking = {"months": "when it was last done, or first used", "hours": "riding hours"}
    return f"{said}." + (f" Not known: {'; '.join(lacking[each] for each in not_known)}." if not_known else "")
