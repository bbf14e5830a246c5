"""The tables of the catalogue described for programs: their list, and the JSON Schema of a row."""

from functools import cache
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.tables import TABLES, Row
from app.json_types import JsonObject
from app.questions.tables.row_views import row_shape, shape

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class CatalogueTable(TypedDict):
    """One table of the catalogue."""

    name: str
    meaning: str
    role: Annotated[
        Literal["entity", "statement"],
        Field(description="An entity is named by other rows; a statement says something about a fork, with a scope."),
    ]


def catalogue_tables() -> list[CatalogueTable]:
    """Every table, in exchange order."""
    return [{"name": table.table, "meaning": table.meaning, "role": table.role} for table in TABLES.values()]


RowSchema = shape(
    "RowSchema",
    "The JSON Schema of a row, as it is exchanged.",
    {
        "$schema": Annotated[str, Field(description="The dialect.")],
        "$id": Annotated[str, Field(description="Its address.")],
        "title": Annotated[str, Field(description="Name of the shape.")],
        "description": Annotated[str, Field(description="What the table holds.")],
        "type": Annotated[str, Field(description="Always `object`.")],
        "properties": Annotated[dict[str, JsonObject], Field(description="The columns, in exchange order.")],
        "required": Annotated[list[str], Field(description="The columns that every row gives.")],
        "unevaluatedProperties": Annotated[bool, Field(description="Always false: there are no other columns.")],
    },
)


@cache
def row_schema(table: type[Row]) -> JsonObject:
    """The JSON Schema (2020-12) of a row as it is exchanged; `x-unit`, `x-unit-in` and `x-refers-to` annotate columns.

    Source of the rule that unknown keywords are annotations: JSON Schema Core 2020-12, 4.3.1.
    """
    schema: JsonObject = TypeAdapter(row_shape(table)).json_schema()
    for name, column in table.columns().items():
        more = {"x-unit": column.unit, "x-unit-in": column.unit_column, "x-refers-to": column.refers_to}
        schema["properties"][name] |= {key: value for key, value in more.items() if value is not None}
    return {"$schema": DIALECT, "$id": f"/v1/tables/{table.table}/schema", **schema, "unevaluatedProperties": False}
