"""Hundreds of parameters, with and without a name, are refused or ignored in every format: never a 500."""

from collections.abc import AsyncIterator
from pathlib import Path
from urllib.parse import quote

import pytest

from app.database.connections import Database
from app.web.representation.address import MOST_PAIRS, Address
from tests.api.raw import ask
from tests.api.writing import Writing, writing
from tests.conftest import Fresh

pytestmark = pytest.mark.anyio
FORK = "/v1/chassis/quembry-trivet-35"
ADDRESSES = [
    "/", "/docs", "/openapi.json", "/healthz", "/problems", "/problems/gone", "/problems/nothing", "/nothing",
    "/sign-in", "/v1/units", "/v1/makers", "/v1/makers/nobody", "/v1/search", "/v1/forks",
    "/v1/forks/recent-configurations", f"{FORK}/fits", f"{FORK}/setup",
    f"{FORK}/job-card", "/v1/chassis/nothing/fits", "/v1/export", "/v1/changes",
    "/static/card.css", "/static/nothing", "/metrics", "/v1/batch", "/v1/statements/nothing/history",
]  # fmt: skip
QUERIES = {
    "ampersands": "&" * 500, "parameters": "&".join(f"p{number}={number}" for number in range(500)),
    "empty parameters": "&".join(f"p{number}=" for number in range(500)), "names": "&".join(["travel"] * 500),
    "one repeated": "&".join(["travel=1"] * 500), "one empty": "&".join(["travel="] * 500), "equals": "=&" * 500,
    "semicolons": ";" * 500, "just too many": "&".join(["reading=1"] * 201), "at the limit": "&" * 399,
    "over the limit": "&" * 400,
}  # fmt: skip
FORMS = ["application/json", "text/html", "text/plain", "text/csv"]


@pytest.fixture
async def service(fresh_database: Fresh, tmp_path: Path) -> AsyncIterator[Writing]:
    """The service on the demo; afterwards its log is checked for faults."""
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        async with writing(database, tmp_path) as service:
            yield service
        database.close()


@pytest.mark.parametrize("name", QUERIES)
async def test_hundreds_of_parameters_are_no_fault(service: Writing, name: str) -> None:
    for address in ADDRESSES:
        for accept in FORMS:
            for end in ("", ".html") if address.startswith("/v1/") else ("",):
                answer = await ask(service.app, f"{address}{end}?{QUERIES[name]}", [("accept", accept)])
                assert answer.status < 500, (address, end, accept, name)
                answer = await ask(service.app, f"{address}{end}?{QUERIES[name]}", [("accept", accept)], method="POST")
                assert answer.status < 500, ("POST", address, end, accept, name)
    assert '"fault"' not in service.log.getvalue()


async def test_a_form_with_hundreds_of_fields_is_no_fault(service: Writing) -> None:
    headers = {"Content-Type": "application/x-www-form-urlencoded", "Sec-Fetch-Site": "same-origin"}
    for query in QUERIES.values():
        for accept in FORMS:
            for path in ("/sign-in", "/sign-out", "/v1/forks/nothing/services"):
                answer = await service.client.post(path, content=query, headers={**headers, "Accept": accept})
                assert answer.status_code < 500, (path, accept, query[:20])
        question = f"{FORK}/fits?{query}"
        batch = await service.client.post("/v1/batch", json={"questions": [question, quote(question)]})
        if batch.status_code == 200:
            assert {answer["status"] for answer in batch.json()["answers"]} <= {200, 404, 422}
        else:
            assert batch.status_code == 422, "the address is longer than a question may be"
    assert '"fault"' not in service.log.getvalue()


def test_the_page_of_a_refusal_is_bounded() -> None:
    scope = {"path": "/", "query_string": ("&".join(["a=1"] * 2_000)).encode(), "headers": []}
    assert len(Address(scope).pairs) == MOST_PAIRS
