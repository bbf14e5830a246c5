"""The shapes of a fork and a finished job: as sent, as stored (JSON) and as answered. Unknown values are absent."""

from typing import Annotated, Literal, NotRequired

from pydantic import Field, StringConstraints, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.columns import SLUG
from app.units.counts import Clicks, End
from app.units.quantity import Quantity

Id = Annotated[str, StringConstraints(pattern=f"^{SLUG.pattern}$")]
DateText = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d\d-\d\d$"), Field(json_schema_extra={"format": "date"})]
Moment = Annotated[str, Field(json_schema_extra={"format": "date-time"})]
Count = Annotated[int, Field(ge=0, le=99)]
State = Literal["due", "not due", "not known"]
Riding = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9 -]{0,39}$")]
"""A kind of riding, such as `park`; `other` is any kind that no interval names."""


class Figure(TypedDict):
    """A measured or set value, digit for digit."""

    value: str
    unit: str


class Filled(TypedDict):
    """The fluid in a chamber."""

    chamber: Annotated[str, Field(min_length=1, max_length=80)]
    fluid: Id


class Configuration(TypedDict, total=False):
    """The configuration of a fork. `spacers` are volume spacers; wheel size is the bead seat diameter in mm."""

    model_year: Annotated[int, Field(ge=1900, le=2200)]
    variant: Id
    travel_mm: Annotated[float, Field(gt=0, le=1000)]
    spring: Id
    travel_spacers: Count
    spacers: Count
    damper: Id
    wheel_size: Annotated[int, Field(ge=200, le=700)]
    fluids: list[Filled]


class PartFitted(TypedDict):
    """A part that was fitted; `count` is absent if it was not noted."""

    part: Id
    count: NotRequired[Count]


class SagAt(TypedDict):
    """How far the fork sagged at which start pressure (gauge, at full extension)."""

    sag: Figure
    pressure: Figure


class Measured(TypedDict, total=False):
    """Measurements when the job was finished.

    Clicks are counted from `clicks_from`, which is absent if unknown. The totals are those of the damper when the job
    was noted.
    """

    pressure: Figure
    second_pressure: Figure
    sag: Figure
    sags: list[SagAt]
    rider_mass: Figure
    exposed_stanchion: Figure
    axle_to_crown: Figure
    rebound_clicks: Count
    compression_clicks: Count
    clicks_from: End
    rebound_clicks_total: Count
    compression_clicks_total: Count


class Done(TypedDict):
    """A finished job as stored. `fitted` is the part of the configuration that was changed."""

    fitted: Configuration
    parts: list[PartFitted]
    measured: Measured
    revision: NotRequired[int]
    job_card: NotRequired[str]
    note: NotRequired[str]


CONFIGURATION = TypeAdapter(Configuration)
DONE = TypeAdapter(Done)


class FluidInIt(TypedDict):
    """The fluid in a chamber."""

    chamber: str
    fluid: str


class ConfigurationView(TypedDict, total=False):
    """The configuration of a fork, as answers show it."""

    model_year: int
    variant: str
    travel: Quantity
    spring: str
    travel_spacers: int
    spacers: int
    damper: str
    wheel_size: int
    fluids: list[FluidInIt]


class SagMeasured(TypedDict):
    """How far the fork sagged at which start pressure."""

    sag: Quantity
    pressure: Quantity


class MeasuredView(TypedDict, total=False):
    """Measurements, as answers show them."""

    pressure: Quantity
    second_pressure: Quantity
    sag: Quantity
    sags: list[SagMeasured]
    rider_mass: Quantity
    exposed_stanchion: Quantity
    axle_to_crown: Quantity
    rebound_clicks: Clicks
    compression_clicks: Clicks


class ServiceView(TypedDict):
    """One finished job. `configuration` is what was in the fork then.

    `became_present` is false for a job that was entered after a later one; only the changed part of its configuration
    is known.
    """

    number: int
    job: str
    done_on: NotRequired[DateText]
    hours: NotRequired[Quantity]
    riding: NotRequired[str]
    recorded_at: Moment
    fitted: ConfigurationView
    parts: list[dict[str, object]]
    measured: MeasuredView
    configuration: ConfigurationView
    became_present: bool
    revision: NotRequired[int]
    job_card: NotRequired[str]
    note: NotRequired[str]


class ForkView(TypedDict):
    """One fork: its serial, its chassis and its current configuration."""

    id: str
    serial: str
    chassis: str
    configuration: ConfigurationView
    first_used_on: NotRequired[DateText]
    riding: NotRequired[str]
    registered_at: Moment
    changed_at: Moment
    version: int


class CountedFrom(TypedDict):
    """Since when an interval is counted: the day, the riding hours or both, and the last job or first use."""

    on: NotRequired[DateText]
    hours: NotRequired[Quantity]
    what: str


class DueInterval(TypedDict):
    """The interval of the catalogue that is counted."""

    id: str
    hours: NotRequired[Quantity]
    months: NotRequired[Quantity]
    riding: NotRequired[str]


class DueView(TypedDict):
    """When an operation is next due, by the source's months, hours or both, whichever comes first.

    `counted_from` is the last job that includes it, or the fork's first use. `not_known` names what could not be
    counted; the operation may then be due earlier.
    """

    operation: str
    state: State
    due_on: NotRequired[DateText]
    days_left: NotRequired[int]
    due_at_hours: NotRequired[Quantity]
    hours_left: NotRequired[Quantity]
    counted_from: NotRequired[CountedFrom]
    not_known: list[str]
    interval: DueInterval
    text: str
