"""Refines the generated schemas: describes every member, names the choices of unions, and removes null and titles."""

import csv
from collections.abc import Iterator
from functools import cache
from importlib.resources import files

from app.json_types import JsonObject

Document = JsonObject

_REFERENCE = "#/components/schemas/"
_WITH_PROBLEM = ("BatchItem", "CardOfFleet")

# Unions that a member distinguishes: its value in each, the members that are required, and those not allowed.
_EITHER: dict[str, tuple[str, dict[str, tuple[Document, str, str]]]] = {
    "ChangeBody": (
        "op",
        {
            "PutBody": ({"const": "put", "type": "string"}, "row", "id"),
            "WithdrawBody": ({"const": "withdraw", "type": "string"}, "id", "row"),
        },
    ),
}

# Parameters of many operations that get one name in every generated client.
_CHOICES = {
    "format": ("Form", "The formats of answers."),
    "units": ("Units", "The units of figures: as published, or all of one system."),
    "job": ("Job", "The jobs: travel change, spacer change, lower-leg service or full service."),
}


def hoist(node: object, schemas: Document) -> None:
    """Move definitions inside a schema to the components."""
    if isinstance(node, dict):
        schemas.update(node.pop("$defs", {}))
        for inner in list(node.values()):
            hoist(inner, schemas)
    elif isinstance(node, list):
        for inner in node:
            hoist(inner, schemas)


def without_null(schema: Document) -> None:
    """Replace `anyOf [X, null]` with X, because parameters are left out, never null; figures become numbers."""
    choices = [choice for choice in schema.get("anyOf", []) if choice != {"type": "null"}]
    if [choice.get("type") for choice in choices] == ["number", "string"]:
        choices = choices[:1]
    if len(choices) == 1:
        del schema["anyOf"]
        schema.update(choices[0])
    if schema.get("default", ...) is None:
        del schema["default"]


def make_exact(document: Document) -> None:
    """Refine all schemas of a document."""
    schemas = document["components"]["schemas"]
    for name in _WITH_PROBLEM:
        if name in schemas:
            schemas[name]["properties"]["problem"] = {"$ref": f"{_REFERENCE}Problem"}
    for name, (member, kinds) in _EITHER.items():
        if name in schemas:
            _tell_apart(schemas, name, member, kinds)
    for name in sorted(schemas):
        _describe_members(name, schemas[name])
    for _, schema in _schemas(document):
        if isinstance(schema.get("title"), str):
            del schema["title"]
        for ours, theirs in (("ge", "minimum"), ("le", "maximum")):  # left as they are on a number with its own reader
            if ours in schema:
                schema[theirs] = schema.pop(ours)
    for parameter in _parameters(document):
        if isinstance(parameter["schema"].get("description"), str):
            parameter.setdefault("description", parameter["schema"].pop("description"))


def name_choices(document: Document) -> None:
    """Turn the choices of `_CHOICES` into components, with their defaults, which are the same everywhere."""
    schemas = document["components"]["schemas"]
    for parameter in _parameters(document):
        if "enum" in parameter.get("schema", {}) and parameter["name"] in _CHOICES:
            name, text = _CHOICES[parameter["name"]]
            found = {"description": text, **parameter["schema"]}
            if schemas.setdefault(name, found) != found:
                raise ValueError(f"`{parameter['name']}` does not have the same choices everywhere")
            parameter["schema"] = {"$ref": f"{_REFERENCE}{name}"}


def meaning(schema: str, member: str) -> str | None:
    """The meaning of a member: the one for this schema if there is one, otherwise the general one."""
    known = _meanings()
    return known.get(f"{schema}.{member}") or known.get(member)


@cache
def _meanings() -> dict[str, str]:
    lines = files("app.web.contract").joinpath("member_meanings.csv").read_text("utf-8").splitlines()
    return {row["member"]: row["meaning"] for row in csv.DictReader(lines)}


def _describe_members(name: str, schema: Document) -> None:
    for member, inner in schema.get("properties", {}).items():
        if "description" not in inner and (text := meaning(name, member)) is not None:
            inner["description"] = text


def _tell_apart(schemas: Document, name: str, member: str, kinds: dict[str, tuple[Document, str, str]]) -> None:
    whole = schemas[name]
    _describe_members(name, whole)
    for kind, (held, wanted, absent) in kinds.items():
        properties = {each: inner for each, inner in whole["properties"].items() if each != absent}
        properties[member] = {"description": whole["properties"][member]["description"], **held}
        required = [each for each in properties if each in {*whole["required"], wanted}]
        text = f"{whole['description']} Here with `{wanted}`."
        schemas[kind] = {"type": "object", "description": text, "properties": properties, "required": required}
    either: Document = {
        "description": whole["description"],
        "oneOf": [{"$ref": f"{_REFERENCE}{kind}"} for kind in kinds],
    }
    mapping = {held["const"]: f"{_REFERENCE}{kind}" for kind, (held, _, _) in kinds.items()}
    either["discriminator"] = {"propertyName": member, "mapping": mapping}
    schemas[name] = either


def _parameters(document: Document) -> Iterator[Document]:
    for item in document["paths"].values():
        for operation in item.values():
            yield from operation.get("parameters", [])


def _schemas(node: object, key: str = "") -> Iterator[tuple[str, Document]]:
    """Add names to the schemas, and keep members that are themselves called `title`."""
    if isinstance(node, list):
        for inner in node:
            yield from _schemas(inner)
    elif isinstance(node, dict):
        if key != "properties":
            yield key, node
        for name, inner in node.items():
            if key == "properties" or name not in ("info", "example", "examples"):
                yield from _schemas(inner, "" if key == "properties" else name)
