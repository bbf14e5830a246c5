"""The first question: which chassis is on the bench."""

from typing import Annotated

from fastapi import Query, Request
from starlette.responses import Response

from app.questions.identify.identify import IDENTIFY, IdentifyAnswer, IdentifyAsked, identify
from app.web.reading.strict import strict_router
from app.web.routes.chassis_questions import answer

router = strict_router(tags=["questions"])


@router.get(
    "/v1/identify",
    operation_id="identify",
    summary="Which chassis this is",
    response_model=None,
    responses={200: {"model": IdentifyAnswer, "description": "Candidates, likeliest first, and what to look at next."}},
)
async def which_chassis(request: Request, asked: Annotated[IdentifyAsked, Query()]) -> Response:
    """Clues may be partial, noisy or wrong; give what can be seen, then follow `next_check`."""
    return await answer(request, asked, lambda snapshot: identify(snapshot, asked), IDENTIFY, "identify", "candidates")
