"""Metrics of this worker for Prometheus. Not part of the public API, so not in the OpenAPI document."""

from fastapi import Request
from prometheus_client import CONTENT_TYPE_LATEST
from starlette.responses import Response

from app.errors import NotFound, Refusal
from app.web.access import admitted
from app.web.metrics import Counts
from app.web.reading.strict import strict_router

router = strict_router(include_in_schema=False)


@router.get("/metrics")
async def metrics(request: Request) -> Response:
    """404 unless LEGWORK_METRICS opens it, to a key with the scope `read` or to everyone."""
    counts: Counts | None = getattr(request.app.state, "metrics", None)
    if counts is None:
        raise NotFound("There is nothing at that address.")
    if request.app.state.settings.metrics == "key":
        await admitted(request, "read")
    headers = {"Content-Type": CONTENT_TYPE_LATEST, "Cache-Control": "no-store"}
    return Response(counts.text(await _revision(request)), headers=headers)


async def _revision(request: Request) -> int | None:
    try:
        revision: int = await request.app.state.catalogue.ask(lambda snapshot: snapshot.revision)
    except Refusal:
        return None
    return revision
