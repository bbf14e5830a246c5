"""`fork=` in a question: the bench log fills in the parameters that the request leaves out; parameters given win."""

from typing import Literal, TypeVar

from fastapi import Request
from pydantic import BaseModel, Field

from app.access.keys import Caller
from app.bench import services
from app.bench.figures import text_of
from app.bench.forks import Held, nothing
from app.bench.services import RecordedService
from app.bench.shapes import Configuration
from app.catalogue.columns import SLUG, write_number
from app.errors import Fault, Invalid
from app.json_types import JsonObject
from app.questions.job.parameters import JobCardAsked
from app.questions.setup.parameters import SetupAsked
from app.questions.sheet.sheet import ConfigurationAsked, SheetAsked
from app.units.measure import parse_measure
from app.web.access import admitted, in_shop

A = TypeVar("A", bound=ConfigurationAsked)
PRIVATE = {"Cache-Control": "private, no-store"}


class OfFork(BaseModel):
    """The parameter that names a fork of the bench log."""

    fork: str | None = Field(
        None,
        max_length=80,
        description="Id of a fork of your bench log (needs a key with scope `bench`). Its recorded configuration "
        "fills in the parameters that you leave out.",
    )


class SheetOfFork(OfFork, SheetAsked):
    """The parameters of `sheet`, or a fork."""


class SetupOfFork(OfFork, SetupAsked):
    """The parameters of `setup`, or a fork; sags measured with this rider become readings."""

    curve: Literal["full", "none"] = Field(
        "full", description="`none` leaves the curves and the figures for each number of spacers empty."
    )


class JobCardOfFork(OfFork, JobCardAsked):
    """The parameters of `job-card`, or a fork, whose present configuration is used."""


async def filled_in(request: Request, chassis: str, asked: A, caller: Caller | None = None) -> A:
    """The parameters, completed from the bench log if they name a fork. A form gives its own `caller`.

    Raises Unauthorised, Forbidden, NotFound, and Invalid `fork-of-another-chassis`.
    """
    id = getattr(asked, "fork", None)
    if id is None:
        return asked
    whose = caller or await admitted(request, "bench")
    if not SLUG.fullmatch(id):
        raise nothing()
    fork, done = await in_shop(request, lambda shop: services.history(shop, whose.shop, id))
    if fork.chassis != chassis:
        text = f"This fork is a {fork.chassis}. Use the address of that chassis."
        fault = Fault("fork-of-another-chassis", text, parameter="fork", suggestion=fork.chassis)
        raise Invalid(text, [fault])
    known = parameters_of(fork.configuration, fork.serial)
    given = asked.model_fields_set
    found = _of_job(asked, known) if isinstance(asked, JobCardAsked) else _beside(known, given)
    if isinstance(asked, SetupAsked):
        found |= _of_rider(asked, fork, done)
    wanted = type(asked).model_fields.keys() - given
    return asked.model_copy(update={name: value for name, value in found.items() if name in wanted})


def parameters_of(configuration: Configuration, serial: str) -> JsonObject:
    """The configuration and the serial of a fork as the parameters of a question."""
    found: JsonObject = {
        name: value for name, value in configuration.items() if name not in ("travel_mm", "wheel_size", "fluids")
    }
    if "travel_mm" in configuration:
        found["travel"] = write_number(configuration["travel_mm"])
    if "wheel_size" in configuration:
        found["wheel_size"] = str(configuration["wheel_size"])
    return found | {"serial": serial}


def _beside(known: JsonObject, given: set[str]) -> JsonObject:
    """The known parameters, without those that depend on one given differently: a spring decides the travel, and
    spacers belong to a spring.
    """
    found = dict(known)
    if "travel" in given:
        found.pop("spring", None)
    if {"travel", "spring"} & given:
        found.pop("spacers", None)
    return found


def _of_job(asked: JobCardAsked, known: JsonObject) -> JsonObject:
    """Use the present fork as the start of a travel change; every other job leaves travel and spring unchanged."""
    given = asked.model_fields_set
    _refuse_other_spring(asked, known)
    stands = {name: value for name, value in known.items() if name in ("travel", "spring", "spacers")}
    found = {name: value for name, value in known.items() if name not in stands}
    if asked.job == "travel-change":
        stands = _beside(stands, {name.removeprefix("from_") for name in given if name.startswith("from_")})
        return found | {f"from_{name}": value for name, value in stands.items()}
    if given & {"travel", "from_travel", "to_travel"}:
        stands = _beside({name: value for name, value in stands.items() if name != "travel"}, {"travel"})
    if given & {"spring", "from_spring"}:
        stands = {name: value for name, value in stands.items() if name == "travel"}
    found |= {name: value for name, value in stands.items() if name in ("travel", "spring")}
    if "spacers" in stands:
        found["from_spacers"] = stands["spacers"]
    return found


def _refuse_other_spring(asked: JobCardAsked, known: JsonObject) -> None:
    """Refuse a job card for a spring that differs from the one the log has in the fork. Raises Invalid naming both."""
    noted = known.get("spring")
    name = "from_spring" if asked.job == "travel-change" or asked.spring is None else "spring"
    said = getattr(asked, name)
    if noted is None or said is None or said == noted:
        return
    text = f"The log has {noted} in this fork, not {said}. "
    if asked.job == "travel-change":
        text += "Leave from_spring out, or correct the fork in the log first."
    else:
        text += f"To fit {said}, use job=travel-change. If it is in the fork already, correct the log first."
    raise Invalid(text, [Fault("other-spring-in-fork", text, parameter=name, suggestion=str(noted))])


def _of_rider(asked: SetupAsked, fork: Held, done: list[RecordedService]) -> JsonObject:
    """The rider last recorded, and that rider's sags if the question is about the fork as it is now."""
    noted = services.last_rider(done)
    mass = asked.rider_mass or (None if noted is None else text_of(noted))
    more: JsonObject = {} if mass is None else {"rider_mass": mass}
    as_it_is = not {"travel", "spring", "spacers", "from_travel", "to_travel", "from_spring"} & asked.model_fields_set
    if as_it_is and not (isinstance(asked, JobCardAsked) and asked.job in ("travel-change", "spacer-change")):
        kilograms = None
        if mass is not None:
            kilograms = parse_measure(mass, kind="mass", usual="kg", parameter="rider_mass").value
        readings = services.sag_readings(fork, done, kilograms)
        more |= {"reading": readings} if len(readings) > 1 else {}
    return more
