"""The tables of the catalogue described for programs: their list, and the JSON Schema of a row."""

from typing import Annotated

from fastapi import Path, Query, Request
from pydantic import TypeAdapter
from starlette.responses import Response
from typing_extensions import TypedDict

from app.catalogue.tables import TABLES
from app.errors import NotFound
from app.questions.tables.schemas import CatalogueTable, RowSchema, catalogue_tables, row_schema
from app.web.faults import nearest
from app.web.reading.strict import strict_router
from app.web.representation import respond
from app.web.routes.units import FormAsked

router = strict_router(prefix="/v1/tables", tags=["tables"])


class DescribedTable(CatalogueTable):
    """A table with the addresses of its rows and of its schema."""

    href: str
    schema_href: str


class TablesAnswer(TypedDict):
    """All tables."""

    tables: list[DescribedTable]


_ALL = TypeAdapter(TablesAnswer)
_SCHEMA = TypeAdapter(RowSchema)


@router.get(
    "",
    operation_id="listTables",
    summary="All tables",
    response_model=None,
    responses={200: {"model": TablesAnswer, "description": "Every table, in exchange order."}},
)
async def list_tables(request: Request, asked: Annotated[FormAsked, Query()]) -> Response:
    """The tables that can be exchanged. The columns of a table are in its schema."""
    tables = [
        DescribedTable(**each, href=f"/v1/{each['name']}", schema_href=f"/v1/tables/{each['name']}/schema")
        for each in catalogue_tables()
    ]
    return await respond(request, {"tables": tables}, _ALL, question="tables", rows="tables")


@router.get(
    "/{table}/schema",
    operation_id="tableSchema",
    summary="The JSON Schema of a row",
    response_model=None,
    responses={200: {"model": RowSchema, "description": "The schema."}},
)
async def table_schema(
    request: Request,
    name: Annotated[str, Path(alias="table", description="Name of the table.", examples=["torques"])],
    asked: Annotated[FormAsked, Query()],
) -> Response:
    """JSON Schema 2020-12. `x-unit` is the unit of a column, `x-unit-in` the column that names it, `x-refers-to` the
    table of the row that it names."""
    if name not in TABLES:
        meant = nearest(name, TABLES)
        raise NotFound(f"There is no table {name}." if meant is None else f"There is no table {name}; {meant} is one.")
    return await respond(request, row_schema(TABLES[name]), _SCHEMA, question="schema", only="json")
