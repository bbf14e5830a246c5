"""Liveness and readiness, for load balancers and operators."""

import asyncio

from fastapi import Request
from starlette.responses import JSONResponse, Response

from app.web.reading.strict import strict_router
from app.web.representation.problem_forms import problem_response

router = strict_router(tags=["operation"])


@router.get(
    "/healthz",
    operation_id="healthz",
    summary="Liveness",
    response_class=JSONResponse,
    responses={200: {"model": dict[str, str], "description": "It does."}},
)
async def healthz() -> Response:
    """200 while the process is running; says nothing about the database."""
    return JSONResponse({"status": "alive"}, headers={"Cache-Control": "no-store"})


@router.get(
    "/readyz",
    operation_id="readyz",
    summary="Readiness",
    response_class=JSONResponse,
    responses={200: {"model": dict[str, str], "description": "It can."}},
)
async def readyz(request: Request) -> Response:
    """503 with a sentence while the catalogue cannot be read. If it is read from a replica, `writes` says whether it
    can also be written: `ready`, or `unavailable` while look-ups still work."""
    catalogue = request.app.state.catalogue
    wrong: str | None = "No catalogue is open."
    if catalogue is not None:
        wrong = await catalogue.run_in_thread(
            catalogue.ready
        )  # a database that does not answer must not delay other requests
    if wrong is not None:
        return problem_response(request.scope, "unavailable", wrong, headers={"Retry-After": "5"})
    answer = {"status": "ready"}
    if catalogue.database.has_replica:
        writable = await asyncio.to_thread(catalogue.database.takes_writes)
        answer["writes"] = "ready" if writable else "unavailable"
    return JSONResponse(answer, headers={"Cache-Control": "no-store"})
