"""A strict route class: it refuses, by name, parameters that are unknown, repeated, empty or not text."""

import math
import re
import types
import urllib.parse
from collections.abc import Callable, Coroutine, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Any, Union, get_args, get_origin

from fastapi import APIRouter
from fastapi.dependencies.models import Dependant
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Match
from starlette.types import ASGIApp, Receive, Scope, Send

from app.catalogue.columns import SLUG
from app.errors import Fault, Invalid, NotFound
from app.json_types import JsonObject
from app.web.faults import nearest
from app.web.reading.text import composed, refused_character

LARGEST_INTEGER = 2**63 - 1
MOST_PARAMETERS = 200
_INTEGER = re.compile(r"[+-]?[0-9]{1,19}")
_PLAIN = re.compile(rb"[A-Za-z0-9_.-]+=[A-Za-z0-9_.-]+(?:&[A-Za-z0-9_.-]+=[A-Za-z0-9_.-]+)*")
"""Matches a query that is its own canonical spelling, as most are."""
_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,4})?")


@dataclass(frozen=True, slots=True)
class Parameter:
    """A declared query parameter; `number` is int or float if only such a value is accepted."""

    name: str
    repeats: bool
    number: type[int] | type[float] | None


class StrictRoute(APIRoute):
    """Checks the address before it is read. Every text in the path must be an id; anything else is a 404.

    Most routes take a request, ids and one model of parameters. Those are called directly, because FastAPI's general
    argument handling costs half as much as a lookup of fits. FastAPI still describes what the route declares.
    """

    def __init__(self, *args: Any, **settings: Any) -> None:
        self._as_declared = (args, settings)
        super().__init__(*args, **{**settings, "responses": None})  # not needed: a validator per answer
        self._beginning = self.path.partition("{")[0]
        if _reads_plainly(self.dependant):
            self.app = _answering(self.get_route_handler())

    def described(self) -> APIRoute:
        """This route with its declared answers, for the OpenAPI document."""
        args, settings = self._as_declared
        return APIRoute(*args, **settings)

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        """As in Starlette, but skips the regular expression for addresses that begin differently."""
        if not scope.get("root_path") and not scope["path"].startswith(self._beginning):
            return Match.NONE, {}
        return super().matches(scope)

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The handler of the route, after the check of every parameter."""
        answer = _plain_handler(self.dependant) if _reads_plainly(self.dependant) else super().get_route_handler()
        declared = {parameter.name: parameter for parameter in _declared(self.dependant)}
        ids = [name for name, convertor in self.param_convertors.items() if convertor.regex == "[^/]+"]

        async def strict(request: Request) -> Response:
            request.scope["state"]["route"] = self.path
            for name in ids:
                if not SLUG.fullmatch(request.path_params[name]):
                    raise NotFound(
                        "There is nothing at that address: an id has up to 80 lower-case letters, digits and hyphens."
                    )
            if request.scope["query_string"]:
                redirected = _check_query(request, declared)
                if redirected is not None:
                    return redirected
            response = await answer(request)
            state = request.scope["state"]
            if "suffix" in state and "suffix_taken" not in state:
                raise NotFound("There is nothing at that address: this answer has only one format.")
            return response

        return strict


def _reads_plainly(dependant: Dependant) -> bool:
    """Whether an endpoint takes only the request, ids in the path, and one model of query parameters."""
    models = [field.field_info.annotation for field in dependant.query_params]
    return (
        dependant.request_param_name is not None
        and not (dependant.header_params or dependant.cookie_params or dependant.body_params or dependant.dependencies)
        and all(field.field_info.annotation is str for field in dependant.path_params)
        and len(models) <= 1
        and all(isinstance(model, type) and issubclass(model, BaseModel) for model in models)
    )


def _plain_handler(dependant: Dependant) -> Callable[[Request], Coroutine[Any, Any, Response]]:
    endpoint: Any = dependant.call
    request_name = dependant.request_param_name or "request"
    repeated = [parameter.name for parameter in _declared(dependant) if parameter.repeats]
    ids = [(field.alias, field.name) for field in dependant.path_params]
    field = next(iter(dependant.query_params), None)
    model: Any = field.field_info.annotation if field else None

    async def handler(request: Request) -> Response:
        arguments: JsonObject = {request_name: request}
        for alias, name in ids:
            arguments[name] = request.path_params[alias]
        if field is not None:
            given: JsonObject = dict(request.query_params)
            for name in repeated:
                if name in given:
                    given[name] = request.query_params.getlist(name)
            try:
                arguments[field.name] = model.model_validate(given)
            except ValidationError as error:
                found = error.errors(include_url=False)
                raise RequestValidationError([{**each, "loc": ("query", *each["loc"])} for each in found]) from None
        response: Response = await endpoint(**arguments)
        return response

    return handler


def _answering(handler: Callable[[Request], Coroutine[Any, Any, Response]]) -> ASGIApp:
    async def answering(scope: Scope, receive: Receive, send: Send) -> None:
        response = await handler(Request(scope, receive, send))
        await response(scope, receive, send)

    return answering


def strict_router(**settings: Any) -> APIRouter:
    """An APIRouter with only strict routes."""
    return APIRouter(route_class=StrictRoute, **settings)


def parameters_of(route: StrictRoute) -> set[str]:
    """The names of the query parameters that a route takes."""
    return {parameter.name for parameter in _declared(route.dependant)}


def _check_query(request: Request, declared: dict[str, Parameter]) -> Response | None:
    query: bytes = request.scope["query_string"]
    plain = _PLAIN.fullmatch(query) is not None
    pairs = _pairs(query, plain)
    faults = list(_faults(pairs, declared))
    if empty := [name for name, value in pairs if value == "" and name in declared]:
        if not faults and "text/html" in request.headers.get("accept", ""):
            return _without_empty(request, pairs)  # a form without scripts sends its empty fields too
        faults += [
            Fault("empty", f"`{name}` has no value; leave it out if it is unknown.", parameter=name) for name in empty
        ]
    if faults:
        raise Invalid(faults[0].text if len(faults) == 1 else f"{len(faults)} parameters are wrong.", faults)
    if not plain:
        query = urllib.parse.urlencode([(name, composed(value)) for name, value in pairs]).encode()
        request.scope["query_string"] = query
    return None


def _pairs(query: bytes, plain: bool) -> list[tuple[str, str]]:
    if plain and query.count(b"&") < MOST_PARAMETERS:
        return [tuple(pair.split("=")) for pair in query.decode("ascii").split("&")]  # type: ignore[misc]
    try:
        return urllib.parse.parse_qsl(
            query.decode("ascii"), keep_blank_values=True, errors="strict", max_num_fields=MOST_PARAMETERS
        )
    except UnicodeError:
        raise Invalid.one("not-utf-8", "The parameters are not percent-encoded UTF-8.") from None
    except ValueError:
        raise Invalid.one("too-many", f"A request may have at most {MOST_PARAMETERS} parameters.") from None


def _faults(pairs: list[tuple[str, str]], declared: dict[str, Parameter]) -> Iterator[Fault]:
    seen: set[str] = set()
    for name, value in pairs:
        parameter = declared.get(name)
        if parameter is None:
            if name not in seen:
                yield _unknown(name, declared)
        elif name in seen and not parameter.repeats:
            yield Fault("repeated-parameter", f"`{name}` is given more than once.", parameter=name)
        elif refused := refused_character(value, one_line=True):
            yield Fault(
                "refused-character", f"`{name}` has a character that is not allowed: {refused}.", parameter=name
            )
        elif value and parameter.number and (fault := _number_fault(parameter, value)):
            yield fault
        seen.add(name)


def _unknown(name: str, declared: dict[str, Parameter]) -> Fault:
    shown = name if len(name) <= 40 else name[:39] + "…"
    near = nearest(name, declared)
    hint = (
        f"did you mean `{near}`?"
        if near
        else "it accepts " + (", ".join(f"`{known}`" for known in declared) or "none") + "."
    )
    return Fault("unknown-parameter", f"There is no parameter `{shown}`: {hint}", parameter=shown, suggestion=near)


def _number_fault(parameter: Parameter, value: str) -> Fault | None:
    name = parameter.name
    if parameter.number is int:
        if not re.fullmatch(r"[+-]?[0-9]+", value):
            return Fault("not-an-integer", f"`{name}` must be a whole number.", parameter=name)
        if not _INTEGER.fullmatch(value) or abs(int(value)) > LARGEST_INTEGER:
            return Fault("out-of-range", f"`{name}` is too large.", parameter=name)
        return None
    if len(value) > 64 or not _NUMBER.fullmatch(value):
        return Fault("not-a-number", f"`{name}` must be a decimal number with a point.", parameter=name)
    if not math.isfinite(float(value)) or (float(value) == 0 and Decimal(value) != 0):
        return Fault("out-of-range", f"`{name}` is too large or too small.", parameter=name)
    return None


def _without_empty(request: Request, pairs: list[tuple[str, str]]) -> Response:
    query = urllib.parse.urlencode([(name, value) for name, value in pairs if value != ""])
    path = request.scope["state"]["raw_path"].decode("latin-1")
    return Response(status_code=303, headers={"Location": f"{path}?{query}" if query else path})


def _declared(dependant: Dependant) -> Iterator[Parameter]:
    for field in dependant.query_params:
        model = field.field_info.annotation
        if isinstance(model, type) and issubclass(model, BaseModel):
            for name, inner in model.model_fields.items():
                yield _parameter(str(inner.validation_alias or inner.alias or name), inner)
        else:
            yield _parameter(field.alias, field.field_info)
    for inner_dependant in dependant.dependencies:
        yield from _declared(inner_dependant)


def _parameter(name: str, field: FieldInfo) -> Parameter:
    kinds = set(_kinds(field.annotation))
    number: type[int] | type[float] | None = None
    if kinds <= {int, type(None)}:
        number = int
    elif kinds <= {int, float, Decimal, type(None)}:
        number = float
    return Parameter(name, bool(kinds & {list, set, tuple, frozenset}), number)


def _kinds(annotation: Any) -> Iterator[Any]:
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _kinds(get_args(annotation)[0])
    elif origin in {Union, types.UnionType}:
        for choice in get_args(annotation):
            yield from _kinds(choice)
    else:
        yield origin or annotation
