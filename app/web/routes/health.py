"""Whether the process lives, and whether it can answer; for load balancers and operators."""

import asyncio

from fastapi import Request
from starlette.responses import JSONResponse, Response

from app.web.reading.strict import strict_router
from app.web.representation.problem_forms import problem_response

router = strict_router(tags=["operation"])


@router.get(
    "/healthz",
    operation_id="healthz",
    summary="The process answers",
    response_class=JSONResponse,
    responses={200: {"model": dict[str, str], "description": "It does."}},
)
async def healthz() -> Response:
    """Always 200 while the process can answer at all; says nothing of the database."""
    return JSONResponse({"status": "alive"}, headers={"Cache-Control": "no-store"})


@router.get(
    "/readyz",
    operation_id="readyz",
    summary="The catalogue can be read",
    response_class=JSONResponse,
    responses={200: {"model": dict[str, str], "description": "It can."}},
)
async def readyz(request: Request) -> Response:
    """503 with a sentence while the catalogue cannot be read. Where it is read from a replica, `writes` says whether it
    can be written too: `ready`, or `unavailable` while lookups go on."""
    catalogue = request.app.state.catalogue
    wrong: str | None = "No catalogue is open."
    if catalogue is not None:
        wrong = await catalogue.run_in_thread(
            catalogue.ready
        )  # a server that does not answer must not hold up the others
    if wrong is not None:
        return problem_response(request.scope, "unavailable", wrong, headers={"Retry-After": "5"})
    answer = {"status": "ready"}
    if catalogue.database.has_replica:
        writable = await asyncio.to_thread(catalogue.database.takes_writes)
        answer["writes"] = "ready" if writable else "unavailable"
    return JSONResponse(answer, headers={"Cache-Control": "no-store"})
