"""The start page, which also shows search results, and the page that explains how to enter your own data."""

from typing import Annotated

from fastapi import Query, Request
from starlette.responses import Response

from app.questions.search.start import START, StartAnswer, StartAsked, start
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.representation.page import page

router = strict_router(tags=["questions"])


@router.get(
    "/",
    operation_id="start",
    summary="Every fork, or what a search finds",
    response_model=None,
    responses={200: {"model": StartAnswer, "description": "The forks, or what was found, best first."}},
)
async def begin(request: Request, asked: Annotated[StartAsked, Query()]) -> Response:
    """One box for every name, number and figure of the catalogue. Finds misspelt words too."""
    answer = await request.app.state.catalogue.ask(lambda snapshot: start(snapshot, asked), asked.pin())
    return await respond(request, answer, START, question="start", rows="found")


@router.get("/own-data", include_in_schema=False)
async def own_data(request: Request) -> Response:
    """The page that explains how to enter a first fork and how to load a package."""
    body = page("own-data", {"cautions": []}, request.scope)
    return Response(body, headers={"Cache-Control": "no-cache", "Content-Type": "text/html; charset=utf-8"})
