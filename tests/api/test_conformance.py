"""Every lookup, sent at random within its description, answers as described: no fault and no undescribed member.

schemathesis generates parameters from the committed document and checks the answers against it, here with every schema
closed. Some requests keep parameters recorded from the demo, so that not all are refused."""

import copy
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import checks as judged

from app.access import keys
from app.catalogue.catalogue import Catalogue
from app.catalogue.rows import Snapshot
from app.catalogue.tables import TABLES
from app.database.connections import Database
from app.main import create_app
from app.web.contract.examples import recorded
from app.web.contract.openapi import served
from tests.api.test_document import every
from tests.api.writing import settings_of, shop_beside
from tests.conftest import Fresh

CASES = 12
"""Requests per operation."""

DOCUMENT: dict[str, Any] = json.loads(served())
judged.load_all_checks()
CHECKS = [
    judged.CHECKS.get_one(name)
    for name in (
        "not_a_server_error", "status_code_conformance", "content_type_conformance", "response_schema_conformance",
        "response_headers_conformance",
    )
]  # fmt: skip
ALWAYS = {"units", "format"}  # no value of these is refused, except for a format that the answer does not have
IN_A_CHILD = {"/v1/export", "/v1/export.sqlite", "/v1/content-hash"}  # takes seconds each; tests/api/test_exports.py
OF_A_BENCH = ("/v1/forks/{id}", "/v1/work-orders/{id}", "/v1/drafts/{id}")
NONE_THERE = {path for path in DOCUMENT["paths"] if path.startswith(OF_A_BENCH)}  # none was made
PATHS = [path for path, item in DOCUMENT["paths"].items() if "get" in item and path not in IN_A_CHILD]


class Served:
    """The demo, its description, and ids that exist."""

    def __init__(self, database: Database, shop: Database) -> None:
        settings = settings_of(database, shop, allowed_hosts=["*"])
        self.app = create_app(settings, Catalogue(database), shop, log_to=io.StringIO())
        key = keys.add(shop, "conformance", list(keys.SCOPES))
        self.headers = {"Authorization": f"Bearer {key.token}"}
        exact = copy.deepcopy(DOCUMENT)
        for _, node in every(exact["components"]["schemas"]):
            if "properties" in node and isinstance(node.get("type"), str):
                node.setdefault("additionalProperties", False)
        self.described = schemathesis.openapi.from_dict(exact)
        self.described.app = self.app

        def ids(snapshot: Snapshot) -> dict[str, list[str]]:
            return {name: sorted(row.id for row in snapshot.all(table))[:40] for name, table in TABLES.items()}

        self.ids: dict[str, list[str]] = Catalogue(database).answer(ids)

    def known(self, path: str) -> list[str]:
        """Existing ids for the path."""
        return self.ids.get(path.split("/")[2], []) if path.startswith("/v1/") else []


@pytest.fixture(scope="module")
def service(fresh_database: Fresh, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        folder: Path = tmp_path_factory.mktemp("shop")
        with shop_beside(url, folder) as shop:
            yield Served(database, shop)
        database.close()


@pytest.mark.parametrize("path", PATHS)
def test_every_answer_is_as_described(path: str, service: Served) -> None:
    operation = service.described[path]["GET"]
    shown = recorded("answers").get(operation.definition.raw["operationId"], {"parameters": {}})["parameters"]
    names = {each["name"]: each["in"] for each in operation.definition.raw.get("parameters", []) if "name" in each}
    seen: list[int] = []

    @settings(
        max_examples=CASES, derandomize=True, deadline=None, phases=[Phase.generate], database=None,
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(case=operation.as_strategy(), data=st.data(), kept=st.sampled_from(["all", "some", "nothing"]))
    def ask(case: Any, data: st.DataObject, kept: str) -> None:
        case.query.pop("min_revision", None)  # a revision in the future is a 503, and not a fault
        for name, value in shown.items():
            if names.get(name) == "path":
                known = [value] if kept == "all" else [*service.known(path), value]
                case.path_parameters[name] = data.draw(st.sampled_from(known))
            elif names.get(name) == "query" and kept != "nothing":
                case.query[name] = value
        if kept == "all":
            case.query = {name: value for name, value in case.query.items() if name in {*shown, *ALWAYS}}
        response = case.call(headers=service.headers)
        case.validate_response(response, checks=CHECKS)
        seen.append(response.status_code)

    ask()
    assert 200 in seen or path in NONE_THERE, f"refused each time: {seen}"
