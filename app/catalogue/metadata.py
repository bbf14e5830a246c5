"""The catalogue's SQL metadata, and how SQL holds a cell of each kind: figures and lists as their text."""

from typing import Any

from sqlalchemy import Boolean, ColumnElement, Dialect, Float, Integer, type_coerce
from sqlalchemy.types import TypeDecorator, TypeEngine
from sqlmodel import SQLModel

from app.catalogue.columns import PUBLISHED_KIND, CellKind
from app.database.metadata import BYTEWISE, new_metadata

OPEN = 2147483647  # revision_to of a row that still holds
CATALOGUE = new_metadata()


class CatalogueModel(SQLModel):
    """Base of the catalogue's SQL tables; the shop database has its own."""

    metadata = CATALOGUE


class CellText(TypeDecorator[Any]):
    """A figure as published or a list, held as the text of its cell: 7.30 stays 7.30. Text given is taken as it is."""

    impl = BYTEWISE
    cache_ok = True

    def __init__(self, kind: CellKind) -> None:
        super().__init__()
        self.kind = kind

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        """The text of a value; text is taken as it is."""
        return value if value is None or isinstance(value, str) else self.kind.write(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        """The value of a text that was stored."""
        return None if value is None else self.kind.read(value)


def sql_type(kind: CellKind) -> TypeEngine[Any]:
    """How SQL holds a column of that kind."""
    if kind.items is not None or kind is PUBLISHED_KIND:
        return CellText(kind)
    types: dict[str, TypeEngine[Any]] = {
        "text": BYTEWISE, "integer": Integer(), "double": Float(53), "boolean": Boolean(),
    }  # fmt: skip
    return types[kind.sql]


def as_held(column: ColumnElement[Any]) -> ColumnElement[Any]:
    """A column read as the database holds it, for bulk reading, which has converters of its own."""
    return type_coerce(column, BYTEWISE) if isinstance(column.type, CellText) else column
