"""Work orders in HTTP: bodies, answers, and a body as the change it means."""

from typing import Annotated, Literal, NotRequired, cast

from fastapi import Request
from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.access.keys import Caller
from app.bench.order_changes import OrderChange
from app.bench.order_views import finished_job
from app.bench.services import Finished
from app.bench.shapes import DateText, DueView, ForkView, Id, Riding, ServiceView
from app.bench.work_order_shapes import FIELD_NAMES, OrderFields, OrderSummary, OrderView
from app.bench.work_orders import HeldOrder, Opening
from app.catalogue.columns import SLUG
from app.json_types import JsonObject
from app.questions.answers.cursors import NextCursor
from app.questions.answers.views import Caution
from app.questions.job.comparison import CardComparison
from app.questions.job.job_card import JOB_CARD, JobCardAnswer, JobCardAsked, job_card
from app.web.forks.answers import adapter
from app.web.forks.bodies import (
    SERVICE_BODY,
    InItBody,
    MeasuredBody,
    Note,
    finished,
    refuse_no_day,
)
from app.web.forks.in_question import JobCardOfFork, filled_in
from app.web.reading.json_body import JsonNumber, shaped

StepText = Annotated[str, Field(pattern=r"^[1-9][0-9]{0,2}$")]
EntryId = Annotated[str, Field(pattern=r"^[a-z0-9-]{1,20}$")]
EntryText = Annotated[str, Field(max_length=80, pattern=r"^(\S([^\n\r\t]*\S)?)?$")]
FieldEntry = Annotated[str, Field(max_length=60, pattern=r"^(\S([^\n\r\t]*\S)?)?$")]
DayEntry = Annotated[str, Field(pattern=r"^(\d{4}-\d\d-\d\d)?$")]
IdEntry = Annotated[str, Field(pattern=f"^({SLUG.pattern})?$")]
PartEntry = Annotated[
    Literal["kept", "replaced", "undecided"],
    Field(description="What became of the part; `undecided` takes the choice back."),
]
_NOT_OF_THE_CARD = {"fork", "revision", "as_of", "min_revision", "format"}


class WorkOrderBody(OrderFields):
    """A work order to start. `card` holds the id of a chassis and the parameters of `job-card`, all as text;
    `fork` in it is the id of a fork in your bench log."""

    card: dict[str, str]


class WorkOrderPatch(TypedDict, total=False):
    """Changes of a work order; whatever is not named stays. False, `undecided` and an empty text remove an entry.

    `ticks` by number of the step, `measurements` by their id in the order, `parts` by id of the part. The other members
    are fields, and changing them needs If-Match; `fork` is the id of a fork in your bench log.
    """

    ticks: Annotated[dict[StepText, bool], Field(max_length=300)]
    measurements: Annotated[dict[EntryId, EntryText], Field(max_length=300)]
    parts: Annotated[dict[Id, PartEntry], Field(max_length=300)]
    serial: FieldEntry
    bike: FieldEntry
    order_number: FieldEntry
    promised: DayEntry
    done_by: FieldEntry
    fork: IdEntry


class OrderRecordBody(TypedDict):
    """The end of the job. `hours` are the total riding hours of the fork.

    Without `measured`, the final measurements of the order are recorded; without `fitted`, what its card changes.
    """

    done_on: NotRequired[DateText]
    hours: NotRequired[Annotated[JsonNumber, Field(ge=0, le=100_000)]]
    riding: NotRequired[Riding]
    fitted: NotRequired[InItBody]
    measured: NotRequired[MeasuredBody]
    note: NotRequired[Note]


class WorkOrderAnswer(TypedDict):
    """One work order, its card as it was when the order was started, and how the catalogue has changed since.

    `due` is what the fork needs next; it is present once the job is recorded, if the catalogue lists the fork as it is.
    """

    revision: int
    order: OrderView
    card: JobCardAnswer
    since: CardComparison
    due: NotRequired[list[DueView]]
    links: dict[str, str]
    cautions: list[Caution]


class WorkOrderList(TypedDict):
    """The work orders of the key's shop, newest first; `next` is absent on the last page."""

    revision: int
    total: int
    work_orders: list[OrderSummary]
    next: NotRequired[str]
    next_cursor: NotRequired[NextCursor]
    cautions: list[Caution]


class OrderRecordAnswer(TypedDict):
    """The recorded job, the fork after it, and what it needs next.

    `due` is absent if the catalogue does not list the fork as it is built.
    """

    revision: int
    order: OrderSummary
    service: ServiceView
    fork: ForkView
    due: NotRequired[list[DueView]]
    cautions: list[Caution]


class OrderErasedAnswer(TypedDict):
    """The id of the work order that was erased."""

    revision: int
    erased: str
    text: str
    cautions: list[Caution]


OrderState = Literal["open", "recorded"]
ORDER_BODY, ORDER_PATCH, RECORD_BODY = (
    TypeAdapter(WorkOrderBody), TypeAdapter(WorkOrderPatch), TypeAdapter(OrderRecordBody),
)  # fmt: skip
WORK_ORDER, WORK_ORDER_LIST = adapter(WorkOrderAnswer), adapter(WorkOrderList)
ORDER_RECORD, ORDER_ERASED = adapter(OrderRecordAnswer), adapter(OrderErasedAnswer)


async def opening(request: Request, caller: Caller, chassis: str, asked: JobCardOfFork, fields: OrderFields) -> Opening:
    """The work order for a card that is asked for, with the card frozen. Raises what `job-card` and `fork=` raise."""
    named = fields_of(fields)
    wanted = await filled_in(request, chassis, asked, caller)
    names = wanted.model_fields_set - _NOT_OF_THE_CARD
    known = wanted.model_dump(mode="json", include=names, exclude_defaults=True)
    of_card = JobCardAsked.model_validate(known)
    card: JobCardAnswer = await request.app.state.catalogue.ask(
        lambda snapshot: job_card(snapshot, chassis, of_card), asked.pin()
    )
    text = JOB_CARD.dump_json(card).decode()
    return Opening(chassis, card["job"], card["revision"], known, text, len(card["steps"]), named, asked.fork)


def fields_of(body: OrderFields) -> OrderFields:
    """The fields of an order in a body. Raises Invalid for a day that does not exist."""
    refuse_no_day(body.get("promised"), "/promised")
    given: JsonObject = dict(body)
    return cast(OrderFields, {name: given[name] for name in FIELD_NAMES if name in given})


def change_of(body: WorkOrderPatch) -> OrderChange:
    """The change that a body means. Raises Invalid for a day that does not exist."""
    given: JsonObject = dict(body)
    refuse_no_day(given.get("promised") or None, "/promised")
    measurements = {id: text or None for id, text in body.get("measurements", {}).items()}
    parts = {id: None if entry == "undecided" else entry for id, entry in body.get("parts", {}).items()}
    fields = {name: given[name] or None for name in (*FIELD_NAMES, "fork") if name in given}
    return OrderChange(body.get("ticks", {}), measurements, parts, fields)


def job_of(order: HeldOrder, body: OrderRecordBody, key: str | None, digest: str) -> Finished:
    """The finished job of an order, completed by a body. Raises Invalid with pointers."""
    return finished(shaped({**finished_job(order), **body}, SERVICE_BODY), key, digest)
