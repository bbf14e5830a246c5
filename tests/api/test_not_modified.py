"""A 304 has the headers of its 200, because a browser puts them on the stored page (RFC 9110, 15.4.5; RFC 9111, 3.2 and
4.3.4). For every answer with an entity tag, in every format, from every layer.

As shipped, every address is asked on SQLite; on PostgreSQL and in the other modes a sample of them. LEGWORK_TEST_SHARE
sets its share: 1 asks them all."""

import io
import json
import os
import random
from collections.abc import AsyncIterator, Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import httpx
import pytest

from app.access import keys
from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.main import create_app
from app.settings import Settings
from app.web.contract.problem_types import PROBLEM_TYPES
from app.web.middleware.security import PAGE_POLICY
from app.web.routes.docs import STATIC
from tests.api.recording import ids_of, with_ids
from tests.api.writing import Writing, writing

pytestmark = pytest.mark.anyio
SHARE = float(os.environ.get("LEGWORK_TEST_SHARE", "0.1"))
RECORDED = json.loads(files("app.web.contract").joinpath("examples/answers.json").read_text())
NOT_COMPARED = {"content-length", "content-type", "content-range", "x-request-id", "date"}
ACCEPTS = {
    "json": "application/json", "html": "text/html", "txt": "text/plain", "csv": "text/csv", "svg": "image/svg+xml",
}  # fmt: skip
ALWAYS_THERE = ["/", "/docs", "/openapi.json", "/v1/export", "/v1/export.sqlite", "/v1/content-hash", "/problems"]


def addresses(service: Writing) -> Iterator[tuple[str, list[str]]]:
    """Every recorded lookup and the pages outside the API: the address, and its formats."""
    paths = json.loads(service.app.state.openapi_bytes())["paths"]
    for path, methods in paths.items():
        recorded = RECORDED.get(methods.get("get", {}).get("operationId"))
        if recorded is None:
            continue
        query = {name: value for name, value in recorded["parameters"].items() if f"{{{name}}}" not in path}
        address = str(httpx.URL(path.format(**recorded["parameters"]), params=query))
        yield address, ["json", *recorded["forms"]]
    yield from ((address, []) for address in ALWAYS_THERE)
    yield from ((f"/static/{name}", []) for name in STATIC)
    yield from ((f"/problems/{slug}", ["json", "html", "txt"]) for slug in PROBLEM_TYPES)


def spelt(address: str, forms: list[str]) -> Iterator[tuple[str, dict[str, str]]]:
    """An address with each format chosen in each possible way, plain and compressed."""
    path, mark, query = address.partition("?")
    yield address, {}
    yield address, {"Accept-Encoding": "identity"}
    for form in forms:
        yield address, {"Accept": ACCEPTS[form]}
        if path != "/":
            yield f"{path}.{form}{mark}{query}", {}
        if path.startswith("/v1/"):
            yield f"{address}{'&' if query else '?'}format={form}", {"Accept-Encoding": "identity"}


@pytest.fixture(params=["as shipped", "keeps nothing", "with a read rate"])
async def service(request: pytest.FixtureRequest, demo: Database, tmp_path: Path) -> AsyncIterator[Writing]:
    """The service on the demo, in each mode in which another layer answers; requests carry a key."""
    more: dict[str, Any] = {
        "as shipped": {}, "keeps nothing": {"cache_bytes": 0}, "with a read rate": {"read_rate": "100000/minute"},
    }[request.param]  # fmt: skip
    async with writing(demo, tmp_path, **more) as service:
        yield service


async def test_a_304_has_the_header_lines_of_its_200(service: Writing, request: pytest.FixtureRequest) -> None:
    share = 1.0 if request.node.callspec.id == "as shipped-sqlite" else SHARE
    chance = random.Random(7)
    tried = pages = 0
    key = {"Authorization": f"Bearer {keys.add(service.shop, 'all', ['edit', 'bench', 'read']).token}"}
    transport = httpx.ASGITransport(service.app)
    async with httpx.AsyncClient(transport=transport, base_url="http://legwork.test", timeout=60) as client:
        ids = await ids_of(client, key)
        for address, forms in addresses(service):
            for spelling, headers in spelt(with_ids(address, ids), forms):
                if chance.random() >= share:
                    continue
                for sent in (headers, {**headers, **key}):
                    tried += await _compared(client, spelling, sent)
                pages += headers.get("Accept") == "text/html"
    assert tried > 800 * share, tried
    assert pages > 40 * share, pages


