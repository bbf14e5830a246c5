"""What a fork and a finished job are, as sent, as stored (JSON) and as answered. What is not known is absent."""

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
"""A kind of riding, such as `park`; `other` is whatever no interval names."""


class Figure(TypedDict):
    """A measured or set value, digit for digit."""

    value: str
    unit: str


class Filled(TypedDict):
    """Which fluid is in a chamber."""

    chamber: Annotated[str, Field(min_length=1, max_length=80)]
    fluid: Id


class Configuration(TypedDict, total=False):
    """What is in a fork. `spacers` are volume spacers; wheel size is the bead seat diameter in mm."""

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
    """A part that was fitted; `count` is absent where it was not noted."""

    part: Id
    count: NotRequired[Count]


class SagAt(TypedDict):
    """How far the fork sagged at which start pressure (gauge, at full extension)."""

    sag: Figure
    pressure: Figure


class Measured(TypedDict, total=False):
    """What was measured once the job was done.

    Clicks are counted from `clicks_from`, unknown if absent. The totals are those of the damper when the job was noted.
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
    """What a finished job came to, as stored. `fitted` is what was changed of the configuration."""

    fitted: Configuration
    parts: list[PartFitted]
    measured: Measured
    revision: NotRequired[int]
    job_card: NotRequired[str]
    note: NotRequired[str]


CONFIGURATION = TypeAdapter(Configuration)
DONE = TypeAdapter(Done)


class FluidInIt(TypedDict):
    """Which fluid is in a chamber."""

    chamber: str
    fluid: str


class ConfigurationView(TypedDict, total=False):
    """What is in a fork, as answers show it."""

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
    """What was measured, as answers show it."""

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
    """One finished job. `configuration` is what was in the fork then; `became_present` is false of a job that was
    entered after a later one: of that only what was fitted is known."""

    number: int
    job: str
    done_on: NotRequired[DateText]
    hours: NotRequired[float]
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
    """One fork: its serial, its chassis and what is in it at present."""

    id: str
    serial: str
    chassis: str
    configuration: ConfigurationView
    first_used_on: NotRequired[DateText]
    riding: NotRequired[str]
    registered_at: Moment
    changed_at: Moment
    version: int


class DueView(TypedDict):
    """When one operation comes next, by what the source gives: months, hours or both, whichever is first.

    `counted_from` is the last job that covers it, or the fork's first use. `not_known` names what could not be
    counted: then the rest is no promise.
    """

    operation: str
    state: State
    due_on: NotRequired[DateText]
    days_left: NotRequired[int]
    due_at_hours: NotRequired[float]
    hours_left: NotRequired[float]
    counted_from: NotRequired[dict[str, object]]
    not_known: list[str]
    interval: dict[str, object]
    text: str
