"""Questions about the contents of a fork: alternatives to a fluid, and the chassis that take a spring."""

from typing import Annotated

from fastapi import Path, Query, Request
from starlette.responses import Response

from app.questions.fluid_alternatives import ALTERNATIVES, AlternativesAnswer, AlternativesAsked, fluid_alternatives
from app.questions.sheet.spring_fits import SPRING_FITS, SpringFitsAnswer, SpringFitsAsked, spring_fits
from app.questions.tables.listing import Paged
from app.questions.tables.source_rows import SOURCE_ROWS, SourceRowsAnswer, source_rows
from app.web.reading.strict import strict_router
from app.web.routes.chassis_questions import answer
from app.web.routes.tables import respond_page

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
    "/v1/sources/{source}/rows",
    operation_id="sourceRows",
    summary="What cites a source, in page order",
    response_model=None,
    responses={200: {"model": SourceRowsAnswer, "description": "Rows in page order, then those of older editions."}},
)
async def rows_of_source(
    request: Request,
    source: Annotated[str, Path(description="Id of the source.", examples=["example-manual"])],
    asked: Annotated[Paged, Query()],
) -> Response:
    """Go through a new edition page by page: the rows that still cite an older one are to be read again."""
    wanted = source_rows(source, asked)
    found = await request.app.state.catalogue.ask(wanted.answer, wanted.pin)
    return await respond_page(request, found, SOURCE_ROWS, question="source-rows", rows="rows")


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