async def _compared(client: httpx.AsyncClient, address: str, headers: dict[str, str]) -> bool:
    """Send the answer's tag, before and after it is cached, with GET and HEAD; returns whether it has a tag."""
    whole = await client.get(address, headers=headers)
    if whole.status_code != 200 or "etag" not in whole.headers:
        assert whole.status_code in (200, 401, 404, 422), (address, whole.text)
        return False
    for method in ("GET", "HEAD"):
        unchanged = await client.request(method, address, headers={**headers, "If-None-Match": whole.headers["etag"]})
        assert (unchanged.status_code, unchanged.content) == (304, b""), address
        assert _said(unchanged) == _said(whole), (method, address, headers)
        assert "content-type" not in unchanged.headers
    if whole.headers["content-type"].startswith("text/html"):
        assert unchanged.headers["content-security-policy"] == PAGE_POLICY
    return True


def _said(answer: httpx.Response) -> dict[str, str]:
    said = {name: value for name, value in answer.headers.items() if name not in NOT_COMPARED}
    if "ratelimit" in said:
        said["ratelimit"] = "counted"
    return said


async def test_a_304_is_decided_before_the_answer_is_kept_and_after(loaded: Catalogue) -> None:
    """The first request after a worker starts is conditional, as from a browser that was here yesterday."""
    for address in ("/", "/v1/units", "/static/card.css", "/docs", "/openapi.json", "/v1/makers.csv"):
        said = []
        for _ in range(2):
            app = create_app(Settings(allowed_hosts=["legwork.test"]), loaded, log_to=io.StringIO())
            transport = httpx.ASGITransport(app)
            async with httpx.AsyncClient(transport=transport, base_url="http://legwork.test") as client:
                accept = {"Accept": "text/html"} if address == "/" else {}
                tag = {"If-None-Match": said[0].headers["etag"]} if said else {}
                said += [await client.get(address, headers={**accept, **tag}) for _ in range(2)]
        assert [answer.status_code for answer in said] == [200, 200, 304, 304], address
        assert _said(said[0]) == _said(said[1]) == _said(said[2]) == _said(said[3])


async def test_the_log_has_the_status_that_was_sent(service: Writing) -> None:
    for address in ("/v1/makers", "/static/card.css", "/docs", "/v1/units.html"):
        etag = (await service.client.get(address)).headers["etag"]
        assert (await service.client.get(address, headers={"If-None-Match": etag})).status_code == 304
        whole, unchanged = [json.loads(line) for line in service.log.getvalue().splitlines()[-2:]]
        assert (whole["status"], unchanged["status"], unchanged["bytes"]) == (200, 304, 0), address


async def test_a_304_that_is_kept_does_not_count_towards_the_rate(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path, read_rate="3/minute") as service:
        first = await service.client.get("/v1/makers")
        assert first.headers["ratelimit"].startswith('"client";r=2;')
        known = {"If-None-Match": first.headers["etag"]}
        for _ in range(10):
            assert (await service.client.get("/v1/makers", headers=known)).status_code == 304
        assert [(await service.client.get("/v1/makers")).status_code for _ in range(3)] == [200, 200, 429]
        assert (await service.client.get("/v1/makers", headers=known)).status_code == 304, "polling goes on"
        assert (await service.client.get("/v1/units", headers=known)).status_code == 429


async def test_vary_names_only_what_varies(loaded: Catalogue) -> None:
    app = create_app(Settings(allowed_hosts=["legwork.test"]), loaded, log_to=io.StringIO())
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://legwork.test") as client:
        for address, vary in {
            "/v1/makers?limit=9": "Accept, Cookie, Accept-Encoding", "/v1/makers.json?limit=9": "Accept-Encoding",
            "/v1/makers?limit=1": "Accept, Cookie", "/v1/makers.html?limit=1": "Cookie, Accept-Encoding",
            "/v1/makers?limit=1&format=html": "Cookie, Accept-Encoding",
            "/v1/revisions.json": None, "/v1/makers.csv?limit=1": None, "/v1/revisions?format=json": None,
            "/v1/makers.json?limitt=1": None, "/v1/makers?limitt=1": "Accept", "/static/card.css": "Accept-Encoding",
        }.items():  # fmt: skip
            for encoding in ("gzip", "identity"):
                answer = await client.get(address, headers={"Accept-Encoding": encoding})
                assert answer.headers.get("vary") == vary, (address, encoding)
