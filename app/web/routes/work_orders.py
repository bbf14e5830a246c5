"""Work orders: a job card kept for one bike, with its ticks and measurements. Needs a key with the scope `bench`."""

import datetime as dt
from typing import Annotated

from fastapi import Path, Query, Request
from pydantic import Field
from starlette.responses import Response

from app.access.keys import Caller
from app.bench import forks, services, work_orders
from app.bench.forks import Held, fork_view
from app.bench.order_views import card_address, order_summary, order_view
from app.bench.services import RecordedService, service_view
from app.bench.shapes import DueView
from app.bench.work_orders import HeldOrder
from app.catalogue.catalogue import PRESENT, Pin
from app.catalogue.rows import Snapshot
from app.errors import Gone, Invalid, NotFound, PreconditionMissing
from app.json_types import JsonObject
from app.questions.answers.cautions import cautions
from app.questions.answers.cursors import Cursor
from app.questions.answers.parameters import LookupParameters
from app.questions.job.comparison import CardComparison, compared
from app.questions.tables.listing import Paged
from app.web.access import admitted, in_shop, permitted, to_its_end
from app.web.contract.openapi import json_body
from app.web.forks import work_orders as orders
from app.web.forks.card_asked import card_asked
from app.web.forks.in_question import PRIVATE
from app.web.forks.work_orders import OrderState
from app.web.reading.idempotency import REPLAYED, IdempotencyKey, digest_of, key_of, keyed
from app.web.reading.json_body import read_model
from app.web.reading.strict import strict_router
from app.web.representation.entity_tags import versions_in
from app.web.routes.fork_services import check_job, due_next, most_hours
from app.web.routes.forks import ForkIfMatch, ForkPinnedAsked, fork_cautions, respond_private
from app.web.routes.tables import respond_page

router = strict_router(tags=["bench log"])

OrderId = Annotated[str, Path(description="Id of the work order, given when it was started.")]


class OrdersAsked(Paged):
    """The parameters of the list of work orders."""

    fork: str | None = Field(None, max_length=80, description="Work orders of this fork of the bench log.")
    state: OrderState | None = Field(None, description="Open orders, or those whose job is recorded.")


@router.post(
    "/v1/work-orders",
    operation_id="startWorkOrder",
    summary="Start a work order from a job card",
    response_model=None,
    openapi_extra=json_body(orders.ORDER_BODY, "The card, and whose fork it is."),
    status_code=201,
    responses={201: {"model": orders.WorkOrderAnswer, "description": "The work order with its frozen card."}},
)
async def start_work_order(
    request: Request, asked: Annotated[LookupParameters, Query()], idempotency_key: IdempotencyKey = None
) -> Response:
    """The card is kept as it is now. 422 as for `job-card`; 409 if the shop has 5,000 work orders."""
    caller = await permitted(request, "bench")
    body = await read_model(request, orders.ORDER_BODY)
    revision = await request.app.state.catalogue.ask(lambda snapshot: snapshot.revision, asked.pin())
    shared = {"units": asked.units, **asked.units_asked(), "revision": revision}
    chassis, wanted = card_asked(body["card"], ("card",), shared)
    new = await orders.opening(request, caller, chassis, wanted, body)
    same = await keyed(request, caller.shop, idempotency_key)
    shop = request.app.state.shop
    order, again = await to_its_end(lambda: work_orders.open_order(shop, caller.shop, new, same))
    headers = {"Location": f"/v1/work-orders/{order.id}"} | (REPLAYED if again else {})
    return await _shown(request, caller, order, status=201, headers=headers)


