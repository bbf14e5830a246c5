"""The committed API description is the served one, describes everything, and its examples are valid."""

import copy
import json
import re
from collections.abc import Iterator
from typing import Any

import pytest
from jsonschema import Draft202012Validator, FormatChecker
from openapi_spec_validator import validate

from app.web.contract.examples import recorded
from app.web.contract.openapi import served
from app.web.contract.problem_types import PROBLEM_TYPES
from app.web.contract.refusals import LOOKUPS_BY_POST
from tests.api.document import built

Document = dict[str, Any]
ANEW = "run `python -m tests.api.document` and commit what it writes"
BINARY = {"exportPackage", "exportSqlite"}


@pytest.fixture(scope="module")
def document() -> Document:
    found: Document = json.loads(served())
    return found


def operations(document: Document) -> Iterator[tuple[str, str, Document]]:
    for path, item in document["paths"].items():
        for method, operation in item.items():
            yield path, method, operation


def every(node: Any, name: str = "") -> Iterator[tuple[str, Document]]:
    """Every object of a document with its key, except those inside examples."""
    if isinstance(node, dict):
        yield name, node
        for key, inner in node.items():
            if key not in ("example", "examples"):
                yield from every(inner, key)
    elif isinstance(node, list):
        for inner in node:
            yield from every(inner, name)


def test_what_is_committed_is_what_the_code_describes() -> None:
    assert json.loads(served()) == json.loads(built()), ANEW


def test_it_is_valid_openapi(document: Document) -> None:
    validate(document)
    assert document["openapi"].startswith("3.1.")


def test_names_are_of_one_convention_and_used_once(document: Document) -> None:
    names = [operation["operationId"] for _, _, operation in operations(document)]
    assert len(names) == len(set(names))
    assert [name for name in names if not re.fullmatch(r"[a-z]+([A-Z][a-z]+)*", name)] == []
    schemas = document["components"]["schemas"]  # a second schema of that name gets its module as a prefix
    assert [name for name in schemas if not re.fullmatch(r"([A-Z][a-z]*)+", name)] == []


def test_everything_is_described(document: Document) -> None:
    silent = []
    for _, _, operation in operations(document):
        if not operation.get("summary") or not operation.get("description"):
            silent.append(operation["operationId"])
        for parameter in operation.get("parameters", []):
            if "$ref" not in parameter and not parameter.get("description"):
                silent.append(f"{operation['operationId']} {parameter['name']}")
    for name, schema in document["components"]["schemas"].items():
        silent += [] if schema.get("description") else [name]
        for member, inner in schema.get("properties", {}).items():
            silent += (
                [] if inner.get("description") else [f"{name}.{member}: a line in app/web/contract/member_meanings.csv"]
            )
    assert silent == []
    assert all(tag["description"] for tag in document["tags"])
    assert {tag for _, _, each in operations(document) for tag in each["tags"]} == {
        tag["name"] for tag in document["tags"]
    }


def test_nothing_may_be_null_and_every_schema_has_a_name(document: Document) -> None:
    assert [name for name, node in every(document) if node.get("type") == "null"] == []
    for _, _, operation in operations(document):
        contents = [operation.get("requestBody", {}).get("content", {}).get("application/json")]
        contents += [each.get("content", {}).get("application/json") for each in operation["responses"].values()]
        for content in filter(None, contents):
            open_object = operation["operationId"] in ("healthz", "readyz")
            assert "$ref" in content["schema"] or open_object, operation["operationId"]


def test_no_type_depends_on_a_value(document: Document) -> None:
    """One of several objects is allowed only if one of their members names which; generated clients need that."""
    undecided = [
        place
        for place, node in every(document)
        if "anyOf" in node or isinstance(node.get("type"), list) or ("oneOf" in node and "discriminator" not in node)
    ]
    assert undecided == []
    schemas = document["components"]["schemas"]
    assert schemas["AnyStatement"]["discriminator"]["propertyName"] == "table"
    assert schemas["ChangeBody"]["discriminator"]["mapping"].keys() == {"put", "withdraw"}


