"""What is due next, against a second calculation that walks the calendar day by day and month by month."""

import datetime as dt
import zoneinfo
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.bench.due import DoneJob, due, months_later
from app.bench.services import last_day_anywhere
from app.catalogue.tables import Interval

DAYS = st.dates(dt.date(1990, 1, 1), dt.date(2090, 12, 31))
TODAY = dt.date(2026, 3, 1)


def interval(operation: str = "lower-leg-service", hours: int | None = 50, months: int | None = 6) -> Interval:
    """An interval of a chassis."""
    return Interval.checked(id="i", chassis="c", operation=operation, hours=hours, months=months)


def ask(
    jobs: list[DoneJob], today: dt.date = TODAY, hours: str | None = None, first: dt.date | None = None, **more: Any
) -> Any:
    """The single answer for one interval."""
    now = None if hours is None else Decimal(hours)
    return due([interval(**more)], jobs, first_used_on=first, today=today, hours=now)[0]


def walked(day: dt.date, months: int) -> dt.date:
    """That many months later, by turning calendar pages one by one and taking the same day or the last one there is."""
    leaf = day.replace(day=1)
    for _ in range(months):
        turned = leaf + dt.timedelta(days=31)
        leaf = turned.replace(day=1)
    last = leaf
    while last.day < day.day and (last + dt.timedelta(days=1)).month == leaf.month:
        last += dt.timedelta(days=1)
    return last


# The days of the Gregorian calendar; that a missing day is that month's last is common practice, no source.
@pytest.mark.parametrize(
    ("day", "months", "later"),
    [
        ("2024-02-29", 12, "2025-02-28"),
        ("2024-02-29", 48, "2028-02-29"),
        ("2023-08-31", 6, "2024-02-29"),
        ("2022-08-31", 6, "2023-02-28"),
        ("2100-01-31", 1, "2100-02-28"),
        ("2025-12-15", 1, "2026-01-15"),
        ("2025-12-31", 12, "2026-12-31"),
    ],
)
def test_a_month_later_is_the_same_day_or_the_last_of_that_month(day: str, months: int, later: str) -> None:
    assert months_later(dt.date.fromisoformat(day), months).isoformat() == later


@given(DAYS, st.integers(1, 120))
def test_months_are_those_of_the_calendar(day: dt.date, months: int) -> None:
    assert months_later(day, months) == walked(day, months)


@given(DAYS, DAYS, st.integers(1, 60))
def test_it_is_due_from_the_day_itself_on_and_not_a_day_before(done: dt.date, today: dt.date, months: int) -> None:
    answer = ask([DoneJob("lower-leg-service", done, None)], today, hours=None, months=months)
    by_months = due(
        [interval(hours=None, months=months)], [DoneJob("lower-leg-service", done, None)], first_used_on=None,
        today=today, hours=None,
    )[0]  # fmt: skip
    assert by_months["due_on"] == walked(done, months).isoformat() == answer["due_on"]
    assert (by_months["state"] == "due") == (today >= walked(done, months))
    assert by_months["days_left"] == (walked(done, months) - today).days


@given(DAYS, DAYS, st.integers(1, 60))
def test_a_later_job_is_never_due_earlier(one: dt.date, other: dt.date, months: int) -> None:
    assert (one <= other) <= (months_later(one, months) <= months_later(other, months))


@given(st.decimals(0, 5000, places=1), st.decimals(0, 5000, places=1), st.integers(1, 300))
def test_hours_count_from_the_last_job_of_its_kind(at: Decimal, now: Decimal, each: int) -> None:
    answer = due(
        [interval(hours=each, months=None)], [DoneJob("lower-leg-service", None, at)], first_used_on=None, today=TODAY,
        hours=now,
    )[0]  # fmt: skip
    assert answer["due_at_hours"]["value"] == pytest.approx(float(at) + each)
    assert answer["state"] == ("due" if now >= at + each else "not due")


