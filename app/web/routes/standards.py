"""Public standards as tables: threads, property classes, O-rings, viscosity classes …, each row with its standard."""

from typing import Annotated

from fastapi import Path, Query, Request
from pydantic import TypeAdapter
from starlette.responses import Response
from typing_extensions import TypedDict

from app.standards import TableAnswer, TableDescription, table, tables
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.routes.units import FormAsked

router = strict_router(prefix="/v1/standards", tags=["units and standards"])


class LinkedTable(TableDescription):
    """One table without its rows, with the address of the rows."""

    href: str


class StandardsList(TypedDict):
    """All tables."""

    tables: list[LinkedTable]


_ALL = TypeAdapter(StandardsList)
_ONE = TypeAdapter(TableAnswer)


@router.get(
    "",
    operation_id="listStandards",
    summary="All standards",
    response_model=None,
    responses={200: {"model": StandardsList, "description": "Every table with its standard and columns."}},
)
async def list_standards(request: Request, asked: Annotated[FormAsked, Query()]) -> Response:
    """The tables without their rows."""
    listed = [LinkedTable(**each, href=f"/v1/standards/{each['name']}") for each in tables()]
    return await respond(request, {"tables": listed}, _ALL, question="standards", rows="tables")


@router.get(
    "/{table}",
    operation_id="standard",
    summary="One standard as a table",
    response_model=None,
    responses={200: {"model": TableAnswer, "description": "The rows, each with its standard and how it was checked."}},
)
async def one_standard(
    request: Request,
    name: Annotated[str, Path(alias="table", description="Name of the table.", examples=["threads"])],
    asked: Annotated[FormAsked, Query()],
) -> Response:
    """Cells that are empty in the standard are absent."""
    return await respond(request, table(name), _ONE, question="standard", rows="rows")
