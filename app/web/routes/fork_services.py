"""Jobs on a fork of the bench log: record, list, what is due next, and the label for the leg."""

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal
from typing import Annotated

from fastapi import Query, Request
from pydantic import Field
from starlette.responses import Response

from app.access.keys import Caller
from app.bench import services
from app.bench.due import DoneJob, due
from app.bench.figures import ADJUSTERS, hours_view, shown
from app.bench.forks import Held, fork_view
from app.bench.services import RecordedService, service_view
from app.bench.shapes import Configuration, Done, DueView
from app.catalogue.rows import Snapshot
from app.errors import Fault, Invalid
from app.json_types import JsonObject
from app.questions.answers.gap import Gap
from app.questions.answers.parameters import IsoDate, Pinned
from app.questions.answers.views import Undecided
from app.questions.job import bench_fork as on_the_bench
from app.questions.job.parameters import JOB_WORDS
from app.questions.setup.riding import OTHER_RIDING
from app.web.access import admitted, in_shop, permitted, to_its_end
from app.web.contract.openapi import json_body
from app.web.forks import answers as answers
from app.web.forks.bodies import SERVICE_BODY, finished
from app.web.forks.in_question import parameters_of
from app.web.reading.idempotency import REPLAYED, IdempotencyKey, digest_of, key_of
from app.web.reading.json_body import read_model
from app.web.reading.strict import strict_router
from app.web.routes.forks import ForkId, ForkPinnedAsked, fork_cautions, respond_private

router = strict_router(tags=["bench log"])


class DueAsked(Pinned):
    """The parameters of `due`."""

    on: IsoDate | None = Field(None, description="The day at the workshop (YYYY-MM-DD); by default today in UTC.")
    hours: float | None = Field(
        None, ge=0, le=100_000, description="Total riding hours of the fork; by default the last recorded figure."
    )
    riding: str | None = Field(
        None,
        max_length=80,
        description="A kind of riding that the intervals list, such as `park`, or `other`; by default "
        "as recorded for the fork, else the strictest that is listed.",
    )


@router.post(
    "/v1/forks/{id}/services",
    operation_id="recordService",
    summary="Record a finished job",
    response_model=None,
    openapi_extra=json_body(SERVICE_BODY, "The job, what was fitted and measured, and the card it followed."),
    status_code=201,
    responses={201: {"model": answers.ServiceAnswer, "description": "The job, and the fork after it."}},
)
async def record_service(request: Request, id: ForkId, idempotency_key: IdempotencyKey = None) -> Response:
    """Fitted parts become part of the fork, unless a later job is already recorded."""
    caller = await permitted(request, "bench")
    fork, _ = await in_shop(request, lambda shop: services.history(shop, caller.shop, id))
    body = await read_model(request, SERVICE_BODY)
    job = finished(body, key_of(caller.shop, idempotency_key), digest_of(request, await request.body()))
    service, after, again = await record(request, caller, fork, job)

    def held_against(snapshot: Snapshot) -> tuple[int, list[str]]:
        return snapshot.revision, on_the_bench.unlisted(
            snapshot, after.chassis, parameters_of(after.configuration, after.serial)
        )

    revision, not_listed = await request.app.state.catalogue.ask(held_against)
    answer = {
        "revision": revision, "service": service_view(service), "fork": fork_view(after), "unlisted": not_listed,
        "cautions": await fork_cautions(request, {after.chassis}, "limits"),
    }  # fmt: skip
    return await respond_private(
        request, answer, answers.SERVICE, "service", status=201, headers=REPLAYED if again else {}
    )


async def record(
    request: Request, caller: Caller, fork: Held, job: services.Finished
) -> tuple[RecordedService, Held, bool]:
    """Record a finished job; returns it, the fork after it, and whether it had been recorded before.

    Raises Invalid with pointers, NotFound.
    """
    await check_job(request, caller, fork, job)
    shop = request.app.state.shop
    service, after, new = await to_its_end(lambda: services.record(shop, caller.shop, fork.id, job, caller.id))
    return service, after, not new


