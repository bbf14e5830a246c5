"""The question `setup`: what to start from for a rider, and what the spring then does; also as a drawing."""

from typing import Annotated

from fastapi import Query, Request
from starlette.responses import Response

from app.questions.setup.setup import setup
from app.questions.setup.views import SETUP, SetupAnswer
from app.web.forks.in_question import SetupOfFork, filled_in
from app.web.reading.strict import strict_router
from app.web.representation import drawings as drawings  # registers image/svg+xml
from app.web.routes.chassis_questions import ChassisId, answer

router = strict_router(tags=["questions"])


@router.get(
    "/v1/chassis/{chassis}/setup",
    operation_id="chassisSetup",
    summary="Start pressure or spring rate for a rider, with its band, and the spring curve",
    response_model=None,
    responses={200: {"model": SetupAnswer, "description": "What to start from, on which basis, and how sure it is."}},
)
async def chassis_setup(request: Request, chassis: ChassisId, asked: Annotated[SetupOfFork, Query()]) -> Response:
    """Every figure says whether it is published, measured or computed; what is missing is in `gaps`, never guessed.
    `.svg` draws force over travel for each number of volume spacers."""
    wanted = await filled_in(request, chassis, asked)
    return await answer(request, wanted, lambda snapshot: setup(snapshot, chassis, wanted), SETUP, "setup")
