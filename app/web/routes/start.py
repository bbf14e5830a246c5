"""The first page, and what a search finds; for programs the same as JSON."""

from typing import Annotated

from fastapi import Query, Request
from starlette.responses import Response

from app.questions.search.start import START, StartAnswer, StartAsked, start
from app.web.reading.strict import strict_router
from app.web.representation import respond

router = strict_router(tags=["questions"])


@router.get(
    "/",
    operation_id="start",
    summary="Where to begin: the forks, or what has a name or number like this",
    response_model=None,
    responses={200: {"model": StartAnswer, "description": "The forks, or what was found, the likeliest first."}},
)
async def begin(request: Request, asked: Annotated[StartAsked, Query()]) -> Response:
    """One box for all names and numbers of the catalogue; slips of typing are forgiven."""
    answer = await request.app.state.catalogue.ask(lambda snapshot: start(snapshot, asked), asked.pin())
    return await respond(request, answer, START, question="start", rows="found")
