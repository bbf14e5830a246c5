"""The question `setup`: start pressure or coil for a rider, and how the spring behaves; also as a drawing."""

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
    summary="Start pressure or spring rate for a rider, with band and spring curve",
    response_model=None,
    responses={200: {"model": SetupAnswer, "description": "Start pressure or coil, its basis and its band."}},
)
async def chassis_setup(request: Request, chassis: ChassisId, asked: Annotated[SetupOfFork, Query()]) -> Response:
    """Every figure says whether it is published, measured or computed. `gaps` lists what is missing.
    `.svg` plots force over travel for each number of volume spacers."""
    wanted = await filled_in(request, chassis, asked)
    return await answer(
        request,
        wanted,
        lambda snapshot: setup(snapshot, chassis, wanted, curves=wanted.curve == "full"),
        SETUP,
        "setup",
    )
