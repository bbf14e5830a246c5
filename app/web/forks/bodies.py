"""The bodies of the bench log, and their conversion to stored form: measures are text, in usual units or with one."""

import datetime as dt
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Annotated, Any, NotRequired, TypeVar

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.bench.figures import ADJUSTERS, KINDS, USUAL, figure_of
from app.bench.forks import Registering
from app.bench.services import Finished
from app.bench.shapes import Configuration, Count, DateText, Done, Figure, Filled, Id, Measured, PartFitted, Riding
from app.errors import Fault, Invalid
from app.units.counts import End
from app.units.measure import Measure, parse_measure, parse_wheel_size
from app.units.table import Kind
from app.web.reading.json_body import JsonNumber

T = TypeVar("T")
MeasureIn = Annotated[str, Field(description="A figure in the usual unit (mm, psi, kg), or with its unit.")]
Serial = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^\S([^\n\r\t]*\S)?$")]
Note = Annotated[str, Field(max_length=1000)]
RANGES = {
    "pressure": ("0", "600"), "second_pressure": ("0", "600"), "sag": ("0", "1000"), "rider_mass": ("20", "250"),
    "exposed_stanchion": ("0", "1000"), "axle_to_crown": ("100", "1500"),
}  # fmt: skip


class InItBody(TypedDict, total=False):
    """What is fitted in a fork. Leave out what is not known."""

    model_year: Annotated[int, Field(ge=1900, le=2200)]
    variant: Id
    travel: MeasureIn
    spring: Id
    travel_spacers: Count
    spacers: Count
    damper: Id
    wheel_size: str
    fluids: Annotated[list[Filled], Field(max_length=20)]


class ForkBody(InItBody):
    """A fork: serial, chassis and what is fitted. `riding` is a kind that its intervals list, or `other`."""

    serial: Serial
    chassis: Id
    first_used_on: NotRequired[DateText]
    riding: NotRequired[Riding]


class SagBody(TypedDict):
    """A sag at a start pressure."""

    sag: MeasureIn
    pressure: MeasureIn


class MeasuredBody(TypedDict, total=False):
    """Measurements. Clicks count from `clicks_from`; without it, from the end that the damper's maker uses."""

    pressure: MeasureIn
    second_pressure: MeasureIn
    sag: MeasureIn
    sags: Annotated[list[SagBody], Field(max_length=6)]
    rider_mass: MeasureIn
    exposed_stanchion: MeasureIn
    axle_to_crown: MeasureIn
    rebound_clicks: Count
    compression_clicks: Count
    clicks_from: End


class ServiceBody(TypedDict):
    """A finished job.

    `hours` are the total riding hours of the fork, `riding` the kind of riding; `fitted` lists what the job changed;
    `revision` and `job_card` (its address) record what the job followed.
    """

    job: Annotated[str, Field(min_length=1, max_length=80)]
    done_on: NotRequired[DateText]
    hours: NotRequired[Annotated[JsonNumber, Field(ge=0, le=100_000)]]
    riding: NotRequired[Riding]
    fitted: NotRequired[InItBody]
    parts: NotRequired[Annotated[list[PartFitted], Field(max_length=100)]]
    measured: NotRequired[MeasuredBody]
    revision: NotRequired[Annotated[int, Field(ge=0, le=2_147_483_646)]]
    job_card: NotRequired[Annotated[str, Field(max_length=2000, pattern=r"^/v1/")]]
    note: NotRequired[Note]


class FlagBody(TypedDict):
    """A report of a value that looks wrong."""

    text: Annotated[str, Field(min_length=3, max_length=1000, pattern=r"\S")]


FORK_BODY = TypeAdapter(ForkBody)
SERVICE_BODY = TypeAdapter(ServiceBody)
FLAG_BODY = TypeAdapter(FlagBody)


class _Reader:
    """Reads members of a body and collects their faults with pointers, so that all are reported at once."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def __call__(self, pointer: str, read: Callable[[], T], otherwise: T) -> T:
        try:
            return read()
        except Invalid as refusal:
            self.faults += [Fault(each.code, each.text, None, pointer, each.suggestion) for each in refusal.faults]
            return otherwise

    def done(self) -> None:
        if self.faults:
            raise Invalid(self.faults[0].text, self.faults)


def registering(body: ForkBody) -> Registering:
    """Parse the fork in a body. Raises Invalid with pointers."""
    read = _Reader()
    configuration = _configuration(body, "", read)
    day = _day(body.get("first_used_on"), "/first_used_on", read)
    read.done()
    return Registering(body["serial"], body["chassis"], configuration, day, body.get("riding"))


def finished(body: ServiceBody, key: str | None, digest: str) -> Finished:
    """Parse the job in a body. Raises Invalid with pointers."""
    read = _Reader()
    done: Done = {
        "fitted": _configuration(body.get("fitted", {}), "/fitted", read),
        "parts": body.get("parts", []),
        "measured": _measured(body.get("measured", {}), read),
    }
    if "revision" in body:
        done["revision"] = body["revision"]
    if "job_card" in body:
        done["job_card"] = body["job_card"]
    if "note" in body:
        done["note"] = body["note"]
    day = _day(body.get("done_on"), "/done_on", read)
    read.done()
    return Finished(body["job"], day, body.get("hours"), done, body.get("riding"), key, digest)


def _configuration(body: Mapping[str, Any], place: str, read: _Reader) -> Configuration:
    kept = ("model_year", "variant", "spring", "travel_spacers", "spacers", "damper", "fluids")
    found: Any = {name: body[name] for name in kept if name in body}
    if "travel" in body:
        travel = read(f"{place}/travel", lambda: _measure(body["travel"], "travel", "length", "1", "1000"), None)
        found["travel_mm"] = 0.0 if travel is None else float(travel.value)
    if "wheel_size" in body:
        found["wheel_size"] = read(f"{place}/wheel_size", lambda: parse_wheel_size(body["wheel_size"]), 0)
    return found  # type: ignore[no-any-return]


def _measured(body: MeasuredBody, read: _Reader) -> Measured:
    given: Any = body
    found: Any = {name: given[name] for name in (*ADJUSTERS, "clicks_from") if name in given}
    for name in KINDS:
        if name in given:
            found[name] = _figure(given[name], name, f"/measured/{name}", read)
    if "sags" in given:
        found["sags"] = [
            {name: _figure(each[name], name, f"/measured/sags/{index}/{name}", read) for name in ("sag", "pressure")}
            for index, each in enumerate(given["sags"])
        ]
    return found  # type: ignore[no-any-return]


def _figure(given: str, name: str, pointer: str, read: _Reader) -> Figure:
    low, high = RANGES[name]
    none: Figure = {"value": "0", "unit": ""}
    return read(pointer, lambda: figure_of(_measure(given, name, KINDS[name], low, high)), none)


def _measure(given: str, name: str, kind: Kind, low: str, high: str) -> Measure:
    return parse_measure(
        given, kind=kind, usual=USUAL[kind], parameter=name, minimum=Decimal(low), maximum=Decimal(high)
    )


def refuse_no_day(text: str | None, pointer: str) -> None:
    """Raises Invalid if a text of the right form is no day of the calendar."""
    read = _Reader()
    _day(text, pointer, read)
    read.done()


def _day(text: str | None, pointer: str, read: _Reader) -> str | None:
    def day() -> str:
        try:
            return dt.date.fromisoformat(str(text)).isoformat()
        except ValueError:
            raise Invalid.one("not-a-date", "Write a date that exists, as YYYY-MM-DD.") from None

    return None if text is None else read(pointer, day, None)