async def check_job(request: Request, caller: Caller, fork: Held, job: services.Finished) -> None:
    """Compare a finished job with the catalogue and complete it before it is recorded. Raises Invalid with pointers."""
    fitted = job.done["fitted"]

    def refuse(snapshot: Snapshot) -> None:
        operations = JOB_WORDS.keys() | on_the_bench.operations(snapshot, fork.chassis)
        if job.job not in operations:
            text = f"A job is one of {', '.join(sorted(operations))}."
            raise Invalid(text, [Fault("job-unknown", text, pointer="/job")])
        if "revision" in job.done and job.done["revision"] > snapshot.revision:
            text = f"There is no revision {job.done['revision']} yet."
            raise Invalid(
                text, [Fault("revision-unknown", text, pointer="/revision", suggestion=str(snapshot.revision))]
            )
        on_the_bench.refuse_unknown(snapshot, fork.chassis, fitted, job.done["parts"], "/fitted")
        if job.riding is not None:
            on_the_bench.refuse_riding(snapshot, fork.chassis, job.riding)

    await request.app.state.catalogue.ask(refuse)
    present, before = await in_shop(request, lambda shop: services.history(shop, caller.shop, fork.id))
    known: Configuration = {**present.configuration, **fitted} if services.is_latest(job.done_on, before) else fitted
    await request.app.state.catalogue.ask(lambda snapshot: complete(snapshot, fork, known, job.done))


def complete(snapshot: Snapshot, fork: Held, known: Configuration, done: Done) -> None:
    """Note the travel that a fitted spring decides, and the click datum of the damper if the body does not give it.

    `known` is the configuration after the job. Raises Invalid for a travel that its spring does not give.
    """
    fitted, measured = done["fitted"], done["measured"]
    parameters = parameters_of(known, fork.serial)
    if {"spring", "travel_mm"} & fitted.keys():
        named = {name.removesuffix("_mm") for name in fitted}
        travel_mm = on_the_bench.decided_travel(snapshot, fork.chassis, parameters, named, "/fitted")
        if travel_mm is not None:
            fitted["travel_mm"] = travel_mm
    if not set(ADJUSTERS) & measured.keys():
        return
    end, totals = on_the_bench.datum_of_clicks(snapshot, fork.chassis, known.get("damper"))
    if end is not None:
        measured.setdefault("clicks_from", end)
    if "rebound_clicks" in measured and "rebound_clicks" in totals:
        measured["rebound_clicks_total"] = totals["rebound_clicks"]
    if "compression_clicks" in measured and "compression_clicks" in totals:
        measured["compression_clicks_total"] = totals["compression_clicks"]


@router.get(
    "/v1/forks/{id}/services",
    operation_id="listServices",
    summary="Every job on a fork",
    response_model=None,
    responses={200: {"model": answers.ServiceList, "description": "Oldest first as recorded."}},
)
async def list_services(request: Request, id: ForkId, asked: ForkPinnedAsked) -> Response:
    """Each job, the parts fitted, the measurements, and the configuration at that time."""
    caller = await admitted(request, "bench")
    fork, done = await in_shop(request, lambda shop: services.history(shop, caller.shop, id))
    answer = {
        "revision": await request.app.state.catalogue.ask(lambda snapshot: snapshot.revision, asked.pin()), "fork": id,
        "services": [service_view(each) for each in done], "cautions": await fork_cautions(request, {fork.chassis}),
    }  # fmt: skip
    return await respond_private(request, answer, answers.SERVICE_LIST, "services", rows="services")


