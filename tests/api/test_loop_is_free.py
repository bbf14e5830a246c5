"""Slow work on SQLite runs in a thread: other requests are answered meanwhile."""

import asyncio
import pkgutil
import time
from collections.abc import Callable
from typing import Any

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.main import create_app
from app.settings import Settings

pytestmark = pytest.mark.anyio
LONG_S = 0.5


def slow(of: Callable[..., Any]) -> Callable[..., Any]:
    """Wraps a function so that it starts half a second later."""

    def slowly(*values: Any) -> Any:
        time.sleep(LONG_S)
        return of(*values)

    return slowly


@pytest.mark.parametrize("loaded", ["sqlite"], indirect=True)
@pytest.mark.parametrize(
    ("what", "asked"),
    [
        ("app.catalogue.search._built", "/v1/search?q=trivet"),
        ("app.catalogue.search._built", "/v1/chassis?q=trivet"),
        ("app.catalogue.search._built", "/v1/chassis/trivet"),
        ("app.catalogue.search.NameIndex._met", "/v1/chassis?q=trivet"),
        ("app.questions.identify.index.build", "/v1/identify?stanchion_diameter=35"),
        ("app.catalogue.lists._statement", "/v1/torques?value=7.0"),
        ("app.catalogue.lists._count", "/v1/torques?limit=2"),
    ],
)
async def test_others_are_answered_while_an_index_is_made_or_a_table_gone_through(
    loaded: Catalogue, monkeypatch: pytest.MonkeyPatch, what: str, asked: str
) -> None:
    monkeypatch.setattr("app.catalogue.search.MANY", -1)
    monkeypatch.setattr(what, slow(pkgutil.resolve_name(what)))
    app = create_app(Settings(allowed_hosts=["t.test"]), Catalogue(loaded.database))
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://t.test") as client:
        usual = await client.get("/v1/chassis/quembry-trivet-35/fits?travel=150")
        begun = time.perf_counter()
        long = [asyncio.create_task(client.get(asked)) for _ in range(3)]
        waited = []
        while not all(each.done() for each in long):
            before = time.perf_counter()
            await asyncio.sleep(0.01)  # time for the event loop to serve the others
            again = await client.get("/v1/chassis/quembry-trivet-35/fits?travel=150&model_year=2023")
            waited.append(time.perf_counter() - before)
            assert again.status_code == 200
        assert time.perf_counter() - begun >= LONG_S, "nothing was long: this test would find nothing"
        assert max(waited) < LONG_S / 2
        assert usual.status_code == 200
        answers = [each.result() for each in long]
        assert {each.status_code for each in answers} <= {200, 404}
        assert len({each.content for each in answers if each.status_code == 200}) <= 1
