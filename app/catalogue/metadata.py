"""The catalogue's SQL metadata, and the SQL type for each kind of cell: figures and lists are stored as text."""

from typing import Any

from sqlalchemy import Boolean, ColumnElement, Dialect, Float, Integer, type_coerce
from sqlalchemy.types import TypeDecorator, TypeEngine
from sqlmodel import SQLModel

from app.catalogue.columns import PUBLISHED_KIND, CellKind
from app.database.metadata import BYTEWISE, new_metadata

OPEN = 2147483647  # revision_to of a row that is still valid
CATALOGUE = new_metadata()


class CatalogueModel(SQLModel):
    """Base of the catalogue's SQL tables; the shop database has its own."""

    metadata = CATALOGUE


class CellText(TypeDecorator[Any]):
    """A published figure or a list, stored as the text of its cell: 7.30 stays 7.30. Text passes through unchanged."""

    impl = BYTEWISE
    cache_ok = True

    def __init__(self, kind: CellKind) -> None:
        super().__init__()
        self.kind = kind

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        """The text of a value; text passes through unchanged."""
        return value if value is None or isinstance(value, str) else self.kind.write(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        """The value for a stored text."""
        return None if value is None else self.kind.read(value)


def sql_type(kind: CellKind) -> TypeEngine[Any]:
    """The SQL type for a column of that kind."""
    if kind.items is not None or kind is PUBLISHED_KIND:
        return CellText(kind)
    types: dict[str, TypeEngine[Any]] = {
        "text": BYTEWISE, "integer": Integer(), "double": Float(53), "boolean": Boolean(),
    }  # fmt: skip
    return types[kind.sql]


def as_held(column: ColumnElement[Any]) -> ColumnElement[Any]:
    """A column read as stored, for bulk reads, which convert values themselves."""
    return type_coerce(column, BYTEWISE) if isinstance(column.type, CellText) else column
