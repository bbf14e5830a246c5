"""The audit for keys with the scope `admin`. For operators, so not in the OpenAPI document."""

import asyncio
from dataclasses import asdict
from typing import Annotated

from fastapi import Query, Request
from starlette.responses import JSONResponse, Response

from app.access import audit
from app.json_types import JsonObject
from app.web.access import admitted
from app.web.reading.strict import strict_router

router = strict_router(include_in_schema=False)


@router.get("/v1/audit")
async def list_entries(
    request: Request,
    limit: Annotated[int, Query(ge=1, le=1_000)] = 100,
    before: Annotated[int | None, Query(ge=1, lt=2**31)] = None,
    key: Annotated[str | None, Query(max_length=12)] = None,
) -> Response:
    """The newest entries; those below `next` follow with `before`. Raises Unauthorised, Forbidden."""
    await admitted(request, "admin")
    found = await asyncio.to_thread(audit.entries, request.app.state.shop, limit, before=before, key=key)
    answer: JsonObject = {"entries": [asdict(each) for each in found]}
    if len(found) == limit:
        answer["next"] = found[-1].number
    return JSONResponse(answer, headers={"Cache-Control": "no-store"})
