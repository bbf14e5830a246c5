"""The words that cells may hold: positions, places, jobs and so on."""

from typing import Annotated

from fastapi import Query, Request
from starlette.responses import Response

from app.questions.answers.words import WORDS, WordsAnswer, all_words
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.routes.units import FormAsked

router = strict_router(tags=["units and standards"])


@router.get(
    "/v1/words",
    operation_id="listWords",
    summary="All words, by list",
    response_model=None,
    responses={200: {"model": WordsAnswer, "description": "The lists, and each word with its meaning and synonyms."}},
)
async def list_words(request: Request, asked: Annotated[FormAsked, Query()]) -> Response:
    """The columns that hold the words of each list, and which questions a limit decides. Common practice, no source."""
    return await respond(request, all_words(), WORDS, question="words", rows="words")