@given(st.lists(st.tuples(st.none() | DAYS, st.none() | st.decimals(0, 900, places=0)), max_size=5), DAYS)
def test_what_is_not_known_is_never_said_to_be_not_due(
    done: list[tuple[dt.date | None, Decimal | None]], today: dt.date
) -> None:
    answer = ask([DoneJob("lower-leg-service", on, at) for on, at in done], today, hours="10")
    dated, timed = any(on for on, _ in done), any(at is not None for _, at in done)
    lacking = {*(["months"] if not dated else []), *(["hours"] if done and not timed else [])}
    assert set(answer["not_known"]) == lacking
    assert not (lacking and answer["state"] == "not due")


def test_hours_without_a_date_say_when_by_hours_and_that_the_day_is_not_known() -> None:
    answer = ask([DoneJob("lower-leg-service", None, Decimal(100))], hours="120")
    assert (answer["state"], answer["not_known"], answer["hours_left"]["value"]) == ("not known", ["months"], 30.0)
    assert "due_on" not in answer
    assert ask([DoneJob("lower-leg-service", None, Decimal(100))], hours="150")["state"] == "due"  # by hours alone


def test_whichever_is_first_decides() -> None:
    done = [DoneJob("lower-leg-service", dt.date(2026, 2, 1), Decimal(100))]
    assert ask(done, hours="120")["state"] == "not due"
    assert ask(done, hours="150")["state"] == "due"
    assert ask(done, dt.date(2026, 8, 1), hours="101")["state"] == "due"


def test_a_full_service_covers_the_lower_legs_and_not_the_other_way_round() -> None:
    lower, full = (
        DoneJob("lower-leg-service", dt.date(2026, 2, 1), None),
        DoneJob("full-service", dt.date(2026, 1, 1), None),
    )
    assert ask([full], hours=None)["due_on"] == "2026-07-01"
    assert ask([full, lower], hours=None)["due_on"] == "2026-08-01"
    assert "due_on" not in ask([lower], operation="full-service")


def test_a_fork_without_a_job_counts_from_its_first_use() -> None:
    answer = ask([], first=dt.date(2025, 12, 31), hours="20")
    assert (answer["due_on"], answer["hours_left"]["value"], answer["state"]) == ("2026-06-30", 30.0, "not due")
    assert ask([], hours="20")["not_known"] == ["months"]


# The local days of all zones of the IANA time zone database, as the standard library reads it.
ZONES = sorted(zoneinfo.available_timezones())
NOW_ON = st.datetimes(dt.datetime(2000, 1, 1), dt.datetime(2090, 12, 31), timezones=st.just(dt.UTC))


@pytest.mark.skipif(not ZONES, reason="this machine has no time zone database")
@settings(max_examples=10)
@given(NOW_ON)
def test_the_last_day_that_may_be_entered_is_the_latest_of_all_time_zones(moment: dt.datetime) -> None:
    days = {moment.astimezone(zoneinfo.ZoneInfo(zone)).date() for zone in ZONES}
    assert last_day_anywhere(moment) == max(days)


@pytest.mark.skipif(not ZONES, reason="this machine has no time zone database")
@given(NOW_ON, DAYS, st.integers(1, 60), st.data())
def test_what_is_due_is_told_by_the_day_at_the_workshop_wherever_it_is(
    moment: dt.datetime, done: dt.date, months: int, data: st.DataObject
) -> None:
    """The service knows the workshop's day; it must say due from local midnight on, whatever day it is in UTC."""
    zone = zoneinfo.ZoneInfo(data.draw(st.sampled_from(ZONES)))
    there = moment.astimezone(zone)
    answer = due(
        [interval(hours=None, months=months)], [DoneJob("lower-leg-service", done, None)], first_used_on=None,
        today=there.date(), hours=None,
    )[0]  # fmt: skip
    midnight = dt.datetime.combine(walked(done, months), dt.time(), zone)
    assert (answer["state"] == "due") == (there.replace(tzinfo=None) >= midnight.replace(tzinfo=None))
