"""Questions about one chassis: the springs that fit, and everything listed for a configuration."""

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import Path, Query, Request
from pydantic import TypeAdapter
from starlette.responses import Response

from app.catalogue.catalogue import Pin
from app.catalogue.rows import Snapshot
from app.questions.answers.parameters import LookupParameters
from app.questions.sheet.changes import SHEET_CHANGES, SheetChangesAnswer, SheetChangesAsked, sheet_changes
from app.questions.sheet.fits import FITS, FitsAnswer, FitsAsked, fits
from app.questions.sheet.sheet import SHEET, SheetAnswer, sheet
from app.web.forks.in_question import PRIVATE, SheetOfFork, filled_in
from app.web.reading.strict import strict_router
from app.web.representation import respond

router = strict_router(tags=["questions"])

ChassisId = Annotated[str, Path(description="Id of the chassis.", examples=["example-chassis-b"])]


async def answer(
    request: Request,
    asked: LookupParameters,
    question: Callable[[Snapshot], Any],
    shape: TypeAdapter[Any],
    name: str,
    rows: str | None = None,
) -> Response:
    """Answer a question at the revision that `asked` names, in the format the client accepts. An answer about a fork
    of the bench log is never cached."""
    pin = Pin(asked.revision, asked.as_of, asked.min_revision)
    found = await request.app.state.catalogue.ask(question, pin)
    private = PRIVATE if getattr(asked, "fork", None) is not None else {}
    return await respond(request, found, shape, question=name, rows=rows, headers=private)


@router.get(
    "/v1/chassis/{chassis}/fits",
    operation_id="chassisFits",
    summary="Which springs fit this chassis at this travel",
    response_model=None,
    responses={200: {"model": FitsAnswer, "description": "Fits, near misses, and the parameters that would decide."}},
)
async def chassis_fits(request: Request, chassis: ChassisId, asked: Annotated[FitsAsked, Query()]) -> Response:
    """A parameter you leave out is unknown, never "any": every fit that may apply is shown, and `undecided` lists
    the parameters that would decide."""
    return await answer(request, asked, lambda snapshot: fits(snapshot, chassis, asked), FITS, "fits", "fits")


@router.get(
    "/v1/chassis/{chassis}/sheet",
    operation_id="chassisSheet",
    summary="Everything listed for one configuration",
    response_model=None,
    responses={200: {"model": SheetAnswer, "description": "Fits, torques, fills and the rest, and the gaps."}},
)
async def chassis_sheet(request: Request, chassis: ChassisId, asked: Annotated[SheetOfFork, Query()]) -> Response:
    """Every statement that may apply to the configuration, with its scope and source; `gaps` lists what is missing."""
    wanted = await filled_in(request, chassis, asked)
    return await answer(request, wanted, lambda snapshot: sheet(snapshot, chassis, wanted), SHEET, "sheet")


@router.get(
    "/v1/chassis/{chassis}/sheet/changes",
    operation_id="sheetChanges",
    summary="Changes to a sheet since a revision",
    response_model=None,
    responses={200: {"model": SheetChangesAnswer, "description": "Statements added, removed and changed."}},
)
async def changes_of_sheet(
    request: Request, chassis: ChassisId, asked: Annotated[SheetChangesAsked, Query()]
) -> Response:
    """If you printed the sheet, give the revision printed on it and the same parameters."""
    return await answer(
        request,
        asked,
        lambda snapshot: sheet_changes(snapshot, chassis, asked),
        SHEET_CHANGES,
        "sheet-changes",
        "changes",
    )
