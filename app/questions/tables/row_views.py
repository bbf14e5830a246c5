"""JSON shapes of rows and parameter types of filters, made from the table descriptions."""

from decimal import Decimal
from functools import cache
from types import GenericAlias
from typing import Annotated, Any, Literal, NotRequired, cast

from pydantic import AfterValidator, BaseModel, BeforeValidator, Field, WithJsonSchema, create_model
from pydantic_core import PydanticCustomError
from typing_extensions import TypedDict

from app.catalogue.columns import DAY, SLUG, TEXT_MAX, CellKind, Column, Unreadable
from app.catalogue.tables import Row
from app.json_types import JsonObject

_MOST = 999_999_999
_ANY_NUMBER = Annotated[Any, WithJsonSchema({"type": "number"})]  # 150 stays 150, 34.9 stays 34.9
_JSON: JsonObject = {
    "whole number": int, "number": _ANY_NUMBER, "figure as published": str, "true or false": bool, "date": str,
    "id": str, "text": str,
}  # fmt: skip


@cache
def row_shape(table: type[Row]) -> Any:
    """The JSON shape of a row: the exchange columns that have values; published figures are decimal strings."""
    fields = {name: _member(column) for name, column in table.columns().items()}
    return shape(f"{table.__name__}Row", table.meaning, fields)


def list_of(item: object) -> object:
    """The type of a list whose item type is made at start-up."""
    return GenericAlias(list, (item,))


def shape(name: str, doc: str, fields: JsonObject) -> Any:
    """A TypedDict with this name, made at start-up."""
    made = cast(Any, TypedDict)(name, fields)
    made.__doc__ = doc
    return made


def _member(column: Column) -> Any:
    if column.options:
        context: Any = Literal[column.options]
    elif column.kind.items is not None:
        context = list_of(_JSON[column.kind.items.name])
    else:
        context = _JSON[column.kind.name]
    described = Annotated[context, Field(description=_meaning(column))]
    return described if column.required else NotRequired[described]


def _meaning(column: Column) -> str:
    parts = [column.meaning]
    if column.unit is not None:
        parts.append(f"in {column.unit}")
    if column.unit_column is not None:
        parts.append(f"its unit is in {column.unit_column}")
    if column.refers_to is not None:
        parts.append(f"id in {column.refers_to}")
    return "; ".join(parts)


def filters(table: type[Row], base: type[BaseModel]) -> type[BaseModel]:
    """The parameters of a list: those of `base` and one filter for each column of the table."""
    fields: JsonObject = {}
    for name, column in table.columns().items():
        if name in base.model_fields:
            raise ValueError(f"the column {table.table}.{name} has the name of a parameter")
        fields[name] = (_taken(column) | None, Field(default=None, description=_filter_text(column)))
    return create_model(
        f"{table.__name__}ListAsked", __base__=base, __doc__=f"The parameters of the list of {table.table}.", **fields
    )


def _filter_text(column: Column) -> str:
    meaning = _meaning(column)
    if column.kind.items is not None:
        return f"Only rows whose list contains this: {meaning}."
    by_value = " Compared by value: 7.3 finds 7.30." if column.kind.name == "figure as published" else ""
    return f"Only rows with this value: {meaning}.{by_value}"


def _taken(column: Column) -> Any:
    if column.options:
        return Literal[column.options]
    return _PARAMETERS[(column.kind.items or column.kind).name](column.kind.items or column.kind)


def _read(kind: CellKind) -> object:
    def read(text: str) -> str:
        try:
            return cast(str, kind.read(text))
        except Unreadable as error:
            raise PydanticCustomError("wrong-form", "{text}", {"text": str(error)}) from None

    return AfterValidator(read)


def _within(value: Decimal) -> Decimal:
    if not abs(value) <= _MOST + 1:
        raise PydanticCustomError("out-of-range", "A figure has at most nine digits before the decimal point")
    return value


def _flag(value: object) -> object:
    if isinstance(value, str) and value not in ("true", "false"):
        raise PydanticCustomError("not-true-or-false", "It should be true or false")
    return value


_PARAMETERS: JsonObject = {
    "whole number": lambda kind: Annotated[int, Field(ge=-_MOST, le=_MOST)],
    "number": lambda kind: Annotated[float, Field(allow_inf_nan=False, ge=-_MOST - 1, le=_MOST + 1)],
    "figure as published": lambda kind: Annotated[Decimal, Field(allow_inf_nan=False), AfterValidator(_within)],
    "true or false": lambda kind: Annotated[bool, BeforeValidator(_flag)],
    "date": lambda kind: Annotated[str, Field(max_length=10, pattern=f"^{DAY.pattern}$")],
    "id": lambda kind: Annotated[str, Field(max_length=80, pattern=f"^{SLUG.pattern}$")],
    "text": lambda kind: Annotated[str, Field(max_length=TEXT_MAX), _read(kind)],
}