@router.get(
    "/v1/forks/{id}/due",
    operation_id="forkDue",
    summary="What is due next, by hours and months",
    response_model=None,
    responses={200: {"model": answers.DueAnswer, "description": "The most urgent first."}},
)
async def fork_due(request: Request, id: ForkId, asked: Annotated[DueAsked, Query()]) -> Response:
    """Uses the intervals that the catalogue lists for the fork as built and ridden. `not_known` says what is missing to
    compute them. If the kind of riding is not known, the strictest interval counts.
    """
    caller = await admitted(request, "bench")
    fork, done = await in_shop(request, lambda shop: services.history(shop, caller.shop, id))
    hours = _hours(asked, done)
    today = asked.on or dt.datetime.now(dt.UTC).date()
    riding = asked.riding or fork.riding

    def found(snapshot: Snapshot) -> tuple[int, list[DueView], list[str]]:
        if asked.riding is not None:
            on_the_bench.refuse_riding(snapshot, fork.chassis, asked.riding, parameter="riding")
        return snapshot.revision, *due_next(snapshot, fork, done, today=today, hours=hours, riding=riding)

    revision, listed, ridings = await request.app.state.catalogue.ask(found, asked.pin())
    gaps: list[Gap] = []
    if not listed:
        text = "The catalogue lists no interval for this fork. See its maker's manual."
        gaps.append({"what": "intervals", "why_needed": "they say when it is opened next", "text": text})
    answer: JsonObject = {
        "revision": revision, "fork": id, "on": today.isoformat(), "due": listed,
        "undecided": _riding_open(riding, ridings), "gaps": gaps,
        "cautions": await fork_cautions(request, {fork.chassis}, "not-in-the-catalogue"),
    }  # fmt: skip
    if hours is not None:
        answer["hours"] = hours_view(hours)
    if riding is not None:
        answer["riding"] = riding
    return await respond_private(request, answer, answers.DUE, "due", rows="due")


@router.get(
    "/v1/forks/{id}/label",
    operation_id="forkLabel",
    summary="The label for the leg",
    response_model=None,
    responses={200: {"model": answers.LabelAnswer, "description": "Lines to print or to write."}},
)
async def fork_label(request: Request, id: ForkId, asked: ForkPinnedAsked) -> Response:
    """The configuration of the fork, the limits listed for exactly that, and the last job; no serial."""
    caller = await admitted(request, "bench")
    fork, done = await in_shop(request, lambda shop: services.history(shop, caller.shop, id))
    known = parameters_of(fork.configuration, fork.serial)
    pressure = services.last_pressure(fork, done)
    lines: list[str]

    def written(snapshot: Snapshot) -> tuple[int, list[str]]:
        return snapshot.revision, on_the_bench.label(
            snapshot, fork.chassis, known, fluids=fork.configuration.get("fluids", []),
            pressure=None if pressure is None else shown("pressure", pressure)["text"],
            last=_said(done[-1]) if done else None,
        )  # fmt: skip

    revision, lines = await request.app.state.catalogue.ask(written, asked.pin())
    answer: JsonObject = {"revision": revision, "label": lines}
    answer["cautions"] = await fork_cautions(request, {fork.chassis}, "limits", "shock-pump-only")
    return await respond_private(request, answer, answers.LABEL, "label")


def due_next(
    snapshot: Snapshot, fork: Held, done: Sequence[RecordedService], *, today: dt.date, hours: Decimal | None,
    riding: str | None,
) -> tuple[list[DueView], list[str]]:  # fmt: skip
    """The operations that a fork needs next on that day, and the kinds of riding that its intervals list."""
    found = on_the_bench.intervals(snapshot, fork.chassis, parameters_of(fork.configuration, fork.serial), riding)
    jobs = [DoneJob(each.job, _day(each), each.hours) for each in done]
    first = None if fork.first_used_on is None else dt.date.fromisoformat(fork.first_used_on)
    return due(found.intervals, jobs, first_used_on=first, today=today, hours=hours), found.listed


def most_hours(done: Sequence[RecordedService]) -> Decimal | None:
    """The riding hours of a fork as last recorded."""
    return max((each.hours for each in done if each.hours is not None), default=None)


def _riding_open(riding: str | None, listed: list[str]) -> list[Undecided]:
    """The kind of riding, if it is not recorded and the intervals differ by it."""
    if riding is not None or not listed:
        return []
    text = "Set `riding`. How this fork is ridden is not recorded, so the strictest interval counts."
    return [{"parameter": "riding", "values": [*listed, OTHER_RIDING], "text": text}]


def _hours(asked: DueAsked, done: list[RecordedService]) -> Decimal | None:
    return most_hours(done) if asked.hours is None else Decimal(str(asked.hours))


def _day(service: RecordedService) -> dt.date | None:
    return None if service.done_on is None else dt.date.fromisoformat(service.done_on)


def _said(service: RecordedService) -> str:
    said = [service.job.replace("-", " ")]
    said += [service.done_on] if service.done_on is not None else []
    said += [f"{service.hours:f} h"] if service.hours is not None else []
    return ", ".join(said)
