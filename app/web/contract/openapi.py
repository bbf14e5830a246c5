"""Builds the OpenAPI document from FastAPI's. It is built for each commit, not at start.

`openapi.json` next to this module is served; `python -m tests.api.document` writes it, and a test compares.
"""

from collections.abc import Iterator
from importlib.metadata import version
from importlib.resources import files
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic import TypeAdapter

from app.catalogue.columns import SLUG
from app.json_types import JsonObject
from app.web.contract.deprecations import mark
from app.web.contract.examples import add_examples, problem_example
from app.web.contract.refusals import problem_responses, refusals_of, security_of
from app.web.contract.schemas import hoist, make_exact, name_choices, without_null
from app.web.problem import Problem
from app.web.reading.strict import StrictRoute

OpenApiDocument = JsonObject

DESCRIPTION = (
    "Everything a suspension mechanic needs to know before opening a fork, each value with its scope and source. Every "
    "address gives JSON, a page, text or CSV: its suffix (`.html .txt .csv .svg`) comes before `format=`, that before "
    "Accept. An unknown value is absent, never null. Ignore members that you do not know. Every refusal is a problem "
    "detail (RFC 9457) with stable `errors[].code`. GET also takes HEAD and OPTIONS. The examples come from an "
    "invented catalogue; their lists are cut to two."
)
TAGS = {
    "questions": "Questions of a mechanic: which fork it is, what fits it, all that is listed for it, and the work.",
    "tables": "All tables, as they are exchanged.",
    "units and standards": "Units, conversion, and public standards as tables.",
    "rules": "The rules that check the catalogue, and their findings.",
    "revisions": "Revisions, the change feed, and every version of a statement.",
    "changes": "Changes to the catalogue: dry runs, imports, single statements.",
    "exchange": "The whole catalogue as a file, and a hash to compare copies.",
    "bench log": "The bench log: the forks of a workshop and the work done on them.",
    "drafts": "Printed tables on their way into the catalogue: what was given, and the rows that follow from it.",
    "operation": "For operators, and the problem types.",
}
"""In the order in which `/docs` shows them."""
_METHODS = {"get", "put", "post", "delete", "patch"}
_REFERENCE = "#/components/schemas/{model}"


def served() -> bytes:
    """The committed document, which is served."""
    return files("app.web.contract").joinpath("openapi.json").read_bytes()


def json_body(shape: TypeAdapter[Any], description: str, *media_types: str) -> OpenApiDocument:
    """The `openapi_extra` of a route that reads its own body with `json_body.read_model`; JSON by default."""
    schema = shape.json_schema(ref_template=_REFERENCE)
    return {
        "requestBody": {
            "required": True,
            "description": description,
            "content": {media_type: {"schema": schema} for media_type in media_types or ("application/json",)},
        }
    }


def describe(app: FastAPI) -> OpenApiDocument:
    """Build the whole document."""
    routes = [route.described() if isinstance(route, StrictRoute) else route for route in app.routes]
    document = get_openapi(
        title="Legwork", version=version("legwork"), openapi_version="3.1.0", description=DESCRIPTION, routes=routes
    )
    document["info"] |= {
        "summary": "Spec database and bench answers for suspension mechanics.",
        "contact": {"name": "Operator of this service"},
        "license": {"name": "None stated", "identifier": "NOASSERTION"},
    }
    document["servers"] = [{"url": "/", "description": "The server this document was read from."}]
    components = document.setdefault("components", {})
    schemas = components.setdefault("schemas", {})
    schemas["Problem"] = TypeAdapter(Problem).json_schema(ref_template=_REFERENCE)
    components["headers"] = {
        "ETag": {
            "description": "Entity tag of this answer, for If-None-Match or If-Match.",
            "schema": {"type": "string"},
        }
    }
    components["parameters"] = {
        "IfNoneMatch": {
            "name": "If-None-Match", "in": "header", "description": "ETag of your copy: 304 if it is still valid.",
            "schema": {"type": "string"},
        }
    }  # fmt: skip
    components["securitySchemes"] = {
        "key": {
            "type": "http",
            "scheme": "bearer",
            "description": "An API key. Writes need one; so do look-ups if closed.",
        }
    }
    for path, _, operation in _operations(document):
        _name_body(operation, schemas)
        for parameter in operation.get("parameters", []):
            _put_parameter_right(parameter, path)
    hoist(document["paths"], schemas)
    hoist(schemas, schemas)
    for left in ("HTTPValidationError", "ValidationError"):
        schemas.pop(left, None)
    make_exact(document)
    name_choices(document)
    for path, method, operation in _operations(document):
        add_examples(operation)
        _say_how_it_ends(path, method, operation)
    mark(document)
    components["responses"] = problem_responses(problem_example, _statuses(document))
    used = {tag for _, _, operation in _operations(document) for tag in operation.get("tags", [])}
    document["tags"] = [{"name": tag, "description": text} for tag, text in TAGS.items() if tag in used]
    return document


def _operations(document: OpenApiDocument) -> Iterator[tuple[str, str, OpenApiDocument]]:
    for path, item in document.get("paths", {}).items():
        yield from ((path, method, operation) for method, operation in item.items() if method in _METHODS)


def _statuses(document: OpenApiDocument) -> set[str]:
    return {status for _, _, operation in _operations(document) for status in operation["responses"]}


def _name_body(operation: OpenApiDocument, schemas: OpenApiDocument) -> None:
    """Give every body a named schema, as answers have."""
    content = operation.get("requestBody", {}).get("content", {}).get("application/json")
    if content and "title" in content["schema"]:
        name = content["schema"]["title"]
        hoist(content, schemas)
        schemas[name] = content["schema"]
        content["schema"] = {"$ref": _REFERENCE.format(model=name)}


def _put_parameter_right(parameter: OpenApiDocument, path: str) -> None:
    schema = parameter["schema"]
    without_null(schema)
    if parameter["in"] == "header":
        parameter["name"] = parameter["name"].title()  # as RFC 9110 writes them: If-Match
    if parameter["in"] == "path" and schema.get("type") == "string":
        schema.pop("examples", None)
        schema["pattern"] = f"^{SLUG.pattern}$"
        parameter.setdefault("description", f"Name of the thing that `{path}` is about.")


def _say_how_it_ends(path: str, method: str, operation: OpenApiDocument) -> None:
    """Every status that the operation answers with; `4XX` and `5XX` stand for those that any request may get."""
    responses = operation["responses"]
    responses.pop("422", None)
    for status in refusals_of(path, method, operation):
        responses[str(status)] = {"$ref": f"#/components/responses/Problem{status}"}
    for family in ("4XX", "5XX"):
        responses[family] = {"$ref": f"#/components/responses/Problem{family}"}
    if method == "get" and path not in ("/healthz", "/readyz"):
        operation.setdefault("parameters", []).append({"$ref": "#/components/parameters/IfNoneMatch"})
        responses["200"]["headers"] = {"ETag": {"$ref": "#/components/headers/ETag"}}
        responses["304"] = {"$ref": "#/components/responses/NotModified"}
    operation["responses"] = dict(sorted(responses.items()))
    operation["security"] = security_of(path, method, operation)
