"""Renders a list as CSV (RFC 4180) for people and spreadsheets: stable columns, bare numbers, no formulas."""

import csv
import io
import json
import re
from collections.abc import Iterator, Mapping
from typing import Any
from weakref import WeakKeyDictionary

from app.web.representation.kinds import Answered, Shape

_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_PARTS = re.compile(r"(?<=[;\t\r\n])")
_FIGURE = re.compile(r"-[0-9]+(\.[0-9]+)?;?")  # a figure as published is text that keeps its digits
_columns: WeakKeyDictionary[Shape, dict[str, list[str]]] = WeakKeyDictionary()

Json = Any


def render(answered: Answered) -> bytes:
    """One record per row of the list; a nested member is `spring.name`; a list in a cell is joined by `;`."""
    assert answered.rows is not None
    rows = answered.shape.dump_python(answered.answer, mode="json")[answered.rows]
    flat = [dict(_leaves(row)) for row in rows]
    columns = list(_columns_of(answered.shape, answered.rows))
    known = set(columns)
    for row in flat:  # members that the model does not declare, such as the columns of a generic table
        for name in row.keys() - known:
            known.add(name)
            columns.append(name)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([_cell(row.get(name)) for name in columns] for row in flat)
    return out.getvalue().encode()


def _cell(value: Json) -> Json:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return value
    text = value if isinstance(value, str) else _listed(value)
    return "".join(map(_guarded, _PARTS.split(text)))


def _guarded(part: str) -> str:
    """A part of a cell with an apostrophe before what a spreadsheet may take for a formula.

    Many spreadsheets split a line at semicolons, even inside quotes, so each part of a cell may become a cell.
    """
    bare = part.lstrip(" \"'")
    return f"'{part}" if bare.startswith(_FORMULA) and not _FIGURE.fullmatch(part) else part


def _listed(values: list[Json]) -> str:
    if any(isinstance(value, dict | list) for value in values):
        return json.dumps(values, ensure_ascii=False)
    return ";".join(str(value) for value in values)


def _leaves(value: Json, name: str = "") -> Iterator[tuple[str, Json]]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _leaves(inner, f"{name}.{key}" if name else key)
    else:
        yield name or "value", value


def _columns_of(shape: Shape, rows: str) -> list[str]:
    """The columns that the model declares, so that an empty list has the same header as a full one."""
    per_shape = _columns.setdefault(shape, {})
    if rows not in per_shape:
        schema = shape.json_schema(mode="serialization")
        definitions = schema.get("$defs", {})
        listed = _resolved(schema, definitions)["properties"][rows]
        found = _schema_leaves(_resolved(listed, definitions).get("items", {}), definitions, "", frozenset())
        per_shape[rows] = list(dict.fromkeys(found))
    return per_shape[rows]


def _resolved(schema: Json, definitions: Json) -> Json:
    while "$ref" in schema:
        schema = definitions[schema["$ref"].rpartition("/")[2]]
    return schema


def _schema_leaves(schema: Json, definitions: Json, name: str, seen: frozenset[str]) -> Iterator[str]:
    if (reference := schema.get("$ref")) in seen:
        return
    if reference:
        seen |= {reference}
    schema = _resolved(schema, definitions)
    choices = schema.get("anyOf") or schema.get("oneOf")
    if choices:
        for choice in choices:
            yield from _schema_leaves(choice, definitions, name, seen)
    elif schema.get("type") == "object":
        for key, inner in schema.get("properties", {}).items():
            yield from _schema_leaves(inner, definitions, f"{name}.{key}" if name else key, seen)
    elif schema.get("type") != "null" and schema:
        yield name or "value"
