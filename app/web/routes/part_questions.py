"""Questions about the contents of a fork: alternatives to a fluid, and the chassis that take a spring."""

from typing import Annotated

from fastapi import Path, Query, Request
from starlette.responses import Response

from app.questions.fluid_alternatives import ALTERNATIVES, AlternativesAnswer, AlternativesAsked, fluid_alternatives
from app.questions.sheet.spring_fits import SPRING_FITS, SpringFitsAnswer, SpringFitsAsked, spring_fits
from app.web.reading.strict import strict_router
from app.web.routes.chassis_questions import answer

router = strict_router(tags=["questions"])


@router.get(
    "/v1/fluids/{fluid}/alternatives",
    operation_id="fluidAlternatives",
    summary="Alternatives to a fluid",
    response_model=None,
    responses={200: {"model": AlternativesAnswer, "description": "Fluids of its kind, closest in viscosity first."}},
)
async def alternatives(
    request: Request,
    fluid: Annotated[str, Path(description="Id of the fluid.", examples=["example-oil"])],
    asked: Annotated[AlternativesAsked, Query()],
) -> Response:
    """Ranked by viscosity at the temperature, with seal safety stated. Fluids of unknown viscosity come last."""
    return await answer(
        request,
        asked,
        lambda snapshot: fluid_alternatives(snapshot, fluid, asked),
        ALTERNATIVES,
        "alternatives",
        "alternatives",
    )


@router.get(
    "/v1/springs/{spring}/fits",
    operation_id="springFits",
    summary="The chassis that take a spring",
    response_model=None,
    responses={200: {"model": SpringFitsAnswer, "description": "Every fit with this spring, by chassis."}},
)
async def chassis_of_spring(
    request: Request,
    spring: Annotated[str, Path(description="Id of the spring.", examples=["example-spring"])],
    asked: Annotated[SpringFitsAsked, Query()],
) -> Response:
    """Each fit has a scope: it applies only to those model years, variants, wheels and dampers."""
    return await answer(
        request, asked, lambda snapshot: spring_fits(snapshot, spring, asked), SPRING_FITS, "spring-fits", "fits"
    )
