"""Search by name, over all tables."""

from typing import Annotated

from fastapi import Query, Request
from starlette.responses import Response

from app.questions.search.find import FIND, FindAnswer, FindAsked, find
from app.web.reading.strict import strict_router
from app.web.representation import respond

router = strict_router(tags=["tables"])


@router.get(
    "/v1/search",
    operation_id="search",
    summary="Find something by its name",
    response_model=None,
    responses={200: {"model": FindAnswer, "description": "The likeliest rows of all tables."}},
)
async def search(request: Request, asked: Annotated[FindAsked, Query()]) -> Response:
    """Makers, chassis, springs, parts and other named rows, found even if misspelt, the likeliest first."""
    answer = await request.app.state.catalogue.ask(lambda snapshot: find(snapshot, asked), asked.pin())
    return await respond(request, answer, FIND, question="search", rows="hits")
