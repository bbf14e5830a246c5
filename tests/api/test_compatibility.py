"""Programs written against the last release keep working: anything removed or narrowed is named, wherever it is."""

import copy
import gzip
import json
import random
import re
from pathlib import Path
from typing import Any

import pytest

from app.web.contract.openapi import served
from tests.api.compatibility import broken
from tests.api.document import RELEASED, built
from tests.api.test_document import Document, every, operations

CHANGES_PAGE = Path(__file__).parents[2] / "app" / "web" / "guide" / "changes.md"


@pytest.fixture(scope="module")
def document() -> Document:
    found: Document = json.loads(served())
    return found


@pytest.fixture(scope="module")
def released() -> Document:
    found: Document = json.loads(gzip.decompress(RELEASED.read_bytes()))
    return found


@pytest.fixture(scope="module")
def breaks(released: Document) -> list[str]:
    return broken(released, json.loads(built()))


def patterns_since(released: Document) -> list[re.Pattern[str]]:
    """The breaks that the first table of `/docs/changes` lists since that release, one pattern each."""
    table = CHANGES_PAGE.read_text().split("\n|---|---|---|---|\n")[1].split("\n\n")[0]
    patterns: list[re.Pattern[str]] = []
    for line in table.strip().splitlines():
        since, text, instead, why = (cell.strip() for cell in line.strip("|").split("|"))
        named = re.findall(r"`([^`]+)`", text)
        assert named, line
        assert instead, line
        assert why, line
        if version_of(since) > version_of(released["info"]["version"]):
            patterns += [re.compile(re.escape(each).replace(r"\*", ".*")) for each in named]
    return patterns


def version_of(text: str) -> tuple[int, ...]:
    return tuple(int(part) for part in text.split("."))


def test_every_break_since_the_last_release_has_a_row(released: Document, breaks: list[str]) -> None:
    listed = patterns_since(released)
    assert [each for each in breaks if not any(pattern.fullmatch(each) for pattern in listed)] == []


def test_every_row_names_breaks_since_the_last_release(released: Document, breaks: list[str]) -> None:
    listed = patterns_since(released)
    assert [each.pattern for each in listed if not any(map(each.fullmatch, breaks))] == []


def test_a_break_without_a_row_is_seen(released: Document) -> None:
    changed = copy.deepcopy(released)
    del changed["paths"]["/v1/convert"]
    assert broken(released, changed) == ["GET /v1/convert is gone"]
    assert not any(pattern.fullmatch("GET /v1/convert is gone") for pattern in patterns_since(released))


