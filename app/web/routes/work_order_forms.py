"""Forms of work orders for a signed-in browser: start one, save a phase, change its fields, record the job."""

import datetime as dt
import re
import secrets
from collections.abc import Mapping
from typing import Annotated

from fastapi import Path, Query, Request
from starlette.responses import RedirectResponse, Response

from app.access.idempotency import IdempotentRequest
from app.access.keys import Caller
from app.bench import forks, work_orders
from app.bench.forks import fork_view
from app.bench.order_changes import OrderChange
from app.bench.order_views import finished_job, order_summary, order_view
from app.bench.work_order_shapes import FIELD_NAMES, OrderView
from app.bench.work_orders import HeldOrder
from app.errors import Conflict, Invalid, NoRoom, NotFound, Refusal, Stale, Unauthorised, Unavailable
from app.json_types import JsonObject
from app.questions.job.choices import JobChoice
from app.web.access import admitted, in_shop, permitted_by_form, to_its_end
from app.web.forks import work_orders as orders
from app.web.forks.forms import (
    JOB_NAMES,
    ORDER_NAMES,
    FieldGroup,
    body_of,
    finish_form,
    order_form,
    typed_of,
)
from app.web.forks.in_question import PRIVATE, JobCardOfFork
from app.web.problem import status_of
from app.web.reading.form_body import Form, read_form
from app.web.reading.idempotency import digest_of, key_of_form
from app.web.reading.json_body import shaped
from app.web.reading.strict import strict_router
from app.web.representation.named import named
from app.web.representation.page import page
from app.web.routes.bench_forms import MOST_BYTES, chassis_choices, form_page, once_more
from app.web.routes.chassis_questions import ChassisId
from app.web.routes.work_orders import OrderId, order_answer, record_order

router = strict_router(include_in_schema=False)

MOST_FORKS = 200
_ENTRY = re.compile(r"(was-)?(tick|measure|part)-[a-z0-9-]{1,80}")
_VERSION = re.compile(r"[0-9]{1,10}")
_KEPT = (Invalid, Conflict, Stale, Unavailable, NoRoom)
AskedCard = Annotated[JobCardOfFork, Query()]
PhaseOfOrder = Annotated[str, Path()]


@router.get("/v1/work-orders/start/{chassis}")
async def ask_for_an_order(request: Request, chassis: ChassisId, asked: AskedCard) -> Response:
    """The form that starts a work order for a job card; refused like the card itself."""
    caller = await admitted(request, "bench")
    opening = await orders.opening(request, caller, chassis, asked, {})
    typed = {"sent": secrets.token_urlsafe(24)}
    if opening.fork is not None:
        fork = await in_shop(request, lambda shop: forks.held(shop, caller.shop, str(opening.fork)))
        typed["serial"] = fork.serial
    about = {"chassis": chassis, "job": opening.job, "steps": opening.steps}
    return await form_page(request, "start-order", order_form(), typed, about)


@router.post("/v1/work-orders/start/{chassis}")
async def start_by_form(request: Request, chassis: ChassisId, asked: AskedCard) -> Response:
    """Start the work order, once even if the form is sent several times, and go to its page."""
    try:
        caller = await permitted_by_form(request, "bench")
    except Unauthorised as refusal:
        return await once_more(request, ORDER_NAMES, refusal)
    form = await read_form(request, ORDER_NAMES, MOST_BYTES)
    groups = order_form()
    opening = await orders.opening(request, caller, chassis, asked, {})
    try:
        body = shaped({"card": {}, **body_of(form, groups)}, orders.ORDER_BODY)
        wanted = opening._replace(fields=orders.fields_of(body))
        same = IdempotentRequest(key_of_form(caller.shop, form.get("sent")), digest_of(request, form.raw))
        shop = request.app.state.shop
        order, _ = await to_its_end(lambda: work_orders.open_order(shop, caller.shop, wanted, same))
    except _KEPT as refusal:
        about = {"chassis": chassis, "job": opening.job, "steps": opening.steps}
        return await form_page(request, "start-order", groups, form.filled, about, refusal)
    return _onwards(order.id)


