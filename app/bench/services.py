"""Finished jobs on a fork, in the order they were recorded; the last one says what is in it.

Written once, never changed.
"""

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal
from typing import Any, NamedTuple

from sqlalchemy import Connection, Row, insert, select

from app.access.keys import now
from app.bench import forks
from app.bench.figures import configuration_view, hours_view, measured_view, read_configuration, text_of, written
from app.bench.forks import Held
from app.bench.shapes import DONE, Configuration, Done, Figure, SagAt, ServiceView
from app.bench.stored import SERVICES
from app.database.connections import Database
from app.errors import Fault, Invalid
from app.units.measure import parse_measure

AHEAD_OF_UTC = dt.timedelta(hours=14)  # the calendar day that begins first anywhere: UTC+14, IANA time zone database
SAME_RIDER_KG = Decimal(1)
MOST_SAGS = 6
_GIVES_THE_SAG = ("spring", "travel_mm", "travel_spacers", "spacers")


class Finished(NamedTuple):
    """A finished job to record.

    `hours` are the fork's total riding hours, `riding` is how it is ridden; `key` and `digest` identify a repeated
    request.
    """

    job: str
    done_on: str | None
    hours: Decimal | None
    done: Done
    riding: str | None = None
    key: str | None = None
    digest: str | None = None


class RecordedService(NamedTuple):
    """A job as it is stored."""

    number: int
    job: str
    done_on: str | None
    hours: Decimal | None
    recorded_at: str
    done: Done
    configuration: Configuration
    applied: bool
    riding: str | None = None


def record(shop: Database, shop_id: str, id: str, job: Finished, by: str) -> tuple[RecordedService, Held, bool]:
    """Record a job: returns the service, the fork after it, and whether it is new (not a repeated request).

    What was fitted becomes the current configuration, unless a job of a later day is already recorded. Raises NotFound;
    Invalid for a future day, decreasing hours, or a key that was used for another request.
    """
    with shop.write() as connection:
        return record_in(connection, shop_id, id, job, by)


def record_in(
    connection: Connection, shop_id: str, id: str, job: Finished, by: str
) -> tuple[RecordedService, Held, bool]:
    """Like `record`, in an open transaction."""
    fork = forks.held_in(connection, shop_id, id)
    before = _services(connection, id)
    if (again := recorded_before(connection, id, job)) is not None:
        return next(each for each in before if each.number == again), fork, False
    _refuse(job, before)
    applied = is_latest(job.done_on, before)
    fitted = job.done["fitted"]
    configuration: Configuration = {**fork.configuration, **fitted} if applied else fitted
    row = {
        "fork": id, "number": len(before) + 1, "job": job.job, "done_on": job.done_on,
        "hours": None if job.hours is None else f"{job.hours:f}", "recorded_at": now(), "recorded_by": by,
        "done": written(job.done), "configuration": written(configuration), "applied": applied,
        "riding": job.riding, "idempotency_key": job.key, "request_digest": job.digest,
    }  # fmt: skip
    connection.execute(insert(SERVICES), row)
    if applied:
        more = {} if job.riding is None else {"riding": job.riding}
        forks.put(connection, fork, configuration, **more)
    return _services(connection, id)[-1], forks.held_in(connection, shop_id, id), True


def is_latest(done_on: str | None, before: Sequence[RecordedService]) -> bool:
    """Whether a job of that day sets the current configuration: no job of a later day is recorded."""
    return done_on is None or all(each.done_on is None or each.done_on <= done_on for each in before)


def history(shop: Database, shop_id: str, id: str) -> tuple[Held, list[RecordedService]]:
    """A fork and its jobs, oldest first. Raises NotFound."""
    with shop.read() as connection:
        return forks.held_in(connection, shop_id, id), _services(connection, id)


def sag_readings(fork: Held, services: Sequence[RecordedService], rider: Decimal | None) -> list[str]:
    """This rider's sags measured with the current configuration, newest first, as `38mm@72psi`.

    `rider` is a mass in kg. If it is None, only sags without a mass count.
    """
    found: list[str] = []
    for service in reversed(services):
        same = all(service.configuration.get(name) == fork.configuration.get(name) for name in _GIVES_THE_SAG)
        mass = service.done["measured"].get("rider_mass")
        if not service.applied or not same or not _same_rider(mass, rider):
            continue
        found += [f"{text_of(each['sag'])}@{text_of(each['pressure'])}" for each in _sags(service)]
    return list(dict.fromkeys(found))[:MOST_SAGS]


def last_rider(services: Sequence[RecordedService]) -> Figure | None:
    """The mass of the rider as last noted."""
    masses = (service.done["measured"].get("rider_mass") for service in reversed(services))
    return next((mass for mass in masses if mass is not None), None)