def test_every_measured_figure_is_a_quantity(document: Document) -> None:
    """Other numbers in answers are scores, shares and turns; rows are columns as stored."""
    numbers = {
        f"{name}.{member}"
        for name, schema in document["components"]["schemas"].items()
        for member, inner in schema.get("properties", {}).items()
        if inner.get("type") == "number" and not name.endswith(("Row", "Body"))
    }
    assert numbers == {
        *(f"Quantity.{member}" for member in ("value", "min", "max", "target", "share_percent")),
        "BandOf.share_percent", "BandView.share_percent", "CheckReading.probability", "IdentifyCandidate.score",
        "Near.score", "NextCheck.bits", "SearchHit.score", "Turns.count", "Turns.max", "Turns.min",
            "AdjustmentView.count",
    }  # fmt: skip
    assert {"kind", "unit", "ucum", "text"} == set(document["components"]["schemas"]["Quantity"]["required"])


def test_every_refusal_is_a_problem_and_what_writes_takes_a_key(document: Document) -> None:
    for path, method, operation in operations(document):
        for status, response in operation["responses"].items():
            if status[0] in "45":
                assert response == {"$ref": f"#/components/responses/Problem{status}"}
        if method != "get" and operation["operationId"] not in LOOKUPS_BY_POST:
            assert operation["security"] == [{"key": []}], path
    known = {f"Problem{kind.status}" for kind in PROBLEM_TYPES.values()} | {"Problem4XX", "Problem5XX", "NotModified"}
    assert document["components"]["responses"].keys() <= known


def test_every_operation_and_every_refusal_has_an_example(document: Document) -> None:
    without = [each["operationId"] for _, _, each in operations(document) if not _has_example(each)]
    assert without == [], f"a request in tests/api/recording.py, then {ANEW}"
    for name, response in document["components"]["responses"].items():
        assert name == "NotModified" or response["content"]["application/problem+json"]["examples"], name


def _has_example(operation: Document) -> bool:
    if operation["operationId"] in BINARY:
        return True
    answers = [each for status, each in operation["responses"].items() if status[0] == "2"]
    if not any("content" in answer for answer in answers):
        return True
    body = operation.get("requestBody", {}).get("content", {}).get("application/json", {"examples": True})
    return any("examples" in each["content"]["application/json"] for each in answers) and "examples" in body


def test_every_example_is_what_its_schema_says(document: Document) -> None:
    exact = copy.deepcopy(document)
    for _, schema in every(exact["components"]["schemas"]):
        if "properties" in schema and isinstance(schema.get("type"), str):
            schema.setdefault("additionalProperties", False)  # an example contains nothing that is not described
    wrong, count = [], 0
    for place, node in every(exact):
        if isinstance(node.get("examples"), dict) and "schema" in node:
            for shown in node["examples"].values():
                held = {"components": exact["components"], **node["schema"]}
                found = Draft202012Validator(held, format_checker=FormatChecker()).iter_errors(shown["value"])
                wrong += [f"{place}: {error.json_path} {error.message[:200]}" for error in found]
                count += 1
    assert wrong == []
    assert count >= len(recorded("answers")) - 1 + len(recorded("problems"))  # one has no body


def test_every_choice_says_what_is_chosen(document: Document) -> None:
    """In its own description, or in that of the member, parameter or list that contains it."""
    silent = []

    def look(node: Any, place: str, said: bool) -> None:
        if isinstance(node, list):
            for inner in node:
                look(inner, place, False)
        elif isinstance(node, dict):
            said = said or isinstance(node.get("description"), str)
            if isinstance(node.get("enum"), list) and not said:
                silent.append(place)
            for name, inner in node.items():
                if name not in ("example", "examples"):
                    look(inner, f"{place}/{name}", said and name in ("schema", "items"))

    look(document, "", False)
    assert silent == []