CHANGES: list[tuple[str, list[str], Any, str]] = [
    ("an operation goes", ["paths", "/v1/convert", "get"], None, "GET /v1/convert is gone"),
    ("it has another name", ["paths", "/v1/convert", "get", "operationId"], "turn", "GET /v1/convert has another name"),
    ("it takes a key", ["paths", "/v1/convert", "get", "security"], [{"key": []}], "GET /v1/convert takes a key"),
    ("a status goes", ["paths", "/v1/convert", "get", "responses", "406"], None, "GET /v1/convert has no 406"),
    (
        "a form goes", ["paths", "/v1/convert", "get", "responses", "200", "content", "text/plain"], None,
        "GET /v1/convert 200 has no text/plain",
    ),
    (
        "a parameter must be given", ["paths", "/v1/convert", "get", "parameters", "digits", "required"], True,
        "GET /v1/convert digits must be given",
    ),
    (
        "a parameter goes", ["paths", "/v1/convert", "get", "parameters", "digits"], None,
        "GET /v1/convert digits is gone",
    ),
    (
        "a bound is drawn closer", ["paths", "/v1/convert", "get", "parameters", "digits", "schema", "maximum"], 3,
        "GET /v1/convert digits has a narrower maximum",
    ),
    (
        "a choice goes", ["paths", "/v1/convert", "get", "parameters", "round", "schema", "enum"], ["up", "down"],
        "GET /v1/convert round is no longer nearest",
    ),
    (
        "a member of an answer goes", ["components", "schemas", "Conversion", "properties", "exact"], None,
        "GET /v1/convert 200.exact is gone",
    ),
    (
        "a member may be absent", ["components", "schemas", "Conversion", "required"], ["kind"],
        "GET /v1/convert 200.exact may be absent",
    ),
    (
        "a member has another type", ["components", "schemas", "Quantity", "properties", "value", "type"], "string",
        "GET /v1/convert 200.result.value was integer/number and is string",
    ),
    ("a path goes", ["paths", "/v1/convert"], None, "GET /v1/convert is gone"),
    (
        "a parameter has another type",
        ["paths", "/v1/convert", "get", "parameters", "digits", "schema", "type"], "string",
        "GET /v1/convert digits was integer and is string",
    ),
    (
        "a parameter takes certain values only",
        ["paths", "/v1/convert", "get", "parameters", "from", "schema", "enum"], ["mm"],
        "GET /v1/convert from takes certain values only",
    ),
    (
        "a parameter has another form",
        ["paths", "/v1/convert", "get", "parameters", "value", "schema", "pattern"], "^[0-9]+$",
        "GET /v1/convert value has another form",
    ),
    (
        "a shared choice goes", ["components", "schemas", "Form", "enum"], ["json"],
        "GET /v1/convert format is no longer csv",
    ),
    (
        "an answer's choice goes", ["components", "schemas", "ForkCheckAnswer", "properties", "allowed", "enum"],
        ["yes", "no"], "GET /v1/frames/{frame}/fork-check 200.allowed is no longer not stated",
    ),
    (
        "a list takes fewer", ["components", "schemas", "BatchBody", "properties", "questions", "maxItems"], 100,
        "POST /v1/batch body.questions has a narrower maxItems",
    ),
    (
        "one of several kinds goes", ["components", "schemas", "AnyStatement", "oneOf"],
        [{"$ref": "#/components/schemas/FitEntry"}], "GET /v1/statements/{id} 200 has fewer kinds",
    ),
    (
        "the tag goes", ["paths", "/v1/convert", "get", "responses", "200", "headers"], {},
        "GET /v1/convert 200 has no ETag",
    ),
    (
        "a body wants more", ["components", "schemas", "BatchBody", "required"], ["questions", "reason"],
        "POST /v1/batch body.reason must be given",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("place", "value", "said"), [case[1:] for case in CHANGES], ids=[case[0] for case in CHANGES])
def test_what_is_removed_or_narrowed_is_named(document: Document, place: list[str], value: Any, said: str) -> None:
    changed = copy.deepcopy(document)
    node: Any = changed
    for step in place[:-1]:
        node = next(each for each in node if each.get("name") == step) if isinstance(node, list) else node[step]
    if isinstance(node, list):
        node[:] = [each for each in node if each.get("name") != place[-1]]
    elif value is None:
        del node[place[-1]]
    else:
        node[place[-1]] = value
    assert said in broken(document, changed)


def test_a_new_parameter_that_must_be_given_is_named(document: Document) -> None:
    changed = copy.deepcopy(document)
    new = {"name": "why", "in": "query", "required": True, "schema": {"type": "string"}}
    changed["paths"]["/v1/convert"]["get"]["parameters"].append(new)
    assert broken(document, changed) == ["GET /v1/convert why must be given"]


@pytest.mark.parametrize("seed", range(40))
def test_whatever_is_taken_away_is_named(document: Document, seed: int) -> None:
    """Removes a member, parameter, choice, status or operation at random, from schemas that an operation uses."""
    chance = random.Random(seed)
    changed = copy.deepcopy(document)
    kind = chance.choice(["path", "status", "parameter", "member", "choice"])
    operation = chance.choice([each for _, _, each in operations(changed)])
    used = [node for name, node in every(changed["components"]["schemas"]) if "properties" in node]
    if kind == "path":
        del changed["paths"][chance.choice(list(changed["paths"]))]
    elif kind == "status":
        del operation["responses"][chance.choice(list(operation["responses"]))]
    elif kind == "parameter":
        named = [each for _, _, each in operations(changed) if each.get("parameters")]
        parameters = chance.choice(named)["parameters"]
        parameters.remove(chance.choice(parameters))
    elif kind == "member":
        properties = chance.choice(used)["properties"]
        del properties[chance.choice(list(properties))]
    else:
        choices = [node["enum"] for _, node in every(changed) if isinstance(node.get("enum"), list)]
        taken = chance.choice(choices)
        taken.remove(chance.choice(taken))
    assert broken(document, changed) != []


def test_what_is_added_breaks_nothing(document: Document) -> None:
    more = copy.deepcopy(document)
    more["components"]["schemas"]["Conversion"]["properties"]["note"] = {"type": "string"}
    more["paths"]["/v1/more"] = more["paths"]["/v1/convert"]
    parameters = more["paths"]["/v1/convert"]["get"]["parameters"]
    parameters.append({"name": "more", "in": "query", "schema": {"type": "string"}})
    next(each for each in parameters if each.get("name") == "round")["schema"]["enum"].append("away")
    assert broken(document, more) == []
    assert len(broken(more, document)) > 2