def last_pressure(fork: Held, services: Sequence[RecordedService]) -> Figure | None:
    """The pressure as last set, if the configuration has not changed since."""
    for service in reversed(services):
        if service.applied and "pressure" in service.done["measured"]:
            same = all(service.configuration.get(name) == fork.configuration.get(name) for name in _GIVES_THE_SAG)
            return service.done["measured"]["pressure"] if same else None
    return None


def service_view(service: RecordedService) -> ServiceView:
    """A job as answers show it."""
    done = service.done
    shown: Any = {
        "number": service.number, "job": service.job, "recorded_at": service.recorded_at,
        "fitted": configuration_view(done["fitted"]), "parts": done["parts"],
        "measured": measured_view(done["measured"]), "configuration": configuration_view(service.configuration),
        "became_present": service.applied,
        **{name: value for name, value in done.items() if name in ("revision", "job_card", "note")},
    }  # fmt: skip
    if service.done_on is not None:
        shown["done_on"] = service.done_on
    if service.hours is not None:
        shown["hours"] = hours_view(service.hours)
    if service.riding is not None:
        shown["riding"] = service.riding
    return shown  # type: ignore[no-any-return]


def _sags(service: RecordedService) -> list[SagAt]:
    measured = service.done["measured"]
    alone: list[SagAt] = []
    if "sag" in measured and "pressure" in measured:
        alone = [{"sag": measured["sag"], "pressure": measured["pressure"]}]
    return [*measured.get("sags", []), *alone]


def _same_rider(noted: Figure | None, rider: Decimal | None) -> bool:
    if noted is None or rider is None:
        return noted is None and rider is None
    return abs(kilograms(noted) - rider) <= SAME_RIDER_KG


def kilograms(mass: Figure) -> Decimal:
    """A noted mass in kg."""
    return parse_measure(text_of(mass), kind="mass", usual="kg", parameter="rider_mass").value


def recorded_before(connection: Connection, id: str, job: Finished) -> int | None:
    """The number of the job that the same request recorded on this fork, or None.

    Raises Invalid if the key was used for another request.
    """
    if job.key is None:
        return None
    same = (SERVICES.c.fork == id, SERVICES.c.idempotency_key == job.key)
    row = connection.execute(select(SERVICES.c.number, SERVICES.c.request_digest).where(*same)).first()
    if row is None:
        return None
    if row.request_digest != job.digest:
        raise Invalid.one("idempotency-key-reused", "this Idempotency-Key was used for another request")
    return int(row.number)


def last_day_anywhere(moment: dt.datetime) -> dt.date:
    """The latest calendar day that has begun somewhere on earth at a moment in UTC."""
    return (moment + AHEAD_OF_UTC).date()


def _refuse(job: Finished, before: Sequence[RecordedService]) -> None:
    faults: list[Fault] = []
    if job.done_on is not None and job.done_on > last_day_anywhere(dt.datetime.now(dt.UTC)).isoformat():
        faults.append(Fault("day-to-come", "`done_on` is in the future everywhere.", pointer="/done_on"))
    if job.hours is not None:
        earlier = [each for each in before if each.hours is not None and _not_after(each.done_on, job.done_on)]
        later = [each for each in before if each.hours is not None and _after(each.done_on, job.done_on)]
        least = max((each.hours for each in earlier if each.hours is not None), default=job.hours)
        most = min((each.hours for each in later if each.hours is not None), default=job.hours)
        if not least <= job.hours <= most:
            bound = least if job.hours < least else most
            when = "before" if bound == least else "after"
            text = f"`hours` are the fork's total riding hours: {bound:f} h were noted {when}."
            faults.append(Fault("hours-go-back", text, pointer="/hours", suggestion=f"{bound:f}"))
    if faults:
        raise Invalid(faults[0].text, faults)


def _after(recorded: str | None, new: str | None) -> bool:
    return recorded is not None and new is not None and recorded > new


def _not_after(recorded: str | None, new: str | None) -> bool:
    return not _after(recorded, new)


def _services(connection: Connection, id: str) -> list[RecordedService]:
    statement = select(SERVICES).where(SERVICES.c.fork == id).order_by(SERVICES.c.number)
    return [_service(row) for row in connection.execute(statement).fetchall()]


def _service(row: Row[Any]) -> RecordedService:
    return RecordedService(
        row.number, row.job, row.done_on, None if row.hours is None else Decimal(row.hours), row.recorded_at,
        DONE.validate_json(row.done), read_configuration(row.configuration), row.applied, row.riding,
    )  # fmt: skip