@router.get(
    "/v1/work-orders",
    operation_id="listWorkOrders",
    summary="The work orders of this shop, newest first",
    response_model=None,
    responses={200: {"model": orders.WorkOrderList, "description": "A page of work orders, without their cards."}},
)
async def list_work_orders(request: Request, asked: Annotated[OrdersAsked, Query()]) -> Response:
    """Work orders of the key's own shop; `state=open` lists those that are not recorded."""
    caller = await admitted(request, "bench")
    if (fork := asked.fork) is not None:
        await in_shop(request, lambda shop: forks.held(shop, caller.shop, fork))
    cursor = asked.read_cursor("work-orders", (str, str))
    after = None if cursor is None else (str(cursor.place[0]), str(cursor.place[1]))
    found = await in_shop(
        request,
        lambda shop: work_orders.listed(
            shop, caller.shop, asked.limit, after, fork=fork, state=asked.state
        ),
    )  # fmt: skip
    revision = await request.app.state.catalogue.ask(lambda snapshot: snapshot.revision, asked.pin())
    answer: JsonObject = {
        "revision": revision, "total": found.total, "work_orders": [order_summary(each) for each in found.orders],
        "cautions": await fork_cautions(request, {each.chassis for each in found.orders}),
    }  # fmt: skip
    if found.more:
        last = found.orders[-1]
        answer["next"] = asked.write_cursor("work-orders", Cursor(revision, found.total, (last.opened_at, last.id)))
    return await respond_page(
        request, answer, orders.WORK_ORDER_LIST, question="work-orders", rows="work_orders", headers=PRIVATE
    )


@router.get(
    "/v1/work-orders/{id}",
    operation_id="getWorkOrder",
    summary="One work order with its card",
    response_model=None,
    responses={200: {"model": orders.WorkOrderAnswer, "description": "The order; its ETag is needed for its fields."}},
)
async def get_work_order(request: Request, id: OrderId, asked: ForkPinnedAsked) -> Response:
    """`card` is as it was when the order was started; `since` says if the catalogue would now give another one."""
    caller = await admitted(request, "bench")
    order = await in_shop(request, lambda shop: work_orders.held(shop, caller.shop, id))
    return await _shown(request, caller, order, pin=asked.pin())


@router.patch(
    "/v1/work-orders/{id}",
    operation_id="changeWorkOrder",
    summary="Tick steps, note measurements, decide parts",
    response_model=None,
    openapi_extra=json_body(orders.ORDER_PATCH, "The entries to change; all others stay."),
    responses={200: {"model": orders.WorkOrderAnswer, "description": "The work order after the change."}},
)  # fmt: skip
async def change_work_order(request: Request, id: OrderId, if_match: ForkIfMatch = None) -> Response:
    """Entries are merged one by one. Ticks, measurements and parts need no If-Match: two devices lose nothing. For the
    fields: 428 without If-Match, 412 if they have changed since you read them. 409 once the job is recorded."""
    caller = await permitted(request, "bench")
    body = await read_model(request, orders.ORDER_PATCH)
    await in_shop(request, lambda shop: work_orders.held(shop, caller.shop, id))
    wanted = orders.change_of(body)
    if wanted.fields and if_match is None:
        raise PreconditionMissing("send If-Match with the ETag of the work order to change its fields")
    versions = versions_in(if_match or "")
    shop = request.app.state.shop
    order = await to_its_end(lambda: work_orders.change(shop, caller.shop, id, wanted, versions))
    return await _shown(request, caller, order)


@router.post(
    "/v1/work-orders/{id}/record",
    operation_id="recordWorkOrder",
    summary="Record the job of a work order",
    response_model=None,
    openapi_extra=json_body(orders.RECORD_BODY, "The day, the riding hours, and what the order does not say."),
    status_code=201,
    responses={201: {"model": orders.OrderRecordAnswer, "description": "The recorded job, and what is due next."}},
)
async def record_work_order(request: Request, id: OrderId, idempotency_key: IdempotencyKey = None) -> Response:
    """The order becomes a job of its fork and is closed; it needs a fork of the bench log. 409 if it was recorded."""
    caller = await permitted(request, "bench")
    order = await in_shop(request, lambda shop: work_orders.held(shop, caller.shop, id))
    body = await read_model(request, orders.RECORD_BODY)
    job = orders.job_of(order, body, key_of(caller.shop, idempotency_key), digest_of(request, await request.body()))
    order, service, after, again = await record_order(request, caller, order, job)
    revision, due = await _due(request, caller, after.id)
    answer: JsonObject = {
        "revision": revision, "order": order_summary(order), "service": service_view(service),
        "fork": fork_view(after), "cautions": await fork_cautions(request, {after.chassis}, "limits"),
    }  # fmt: skip
    if due is not None:
        answer["due"] = due
    headers = REPLAYED if again else {}
    return await respond_private(request, answer, orders.ORDER_RECORD, "order-record", status=201, headers=headers)


