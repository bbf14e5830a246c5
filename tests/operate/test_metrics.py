"""The metrics, read by Prometheus' own parser: correct counts, labels from closed lists, and who may read them."""

import asyncio
import io
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families
from starlette.routing import Route

from app.access import keys
from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.main import create_app
from app.settings import Settings
from app.web.metrics import BOUNDS_S, METHODS
from app.web.server.server import config_of

FITS = "/v1/chassis/quembry-trivet-35/fits"
SECRET = "ZQ7431-KXW-0099"

Labelled = dict[tuple[tuple[str, str], ...], float]


def read(text: str) -> dict[str, Labelled]:
    """Samples by name and labels."""
    found: dict[str, Labelled] = {}
    for family in text_string_to_metric_families(text):
        for sample in family.samples:
            found.setdefault(sample.name, {})[tuple(sorted(sample.labels.items()))] = sample.value
    return found


def asked(catalogue: Catalogue, shop: Any, do: Callable[[httpx.AsyncClient], Awaitable[None]], **given: Any) -> Any:
    """Runs the service as in production and sends requests; returns the application inside."""
    settings = Settings(allowed_hosts=["legwork.test"], **given)
    app = create_app(settings, catalogue, shop, log_to=io.StringIO())
    outermost = config_of(app, settings).app

    async def run() -> None:
        transport = httpx.ASGITransport(outermost)
        async with httpx.AsyncClient(transport=transport, base_url="http://legwork.test") as client:
            await do(client)

    asyncio.run(run())
    return app


def test_each_request_counts_once_under_the_template_of_its_route(loaded: Catalogue) -> None:
    told: list[str] = []

    async def ask(client: httpx.AsyncClient) -> None:
        for _ in range(3):  # the third comes from the cache, before any route
            assert (await client.get(f"{FITS}?travel=150&model_year=2023")).status_code == 200
        await client.get(f"{FITS}.csv?travel=150")
        await client.head(f"{FITS}?travel=150")
        await client.get(f"/v1/chassis/nothing-{SECRET.lower()}/fits?travel=150")
        await client.get(f"{FITS}?stamp={SECRET}")
        for hostile in (f"/{SECRET}", "/v1/%3Cscript%3E", f"{FITS}/{SECRET}", '/"} 1 fake 2'):
            assert (await client.get(hostile)).status_code == 404
        await client.request("BREW", FITS)
        await client.get("/healthz", headers={"Host": "elsewhere.test"})
        told.append((await client.get("/metrics")).text)

    app = asked(loaded, None, ask, metrics="open")
    found = read(told[0])

    counted = _dicts(found, "legwork_requests_total")
    by = {(labels["route"], labels["method"], labels["status"]): n for labels, n in counted}
    fits = "/v1/chassis/{chassis}/fits"
    assert by[fits, "GET", "200"] == 4
    assert by[fits, "HEAD", "200"] == 1
    assert by[fits, "GET", "404"] == 1
    assert by[fits, "GET", "422"] == 1
    assert by["none", "GET", "404"] == 4
    assert by["none", "other", "405"] == 1
    assert by["none", "GET", "400"] == 1
    assert sum(by.values()) == 13
    refusals = {labels["status"]: n for labels, n in _dicts(found, "legwork_refusals_total")}
    assert refusals == {"400": 1, "404": 5, "405": 1, "422": 1}
    assert SECRET.lower() not in told[0].lower()
    templates = {route.path for route in app.router.routes if isinstance(route, Route)} | {"none"}
    assert {route for route, _, _ in by} <= templates
    assert {method for _, method, _ in by} <= METHODS | {"other"}
    assert found["legwork_catalogue_revision"][()] == 1
    assert found["legwork_catalogue_readable"][()] == 1
    assert found["legwork_requests_in_flight"][()] == 1, "the one that asks"
    assert found["process_resident_memory_bytes"][()] > 10e6


def test_durations_are_cumulative_and_of_every_request(loaded: Catalogue) -> None:
    told: list[str] = []

    async def ask(client: httpx.AsyncClient) -> None:
        for year in range(2015, 2025):
            await client.get(f"{FITS}?model_year={year}")
        told.append((await client.get("/metrics")).text)

    asked(loaded, None, ask, metrics="open")
    found = read(told[0])
    bounds = [(float(labels["le"]), n) for labels, n in _dicts(found, "legwork_request_seconds_bucket")]
    assert [bound for bound, _ in bounds] == [*BOUNDS_S, float("inf")]
    assert [n for _, n in bounds] == sorted(n for _, n in bounds)
    assert bounds[-1][1] == 10
    ((_, count),) = _dicts(found, "legwork_request_seconds_count")
    ((_, seconds),) = _dicts(found, "legwork_request_seconds_sum")
    assert count == 10
    assert 0 < seconds < 60


@pytest.mark.parametrize(("who", "status"), [("off", 404), ("key", 401), ("open", 200)])
def test_it_is_told_to_whom_it_is_meant(loaded: Catalogue, who: str, status: int) -> None:
    async def ask(client: httpx.AsyncClient) -> None:
        assert (await client.get("/metrics")).status_code == status

    asked(loaded, None, ask, metrics=who)


def test_a_key_must_have_the_scope_read(loaded: Catalogue, fresh: tuple[Database, Database]) -> None:
    shop = fresh[1]
    tokens = {scope: keys.add(shop, f"of {scope}", [scope]).token for scope in keys.SCOPES}
    found: dict[str, int] = {}

    async def ask(client: httpx.AsyncClient) -> None:
        for scope, token in tokens.items():
            answer = await client.get("/metrics", headers={"Authorization": f"Bearer {token}"})
            found[scope] = answer.status_code
        assert (await client.get("/metrics", headers={"Authorization": "Bearer wrong"})).status_code == 401

    asked(loaded, shop, ask, metrics="key")
    assert found == {"read": 200, "edit": 403, "bench": 403, "review": 403, "admin": 200}


def test_a_catalogue_that_cannot_be_read_is_said_and_does_not_hinder(tmp_path: Path) -> None:
    told: list[httpx.Response] = []

    async def ask(client: httpx.AsyncClient) -> None:
        assert (await client.get(FITS)).status_code == 503
        told.append(await client.get("/metrics"))

    asked(Catalogue(Database(f"sqlite:///{tmp_path}/absent.db")), None, ask, metrics="open")
    found = read(told[0].text)
    assert told[0].status_code == 200
    assert found["legwork_catalogue_readable"][()] == 0
    assert "legwork_catalogue_revision" not in found
    assert found["legwork_refusals_total"][(("status", "503"),)] == 1


def _dicts(found: dict[str, Labelled], name: str) -> list[tuple[dict[str, str], float]]:
    return [(dict(labels), value) for labels, value in found[name].items()]
