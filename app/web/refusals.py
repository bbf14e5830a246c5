"""Exception handlers: our refusals, the router's 404 and 405 and FastAPI's 422 become problem details."""

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from rapidfuzz.distance import OSA
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from app.errors import Fault, Refusal
from app.web.faults import faults_of
from app.web.middleware.methods import allowed
from app.web.reading.json_body import WrongMediaType
from app.web.representation.problem_forms import problem_response, refused

LIKE = 0.66
"""How similar each part of an address must be for it to be offered instead (1: equal)."""
NOTHING_THERE = "There is nothing at that address."
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
    if raised.status_code == 404:
        return problem_response(request.scope, "not-found", NOTHING_THERE, faults=_near(request))
    return problem_response(request.scope, _SLUGS[raised.status_code], "The request was refused.")


def _near(request: Request) -> list[Fault]:
    """The address of a lookup that was probably meant: the most similar one with as many parts."""
    path = request.url.path
    given, meant, most = path.split("/"), "", LIKE
    for route in request.app.router.routes:
        parts = route.path.split("/") if isinstance(route, APIRoute) and "GET" in (route.methods or ()) else []
        if len(parts) == len(given):
            like = min(
                OSA.normalized_similarity(sent, known)
                for sent, known in zip(given, parts, strict=True) if not known.startswith("{")
            )  # fmt: skip
            if like > most:
                most = like
                meant = "/".join(sent if known[:1] == "{" else known for sent, known in zip(given, parts, strict=True))
    return [Fault("address-unknown", f"Did you mean {meant}?", suggestion=meant)] if meant and path.isascii() else []


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
