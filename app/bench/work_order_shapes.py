"""The shapes of a work order: as stored (JSON) and as answered. Unknown values are absent."""

from typing import Annotated, Literal, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.bench.shapes import DateText, Moment
from app.units.quantity import Quantity

OrderText = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^\S([^\n\r\t]*\S)?$")]
PartFate = Literal["kept", "replaced"]
LimitVerdict = Literal["inside", "outside"]
PhaseId = Literal["a", "b", "c", "d"]


class OrderFields(TypedDict, total=False):
    """The head of a work order, as the workshop fills it in."""

    serial: OrderText
    bike: OrderText
    order_number: OrderText
    promised: DateText
    done_by: OrderText


class OrderProgress(TypedDict):
    """How far the work has come: the time of each tick by step, measurements as written by id, parts by id."""

    ticks: dict[str, str]
    measurements: dict[str, str]
    parts: dict[str, PartFate]


FIELDS = TypeAdapter(OrderFields)
PROGRESS = TypeAdapter(OrderProgress)
FIELD_NAMES = tuple(OrderFields.__annotations__)


class PhaseView(TypedDict):
    """A phase of the work: its steps by number, and how many of them are ticked."""

    id: PhaseId
    name: str
    steps: list[int]
    done: int


class OrderMeasurement(TypedDict):
    """Something to measure: at a step, or at the end. `written` is what was entered.

    `listed` is the catalogue's figure, `limit` its limit. With a limit, `value` and `verdict` say what the entry means.
    """

    id: str
    step: NotRequired[int]
    what: str
    listed: NotRequired[Quantity]
    limit: NotRequired[Quantity]
    action: NotRequired[str]
    written: NotRequired[str]
    value: NotRequired[Quantity]
    verdict: NotRequired[LimitVerdict]


class OrderPart(TypedDict):
    """A part of the card and the first step that names it; `fate` is absent until it is decided."""

    id: str
    name: str
    part_number: NotRequired[str]
    count: NotRequired[int]
    when: str
    step: NotRequired[int]
    fate: NotRequired[PartFate]


class OrderSummary(OrderFields):
    """A work order in the list. `service` is the number of the recorded job."""

    id: str
    chassis: str
    job: str
    fork: NotRequired[str]
    revision: int
    steps_total: int
    steps_done: int
    service: NotRequired[int]
    opened_at: Moment
    changed_at: Moment


class OrderView(OrderSummary):
    """A work order with its phases, ticks, measurements and parts. `version` counts changes of its fields."""

    job_card: str
    version: int
    phases: list[PhaseView]
    ticks: list[int]
    measurements: list[OrderMeasurement]
    parts: list[OrderPart]
