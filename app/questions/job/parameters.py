"""The parameters of a job card: the configuration now and after the job. Refuses contradictory parameters."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Literal

from pydantic import Field

from app.errors import Invalid
from app.questions.configuration.region import Given, given
from app.questions.setup.parameters import SetupAsked

JobName = Literal["travel-change", "spacer-change", "lower-leg-service", "full-service"]
JOB_WORDS: dict[JobName, str] = {
    "travel-change": "a change of travel",
    "spacer-change": "a change of volume spacers",
    "lower-leg-service": "a lower-leg service",
    "full-service": "a full service",
}


class JobCardAsked(SetupAsked):
    """The parameters of `job-card`: the job, the fork now and after the job.

    The parameters of `setup` are for the fork after the job (`travel` means `to_travel` there).
    """

    job: JobName = Field(description="The job.")
    from_travel: str | None = Field(
        None, max_length=64, description="Travel now, in mm or with a unit.", examples=["150"]
    )
    to_travel: str | None = Field(
        None,
        max_length=64,
        description="Travel after the job; the same if the job does not change it.",
        examples=["160"],
    )
    from_spring: str | None = Field(None, max_length=80, description="Id of the spring assembly fitted now.")
    from_spacers: int | None = Field(None, ge=0, le=30, description="Volume spacers fitted now.")
    frame: str | None = Field(
        None, max_length=80, description=("Id of the frame; without it, its limits are not checked.")
    )
    offset: str | None = Field(None, max_length=64, description="Offset of the fork in mm, for the frame's limit.")


@dataclass(frozen=True, slots=True)
class FormEnds:
    """The configuration now and after the job; both are the same if the job keeps travel and spring."""

    present: Given
    wanted: Given


def ends(asked: JobCardAsked) -> FormEnds:
    """Read both configurations. Raises Invalid: the faults of `given`, `two-travels`, `job-keeps-travel`."""
    if asked.job == "travel-change":
        if asked.travel is not None and asked.to_travel is not None and asked.travel != asked.to_travel:
            text = "`travel` and `to_travel` mean the same here, and their values differ: leave `travel` out."
            raise Invalid.one("two-travels", text, parameter="travel", suggestion=asked.to_travel)
        to_travel = asked.to_travel or asked.travel
        wanted = _given(asked, to_travel, asked.spring, "to_travel")
        return FormEnds(_given(asked, asked.from_travel, asked.from_spring, "from_travel"), wanted)
    travels = {
        name: text for name in ("travel", "from_travel", "to_travel") if (text := getattr(asked, name)) is not None
    }
    if len(set(travels.values())) > 1:
        text = f"{JOB_WORDS[asked.job].capitalize()} does not change the travel; use job=travel-change."
        raise Invalid.one("job-keeps-travel", text, parameter="to_travel", suggestion=next(iter(travels.values())))
    if asked.from_spring is not None and asked.spring is not None and asked.from_spring != asked.spring:
        text = f"{JOB_WORDS[asked.job].capitalize()} does not change the spring; use job=travel-change."
        raise Invalid.one("job-keeps-spring", text, parameter="from_spring", suggestion=asked.spring)
    name, travel = next(iter(travels.items()), ("travel", None))
    both = _given(asked, travel, asked.spring or asked.from_spring, name)
    return FormEnds(both, both)


def _given(asked: JobCardAsked, travel: str | None, spring: str | None, name: str) -> Given:
    with renamed(travel=name):
        return given(
            travel=travel, model_year=asked.model_year, variant=asked.variant, spring=spring, damper=asked.damper,
            wheel_size=asked.wheel_size, serial=asked.serial, fitted_part=asked.fitted_part,
        )  # fmt: skip


@contextmanager
def renamed(**names: str) -> Iterator[None]:
    """Report a refusal under other parameters: `travel` of a region is `to_travel` of a job."""
    try:
        yield
    except Invalid as refusal:
        faults = [replace(each, parameter=names.get(each.parameter or "", each.parameter)) for each in refusal.faults]
        raise Invalid(refusal.detail, faults, **refusal.extra) from None
