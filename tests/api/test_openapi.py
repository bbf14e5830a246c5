"""The API description is valid, complete and self-contained; its page loads nothing from other hosts."""

import hashlib
import re
from importlib.resources import files
from typing import Any

import httpx
import pytest

pytestmark = pytest.mark.anyio

STATIC = files("app.web").joinpath("static")


@pytest.fixture
async def document(client: httpx.AsyncClient) -> dict[str, Any]:
    return (await client.get("/openapi.json")).json()


def operations(document: dict[str, Any]) -> list[dict[str, Any]]:
    return [operation for path in document["paths"].values() for operation in path.values()]


async def test_every_operation_is_named_once_and_says_how_it_refuses(document: dict[str, Any]) -> None:
    names = [operation["operationId"] for operation in operations(document)]
    assert len(names) == len(set(names))
    assert [name for name in names if "__" in name or "_v1_" in name] == []  # the framework made up none
    for operation in operations(document):
        assert operation["responses"]["4XX"] == {"$ref": "#/components/responses/Problem4XX"}
        assert operation["responses"]["422"] == {"$ref": "#/components/responses/Problem422"}


async def test_a_typed_answer_a_body_and_optional_parameters_are_described(document: dict[str, Any]) -> None:
    thing = document["paths"]["/v1/things/{id}"]["get"]
    reference = thing["responses"]["200"]["content"]["application/json"]["schema"]
    assert reference == {"$ref": "#/components/schemas/Things"}
    parameters = {parameter["name"]: parameter for parameter in thing["parameters"] if "name" in parameter}
    assert parameters["model_year"]["schema"]["type"] == "integer"
    assert parameters["id"]["schema"]["pattern"].startswith("^[a-z0-9]")
    assert all(parameter.get("description") for name, parameter in parameters.items() if name != "id")
    body = document["paths"]["/v1/things"]["post"]["requestBody"]["content"]["application/json"]["schema"]
    assert body == {"$ref": "#/components/schemas/Sent"}
    assert document["components"]["schemas"]["Sent"]["required"] == ["value", "name"]


async def test_the_page_and_all_it_loads_are_ours(client: httpx.AsyncClient) -> None:
    page = await client.get("/docs")
    loaded = re.findall(r'(?:src|href)="([^"]+)"', re.sub(r"<a\b[^>]*>", "", page.text))  # a link loads nothing
    assert len(loaded) >= 4
    for address in loaded:
        assert address.startswith(("/", "data:,"))
        if address.startswith("/"):
            assert (await client.get(address)).status_code == 200
    assert "unsafe" not in page.headers["content-security-policy"]


def test_the_vendored_files_are_those_that_were_published() -> None:
    recorded = STATIC.joinpath("swagger-ui.sha256").read_text().split("\n")[:-1]
    assert len(recorded) == 2
    for line in recorded:
        digest, name = line.split()
        assert hashlib.sha256(STATIC.joinpath(name).read_bytes()).hexdigest() == digest