@router.post("/v1/work-orders/{id}/phases/{phase}")
async def save_phase(request: Request, id: OrderId, phase: PhaseOfOrder) -> Response:
    """Save the entries of a phase that were changed on this page; what another device saved meanwhile stays."""
    try:
        caller = await permitted_by_form(request, "bench")
    except Unauthorised as refusal:
        return await once_more(request, _ENTRY, refusal)
    order = await in_shop(request, lambda shop: work_orders.held(shop, caller.shop, id))
    names = _entries(order_view(order), phase)
    form = await read_form(request, [*names, *(f"was-{name}" for name in names)], MOST_BYTES)
    shop = request.app.state.shop
    try:
        wanted = _change(form, names)
        await to_its_end(lambda: work_orders.change(shop, caller.shop, id, wanted))
    except _KEPT as refusal:
        return await _order_page(request, caller, order, form, phase, refusal)
    return RedirectResponse(f"/v1/work-orders/{id}#phase-{phase}", status_code=303, headers=PRIVATE)


def _entries(order: OrderView, phase: str) -> dict[str, str]:
    """The fields of a phase by name, each with its pointer in a patch. Raises NotFound."""
    found = next((each for each in order["phases"] if each["id"] == phase), None)
    if found is None:
        raise NotFound("This work order has no such phase.")
    is_last = found is order["phases"][-1]
    steps = set(found["steps"])
    names = {f"tick-{step}": f"/ticks/{step}" for step in found["steps"]}
    for measurement in order["measurements"]:
        if measurement.get("step") in steps or (is_last and "step" not in measurement):
            names[f"measure-{measurement['id']}"] = f"/measurements/{measurement['id']}"
    for part in order["parts"]:
        if part.get("step") in steps or (is_last and "step" not in part):
            names[f"part-{part['id']}"] = f"/parts/{part['id']}"
    return names


def _change(form: Form, names: Mapping[str, str]) -> OrderChange:
    """The entries that differ from what the page showed (`was-…`). Raises Invalid with pointers."""
    patch: dict[str, JsonObject] = {"ticks": {}, "measurements": {}, "parts": {}}
    for name, pointer in names.items():
        if form.get(name) != form.get(f"was-{name}"):
            _, member, entry = pointer.split("/")
            value = form.get(name)
            patch[member][entry] = _sent(member, value)
    return orders.change_of(shaped(patch, orders.ORDER_PATCH))


def _sent(member: str, value: str) -> str | bool:
    """An entry of a form as the body of a program has it."""
    if member == "ticks":
        return bool(value)
    return value if member == "measurements" else value or "undecided"


async def _order_page(
    request: Request, caller: Caller, order: HeldOrder, form: Form, phase: str, refusal: Refusal
) -> Response:
    """The page of an order with what was typed in a phase, and each fault beside its field."""
    answer = orders.WORK_ORDER.dump_python(await order_answer(request, caller, order), mode="json")
    names = {pointer: name for name, pointer in _entries(order_view(order), phase).items()}
    faults = {names[each.pointer]: each.text for each in refusal.faults if each.pointer in names}
    others = [each.text for each in refusal.faults if each.pointer not in names] or ([] if faults else [refusal.detail])
    shown = {"typed": form.filled, "faults": faults, "others": others, "phase": phase}
    body = page("work-order", {**await named(answer, request.app.state.catalogue), **shown}, request.scope)
    headers = {**PRIVATE, "Vary": "Cookie", "Content-Type": "text/html; charset=utf-8"}
    return Response(body, status_code=status_of(refusal), headers=headers)


@router.get("/v1/work-orders/{id}/fields")
async def ask_for_fields(request: Request, id: OrderId) -> Response:
    """The form that changes the fields of a work order."""
    caller = await admitted(request, "bench")
    order = await in_shop(request, lambda shop: work_orders.held(shop, caller.shop, id))
    return await _fields_page(request, caller, order)


