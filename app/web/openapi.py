"""The description of the interface: what FastAPI finds, with problems, optional parameters and bodies put right."""

from collections.abc import Iterator
from importlib.metadata import version
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic import TypeAdapter

from app.web.problem import MEDIA_TYPE, Problem

Document = dict[str, Any]

DESCRIPTION = (
    "What a suspension mechanic must know before opening a fork, with scope and source. The same address gives JSON, "
    "a page, text or CSV: its end (`.html .txt .csv .svg`) beats `format=`, which beats Accept. Every refusal is a "
    "problem detail (RFC 9457) whose `errors[].code` is stable. GET also takes HEAD and OPTIONS."
)
_METHODS = {"get", "put", "post", "delete", "patch"}
_REFERENCE = "#/components/schemas/{model}"


def json_body(shape: TypeAdapter[Any], description: str) -> Document:
    """`openapi_extra` for a route that reads its own body with `json_body.read_model`."""
    schema = shape.json_schema(ref_template=_REFERENCE)
    return {
        "requestBody": {
            "required": True,
            "description": description,
            "content": {"application/json": {"schema": schema}},
        }
    }


def describe(app: FastAPI) -> Document:
    """The whole document, built anew; the caller keeps it."""
    document = get_openapi(
        title="Legwork", version=version("legwork"), openapi_version="3.1.0", description=DESCRIPTION, routes=app.routes
    )
    components = document.setdefault("components", {})
    schemas = components.setdefault("schemas", {})
    for operation in _operations(document):
        _put_right(operation)
    schemas["Problem"] = TypeAdapter(Problem).json_schema(ref_template=_REFERENCE)
    components["responses"] = {
        "Problem": {
            "description": "Refused: a problem detail (RFC 9457).",
            "content": {MEDIA_TYPE: {"schema": {"$ref": _REFERENCE.format(model="Problem")}}},
        }
    }
    components["securitySchemes"] = {
        "key": {
            "type": "http",
            "scheme": "bearer",
            "description": "A key of this service; lookups may be open without one.",
        }
    }
    document["security"] = [{}, {"key": []}]
    document["servers"] = [{"url": "/"}]
    tags = sorted({tag for operation in _operations(document) for tag in operation.get("tags", [])})
    document["tags"] = [{"name": tag} for tag in tags]
    _hoist(document["paths"], schemas)
    _hoist(schemas["Problem"], schemas)
    for left in ("HTTPValidationError", "ValidationError"):
        schemas.pop(left, None)
    return document


def _operations(document: Document) -> Iterator[Document]:
    for path in document.get("paths", {}).values():
        yield from (operation for method, operation in path.items() if method in _METHODS)


def _put_right(operation: Document) -> None:
    responses = operation["responses"]
    responses.pop("422", None)
    problem = {"$ref": "#/components/responses/Problem"}
    responses.setdefault("4XX", problem)
    responses.setdefault("5XX", problem)
    for parameter in operation.get("parameters", []):
        _without_null(parameter["schema"])
        if parameter["in"] == "path" and parameter["schema"] == {
            "type": "string",
            "title": parameter["schema"].get("title"),
        }:
            parameter["schema"]["pattern"] = "^[a-z0-9][a-z0-9-]{0,79}$"


def _without_null(schema: Document) -> None:
    """A parameter is left out, never null: `anyOf [X, null]` becomes X."""
    choices = [choice for choice in schema.get("anyOf", []) if choice != {"type": "null"}]
    if len(choices) == 1 and len(schema["anyOf"]) == 2:
        del schema["anyOf"]
        schema.update(choices[0])
    if schema.get("default", ...) is None:
        del schema["default"]


def _hoist(node: Any, schemas: Document) -> None:
    """Definitions inside a schema move to the components, where the references point."""
    if isinstance(node, dict):
        schemas.update(node.pop("$defs", {}))
        for inner in node.values():
            _hoist(inner, schemas)
    elif isinstance(node, list):
        for inner in node:
            _hoist(inner, schemas)
