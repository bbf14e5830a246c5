"""Questions about a frame: whether it may carry a fork."""

from typing import Annotated

from fastapi import Path, Query, Request
from starlette.responses import Response

from app.questions.fork_check.fork_check import FORK_CHECK, ForkCheckAnswer, ForkCheckAsked, fork_check
from app.web.reading.strict import strict_router
from app.web.routes.chassis_questions import answer

router = strict_router(tags=["questions"])


@router.get(
    "/v1/frames/{frame}/fork-check",
    operation_id="forkCheck",
    summary="Whether a frame may carry a fork",
    response_model=None,
    responses={200: {"model": ForkCheckAnswer, "description": "Yes, no or not stated, the reasons, and the geometry."}},
)
async def check(
    request: Request,
    frame: Annotated[str, Path(description="Id of the frame.", examples=["example-frame"])],
    asked: Annotated[ForkCheckAsked, Query()],
) -> Response:
    """If the frame maker states nothing, `allowed` is `not stated`; that is not permission."""
    return await answer(
        request, asked, lambda snapshot: fork_check(snapshot, frame, asked), FORK_CHECK, "fork-check", "reasons"
    )
