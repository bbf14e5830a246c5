"""Bench log forms for a signed-in browser: register a fork and record a job, as programs do by request."""

import datetime as dt
import re
import secrets
from collections.abc import Collection, Mapping, Sequence
from typing import Annotated, Any

from fastapi import Query, Request
from starlette.responses import RedirectResponse, Response

from app.bench import forks, services
from app.bench.forks import fork_view
from app.errors import Conflict, Invalid, NoRoom, Refusal, Unauthorised, Unavailable
from app.questions.job.choices import Choices, choices
from app.web.access import admitted, in_shop, permitted_by_form
from app.web.forks.bodies import FORK_BODY, SERVICE_BODY, finished, registering
from app.web.forks.forms import FORK_NAMES, JOB_NAMES, FieldGroup, beside, body_of, fork_form, job_form
from app.web.forks.in_question import PRIVATE
from app.web.problem import status_of
from app.web.reading.form_body import read_form
from app.web.reading.idempotency import digest_of, key_of
from app.web.reading.json_body import shaped
from app.web.reading.strict import strict_router
from app.web.representation.named import named
from app.web.representation.page import page
from app.web.routes.fork_services import record
from app.web.routes.forks import ForkId, register

router = strict_router(include_in_schema=False)

MOST_BYTES = 30_000
KEPT_IN_THE_FORM = (Invalid, Conflict, Unavailable, NoRoom)
_CHALLENGE = {"WWW-Authenticate": 'Bearer realm="legwork"'}

Prefill = Annotated[str | None, Query(max_length=2_000)]


@router.get("/v1/forks/register")
async def ask_for_a_fork(request: Request, chassis: Prefill = None) -> Response:
    """The form that registers a fork of that chassis; without a chassis, how to find it."""
    await admitted(request, "bench")
    if chassis is None:
        return await form_page(request, "register-fork", [], {}, {"chassis": ""})
    held = await chassis_choices(request, chassis)
    return await form_page(request, "register-fork", fork_form(held), {"chassis": chassis}, {"chassis": held.chassis})


@router.post("/v1/forks/register")
async def register_by_form(request: Request) -> Response:
    """Register a fork for the shop and go to its page."""
    try:
        caller = await permitted_by_form(request, "bench")
    except Unauthorised as refusal:
        return await once_more(request, FORK_NAMES, refusal)
    form = await read_form(request, FORK_NAMES, MOST_BYTES)
    held = await chassis_choices(request, form.get("chassis"))
    groups = fork_form(held)
    try:
        fork, _ = await register(request, caller, registering(shaped(body_of(form, groups), FORK_BODY)))
    except KEPT_IN_THE_FORM as refusal:
        return await form_page(request, "register-fork", groups, form.filled, {"chassis": held.chassis}, refusal)
    return _onwards(fork.id)


@router.get("/v1/forks/{id}/record")
async def ask_for_a_job(
    request: Request, id: ForkId, job: Prefill = None, job_card: Prefill = None, revision: int | None = None
) -> Response:
    """The form that records a finished job; `job`, `job_card` and `revision` fill it in."""
    caller = await admitted(request, "bench")
    fork = await in_shop(request, lambda shop: forks.held(shop, caller.shop, id))
    held = await chassis_choices(request, fork.chassis)
    today = dt.datetime.now(dt.UTC).date().isoformat()
    given = {"job": job, "job_card": job_card, "revision": revision, "done_on": today}
    typed = {name: str(value) for name, value in given.items() if value is not None}
    typed["sent"] = secrets.token_urlsafe(24)
    about = {"chassis": held.chassis, "fork": fork_view(fork)}
    return await form_page(request, "record-job", job_form(held), typed, about)


@router.post("/v1/forks/{id}/record")
async def record_by_form(request: Request, id: ForkId) -> Response:
    """Record the job, once even if the form is sent several times, and go back to the fork."""
    try:
        caller = await permitted_by_form(request, "bench")
    except Unauthorised as refusal:
        return await once_more(request, JOB_NAMES, refusal)
    fork, _ = await in_shop(request, lambda shop: services.history(shop, caller.shop, id))
    form = await read_form(request, JOB_NAMES, MOST_BYTES)
    held = await chassis_choices(request, fork.chassis)
    groups = job_form(held)
    try:
        body = shaped(body_of(form, groups), SERVICE_BODY)
        job = finished(body, key_of(caller.shop, form.get("sent")), digest_of(request, form.raw))
        await record(request, caller, fork, job)
    except KEPT_IN_THE_FORM as refusal:
        about = {"chassis": held.chassis, "fork": fork_view(fork)}
        return await form_page(request, "record-job", groups, form.filled, about, refusal)
    return _onwards(id)


async def once_more(
    request: Request, names: Collection[str] | re.Pattern[str], refusal: Unauthorised, most: int = MOST_BYTES
) -> Response:
    """Keep what was typed, to send it again after the browser has signed in again, because its session was over.

    Only fields of our own form from our own page are kept. Raises the refusal if the client wants no page, and whatever
    `read_form` raises.
    """
    if "text/html" not in request.headers.get("accept", ""):
        raise refusal
    form = await read_form(request, names, most)
    return Response(
        page("send-again", {"typed": form.filled, "shown": _typed_by_hand(form.filled)}, request.scope),
        status_code=status_of(refusal),
        headers={**PRIVATE, "Vary": "Cookie", "Content-Type": "text/html; charset=utf-8", **_CHALLENGE},
    )


def _typed_by_hand(filled: Mapping[str, str]) -> Mapping[str, str]:
    return {
        name: value
        for name, value in filled.items()
        if name not in ("sent", "revision", "job_card", "version") and not name.startswith("was-")
    }


async def chassis_choices(request: Request, chassis: str) -> Choices:
    """The choices that forms offer for a chassis. Raises NotFound, Gone."""
    found: Choices = await request.app.state.catalogue.ask(lambda snapshot: choices(snapshot, chassis))
    return found


async def form_page(
    request: Request, question: str, groups: Sequence[FieldGroup], typed: Mapping[str, str], about: Mapping[str, Any],
    refusal: Refusal | None = None,
) -> Response:  # fmt: skip
    """The page of a form with what was typed; each fault of a refusal is beside its field."""
    faults, others = beside(refusal.faults, groups) if refusal is not None else ({}, [])
    if refusal is not None and not faults and not others:
        others = [refusal.detail]
    hidden = [field.name for group in groups if not group.heading for field in group.fields]
    answer = {
        **await named(about, request.app.state.catalogue), "groups": [group for group in groups if group.heading],
        "typed": typed, "faults": faults, "others": others,
        "hidden": [name for name in (*hidden, "sent", "version") if typed.get(name)],
    }  # fmt: skip
    return Response(
        page(question, answer, request.scope),
        status_code=200 if refusal is None else status_of(refusal),
        headers={**PRIVATE, "Vary": "Cookie", "Content-Type": "text/html; charset=utf-8"},
    )


def _onwards(id: str) -> Response:
    return RedirectResponse(f"/v1/forks/{id}", status_code=303, headers=PRIVATE)
