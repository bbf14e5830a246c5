"""The models of the bench log's answers."""

from typing import Annotated, Any, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.bench.flags import FlagRow
from app.bench.shapes import ConfigurationView, DueView, ForkView, Moment, ServiceView
from app.bench.work_order_shapes import OrderView
from app.questions.answers.cursors import NextCursor
from app.questions.answers.gap import Gap
from app.questions.answers.views import Caution, Undecided
from app.units.quantity import Quantity

Unlisted = Annotated[
    list[str], Field(description="What is fitted to the fork that no document in the catalogue lists.")
]


class ForkAnswer(TypedDict):
    """One fork, with the questions that can be asked of it."""

    revision: int
    fork: ForkView
    unlisted: Unlisted
    links: dict[str, str]
    cautions: list[Caution]


class ForkList(TypedDict):
    """The forks of the key's shop, newest first; `next` is absent on the last page."""

    revision: int
    total: int
    forks: list[ForkView]
    next: NotRequired[str]
    next_cursor: NotRequired[NextCursor]
    cautions: list[Caution]


class RecentConfiguration(TypedDict):
    """A configuration that forks of the shop have. No fork is named."""

    chassis: str
    configuration: ConfigurationView
    forks: int
    changed_at: Moment


class RecentAnswer(TypedDict):
    """The shop's configurations, latest first."""

    revision: int
    configurations: list[RecentConfiguration]
    cautions: list[Caution]


class ServiceAnswer(TypedDict):
    """A recorded job and the fork after it."""

    revision: int
    service: ServiceView
    fork: ForkView
    unlisted: Unlisted
    cautions: list[Caution]


class ServiceList(TypedDict):
    """Every job on a fork, oldest first as recorded."""

    revision: int
    fork: str
    services: list[ServiceView]
    cautions: list[Caution]


class DueAnswer(TypedDict):
    """What is due next, the most urgent first.

    `hours` are the riding hours it was computed with, `riding` the kind of riding. Without `riding` the strictest
    interval of each operation counts.
    """

    revision: int
    fork: str
    on: str
    hours: NotRequired[Quantity]
    riding: NotRequired[str]
    due: list[DueView]
    undecided: list[Undecided]
    gaps: list[Gap]
    cautions: list[Caution]


class LabelAnswer(TypedDict):
    """The lines of the label for the leg. Unknown figures are blank lines."""

    revision: int
    label: list[str]
    cautions: list[Caution]


class ForkExport(TypedDict):
    """Everything recorded about one fork."""

    revision: int
    fork: ForkView
    services: list[ServiceView]
    work_orders: list[OrderView]
    cautions: list[Caution]


class ErasedAnswer(TypedDict):
    """The id of the fork that was erased."""

    revision: int
    erased: str
    text: str
    cautions: list[Caution]


class FlagAnswer(TypedDict):
    """A note that a value looks wrong."""

    revision: int
    flag: FlagRow
    cautions: list[Caution]


class FlagList(TypedDict):
    """Open flags, oldest first; `next` is absent on the last page."""

    revision: int
    total: int
    flags: list[FlagRow]
    next: NotRequired[str]
    next_cursor: NotRequired[NextCursor]
    cautions: list[Caution]


def adapter(shape: Any) -> TypeAdapter[Any]:
    """The JSON writer for answers of this model."""
    return TypeAdapter(shape)


FORK, FORK_LIST, RECENT = adapter(ForkAnswer), adapter(ForkList), adapter(RecentAnswer)
SERVICE, SERVICE_LIST, DUE = adapter(ServiceAnswer), adapter(ServiceList), adapter(DueAnswer)
LABEL, EXPORT, ERASED = adapter(LabelAnswer), adapter(ForkExport), adapter(ErasedAnswer)
FLAG, FLAG_LIST = adapter(FlagAnswer), adapter(FlagList)