async def record_order(
    request: Request, caller: Caller, order: HeldOrder, job: services.Finished
) -> tuple[HeldOrder, RecordedService, Held, bool]:
    """Record the job of an order; returns the order, the job, the fork after it, and whether it was recorded before.

    Raises Invalid with pointers, Conflict, NotFound.
    """
    id = work_orders.fork_of(order)
    fork = await in_shop(request, lambda shop: forks.held(shop, caller.shop, id))
    await check_job(request, caller, fork, job)
    shop = request.app.state.shop
    closed, service, after, new = await to_its_end(
        lambda: work_orders.record(shop, caller.shop, order.id, job, caller.id)
    )
    return closed, service, after, not new


@router.delete(
    "/v1/work-orders/{id}",
    operation_id="eraseWorkOrder",
    summary="Erase a work order",
    response_model=None,
    responses={200: {"model": orders.OrderErasedAnswer, "description": "No trace is left, not even in free pages."}},
)
async def erase_work_order(request: Request, id: OrderId) -> Response:
    """Permanent; a job that was recorded from it stays. 503 if the database file could not be rewritten yet: the order
    is hidden; send the request again."""
    caller = await permitted(request, "bench")
    await to_its_end(lambda: work_orders.erase(request.app.state.shop, caller.shop, id))
    revision = await request.app.state.catalogue.ask(lambda snapshot: snapshot.revision)
    text = "Erased. Erase earlier copies, such as backups, yourself."
    answer = {"revision": revision, "erased": id, "text": text, "cautions": cautions()}
    return await respond_private(request, answer, orders.ORDER_ERASED, "erased")


async def order_answer(request: Request, caller: Caller, order: HeldOrder, pin: Pin = PRESENT) -> JsonObject:
    """The answer about a work order: its card, the same card of the catalogue at a revision, and what is due."""

    def ask(snapshot: Snapshot) -> CardComparison:
        return compared(snapshot, order.chassis, order.asked, order.card)

    since = await request.app.state.catalogue.ask(ask, pin)
    here = f"/v1/work-orders/{order.id}"
    links = {"record": f"{here}/record", "job_card": card_address(order, pinned=False)}
    answer: JsonObject = {
        "revision": since["revision"], "order": order_view(order), "card": order.card, "since": since,
        "links": links, "cautions": await fork_cautions(request, {order.chassis}),
    }  # fmt: skip
    if order.fork is not None:
        links |= {"fork": f"/v1/forks/{order.fork}", "due": f"/v1/forks/{order.fork}/due"}
    if order.fork is not None and order.service is not None:
        _, due = await _due(request, caller, order.fork)
        if due is not None:
            answer["due"] = due
    return answer


async def _shown(
    request: Request, caller: Caller, order: HeldOrder, status: int = 200, headers: dict[str, str] | None = None,
    pin: Pin = PRESENT,
) -> Response:  # fmt: skip
    answer = await order_answer(request, caller, order, pin)
    return await respond_private(
        request, answer, orders.WORK_ORDER, "work-order", status=status, headers=headers or {}, version=order.version
    )


async def _due(request: Request, caller: Caller, id: str) -> tuple[int, list[DueView] | None]:
    """The latest revision, and what a fork needs next today; None if the catalogue does not know it as it is built."""
    fork, done = await in_shop(request, lambda shop: services.history(shop, caller.shop, id))
    today = dt.datetime.now(dt.UTC).date()

    def ask(snapshot: Snapshot) -> tuple[int, list[DueView] | None]:
        try:
            found, _ = due_next(snapshot, fork, done, today=today, hours=most_hours(done), riding=fork.riding)
        except (NotFound, Gone, Invalid):
            return snapshot.revision, None
        return snapshot.revision, found

    found: tuple[int, list[DueView] | None] = await request.app.state.catalogue.ask(ask)
    return found
