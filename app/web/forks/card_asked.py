"""A job card asked for in a body: the id of a chassis and the parameters of `job-card`, all as text."""

from collections.abc import Mapping

from pydantic import ValidationError

from app.catalogue.columns import SLUG
from app.errors import Fault, Invalid
from app.json_types import JsonObject
from app.questions.answers.parameters import LookupParameters
from app.web.faults import faults_of
from app.web.forks.in_question import JobCardOfFork

_IN_THE_QUERY = set(LookupParameters.model_fields)


def card_asked(given: Mapping[str, str], place: tuple[str | int, ...], shared: JsonObject) -> tuple[str, JobCardOfFork]:
    """The chassis and the parameters; `shared` are those of the query. Raises Invalid with pointers below `place`."""
    here = "".join(f"/{each}" for each in place)
    chassis = given.get("chassis")
    if chassis is None or not SLUG.fullmatch(chassis):
        text = "`chassis` is the id of a chassis: small letters, digits and hyphens."
        raise Invalid(text, [Fault("missing" if chassis is None else "wrong-form", text, pointer=f"{here}/chassis")])
    for name in given.keys() & _IN_THE_QUERY:
        text = f"`{name}` is a parameter of the query, not of a card."
        raise Invalid(text, [Fault("unknown-field", text, pointer=f"{here}/{name}")])
    parameters = {name: value for name, value in given.items() if name != "chassis"}
    try:
        return chassis, JobCardOfFork.model_validate({**parameters, **shared})
    except ValidationError as error:
        found = error.errors(include_url=False)
        faults = faults_of({**each, "loc": ("body", *place, *each["loc"])} for each in found)
        raise Invalid("The parameters of this card are invalid.", faults) from None
