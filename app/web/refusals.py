"""Exception handlers: our refusals, the router's 404 and 405 and FastAPI's 422 become problem details."""

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
    """A refusal raised by our own code."""
    return refused(request.scope, refusal)


async def on_wrong_media_type(request: Request, refusal: WrongMediaType) -> Response:
    """415 with the accepted types (RFC 9110, 15.5.16; Accept-Post is from LDP 1.0, 7.1)."""
    headers = {"Accept-Post": ", ".join(refusal.taken)} if request.method == "POST" else {}
    return problem_response(request.scope, "media-type", refusal.detail, headers=headers)


async def on_http_exception(request: Request, raised: HTTPException) -> Response:
    """An HTTPException of the router; its own text is not passed on."""
    if raised.status_code == 405:
        taken = ", ".join(allowed(request.app.router.routes, request.scope))
        detail = f"This address accepts {taken}."
        return problem_response(request.scope, "method-not-allowed", detail, headers={"Allow": taken})
    if raised.status_code not in _SLUGS:
        raise raised
    detail = "There is nothing at that address." if raised.status_code == 404 else "The request was refused."
    return problem_response(request.scope, _SLUGS[raised.status_code], detail)


async def on_validation(request: Request, raised: RequestValidationError) -> Response:
    """Validation errors of FastAPI as faults."""
    faults = faults_of(raised.errors())
    detail = faults[0].text if len(faults) == 1 else f"The request has {len(faults)} errors."
    return problem_response(request.scope, "invalid", detail, faults=faults)


HANDLERS: dict[int | type[Exception], Callable[[Request, Any], Coroutine[Any, Any, Response]]] = {
    Refusal: on_refusal,
    WrongMediaType: on_wrong_media_type,
    HTTPException: on_http_exception,
    RequestValidationError: on_validation,
}
REFUSED: tuple[type[Exception], ...] = tuple(kind for kind in HANDLERS if isinstance(kind, type))


async def refusal_of(request: Request, raised: Exception) -> Response:
    """The response to one of REFUSED, for code that calls a route without the application around it."""
    kind = next(each for each in type(raised).__mro__ if each in HANDLERS)
    return await HANDLERS[kind](request, raised)
