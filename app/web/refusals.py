"""Every way out that is not an answer, in one shape: our refusals, the router's 404 and 405, the validator's 422."""

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from app.errors import Refusal
from app.web.faults import faults_of
from app.web.middleware.methods import allowed
from app.web.reading.json_body import WrongMediaType
from app.web.representation.problem_forms import problem_response, refused

_SLUGS = {400: "malformed", 404: "not-found", 413: "too-large", 415: "media-type", 422: "invalid", 503: "unavailable"}


async def on_refusal(request: Request, refusal: Refusal) -> Response:
    """A refusal raised by any layer of ours."""
    return refused(request.scope, refusal)


async def on_wrong_media_type(request: Request, refusal: WrongMediaType) -> Response:
    """415, with the types that are taken (RFC 9110, 15.5.16; the header is that of LDP 1.0, 7.1)."""
    headers = {"Accept-Post": ", ".join(refusal.taken)} if request.method == "POST" else {}
    return problem_response(request.scope, "media-type", refusal.detail, headers=headers)


async def on_http_exception(request: Request, raised: HTTPException) -> Response:
    """What the router itself refuses; its own sentence is not passed on, as it may be anything."""
    if raised.status_code == 405:
        taken = ", ".join(allowed(request.app.router.routes, request.scope))
        detail = f"This address takes {taken}."
        return problem_response(request.scope, "method-not-allowed", detail, headers={"Allow": taken})
    if raised.status_code not in _SLUGS:
        raise raised
    detail = "Nothing has that address." if raised.status_code == 404 else "The request was refused."
    return problem_response(request.scope, _SLUGS[raised.status_code], detail)


async def on_validation(request: Request, raised: RequestValidationError) -> Response:
    """What the validator found, as faults of ours."""
    faults = faults_of(raised.errors())
    detail = faults[0].text if len(faults) == 1 else f"{len(faults)} things are wrong with what was asked."
    return problem_response(request.scope, "invalid", detail, faults=faults)


HANDLERS: dict[int | type[Exception], Callable[[Request, Any], Coroutine[Any, Any, Response]]] = {
    Refusal: on_refusal,
    WrongMediaType: on_wrong_media_type,
    HTTPException: on_http_exception,
    RequestValidationError: on_validation,
}
REFUSED: tuple[type[Exception], ...] = tuple(kind for kind in HANDLERS if isinstance(kind, type))


async def refusal_of(request: Request, raised: Exception) -> Response:
    """What the service answers where one of REFUSED is raised, for who asks a route without the service around it."""
    kind = next(each for each in type(raised).__mro__ if each in HANDLERS)
    return await HANDLERS[kind](request, raised)