@router.post("/v1/work-orders/{id}/fields")
async def save_fields(request: Request, id: OrderId) -> Response:
    """Change the fields of a work order, unless another device has changed them since the form was made."""
    try:
        caller = await permitted_by_form(request, "bench")
    except Unauthorised as refusal:
        return await once_more(request, ORDER_NAMES, refusal)
    order = await in_shop(request, lambda shop: work_orders.held(shop, caller.shop, id))
    form = await read_form(request, ORDER_NAMES, MOST_BYTES)
    shop = request.app.state.shop
    try:
        typed = body_of(form, order_form(await _forks(request, caller, order)))
        asked = {"fork", *FIELD_NAMES} if "fork" in typed or order.fork is None else set(FIELD_NAMES)
        wanted = orders.change_of(shaped({name: typed.get(name, "") for name in asked}, orders.ORDER_PATCH))
        versions = {int(form.get("version"))} if _VERSION.fullmatch(form.get("version")) else set()
        await to_its_end(lambda: work_orders.change(shop, caller.shop, id, wanted, versions))
    except _KEPT as refusal:
        return await _fields_page(request, caller, order, form, refusal)
    return _onwards(id)


async def _fields_page(
    request: Request, caller: Caller, order: HeldOrder, form: Form | None = None, refusal: Refusal | None = None
) -> Response:
    groups = order_form(await _forks(request, caller, order))
    stored = {**order.fields, **({} if order.fork is None else {"fork": order.fork})}
    typed = {**(typed_of(stored, groups) if form is None else form.filled), "version": str(order.version)}
    about = {"order": order_summary(order), "chassis": order.chassis}
    return await form_page(request, "order-fields", groups, typed, about, refusal)


async def _forks(request: Request, caller: Caller, order: HeldOrder) -> list[JobChoice]:
    """The forks of the log that the order may be for: those of its chassis, the latest first."""
    found = await in_shop(
        request,
        lambda shop: forks.listed(shop, caller.shop, MOST_FORKS, None, serial=None, chassis=order.chassis),
    )
    listed = [(fork.id, fork.serial) for fork in found.forks]
    if order.fork is not None and order.fork not in dict(listed):
        listed.append((order.fork, order.fields.get("serial", order.fork)))
    return listed


@router.get("/v1/work-orders/{id}/finish")
async def ask_for_the_end(request: Request, id: OrderId) -> Response:
    """The form that records the job of a work order, filled in from the order; without a fork, how to name one."""
    caller = await admitted(request, "bench")
    order = await in_shop(request, lambda shop: work_orders.held(shop, caller.shop, id))
    if order.fork is None:
        return await _finish_page(request, caller, order, [], {})
    groups = finish_form(await chassis_choices(request, order.chassis))
    today = dt.datetime.now(dt.UTC).date().isoformat()
    typed = typed_of({**finished_job(order), "done_on": today}, groups)
    return await _finish_page(request, caller, order, groups, {**typed, "sent": secrets.token_urlsafe(24)})


@router.post("/v1/work-orders/{id}/finish")
async def record_order_by_form(request: Request, id: OrderId) -> Response:
    """Record the job, once even if the form is sent several times, and show what is due next."""
    try:
        caller = await permitted_by_form(request, "bench")
    except Unauthorised as refusal:
        return await once_more(request, JOB_NAMES, refusal)
    order = await in_shop(request, lambda shop: work_orders.held(shop, caller.shop, id))
    form = await read_form(request, JOB_NAMES, MOST_BYTES)
    groups = finish_form(await chassis_choices(request, order.chassis))
    try:
        body = shaped({"measured": {}, "fitted": {}, **body_of(form, groups)}, orders.RECORD_BODY)
        job = orders.job_of(order, body, key_of_form(caller.shop, form.get("sent")), digest_of(request, form.raw))
        await record_order(request, caller, order, job)
    except _KEPT as refusal:
        return await _finish_page(request, caller, order, groups, form.filled, refusal)
    return _onwards(id)


async def _finish_page(
    request: Request, caller: Caller, order: HeldOrder, groups: list[FieldGroup], typed: Mapping[str, str],
    refusal: Refusal | None = None,
) -> Response:  # fmt: skip
    about: JsonObject = {"order": order_summary(order), "chassis": order.chassis}
    if order.fork is not None:
        fork = await in_shop(request, lambda shop: forks.held(shop, caller.shop, str(order.fork)))
        about["fork"] = fork_view(fork)
    return await form_page(request, "finish-order", groups, typed, about, refusal)


def _onwards(id: str) -> Response:
    return RedirectResponse(f"/v1/work-orders/{id}", status_code=303, headers=PRIVATE)
