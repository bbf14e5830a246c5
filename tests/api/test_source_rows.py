"""The rows of a source on the wire: JSON, page and text, and its page links to them."""

from collections.abc import AsyncIterator

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from tests.api.asking import asking
from tests.api.reading_html import Page
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio
MANUAL = "/v1/sources/tarnoch-fork-manual-b"


@pytest.fixture
async def client(loaded: Catalogue) -> AsyncIterator[httpx.AsyncClient]:
    async with asking(loaded.database) as client:
        yield client


async def test_the_rows_of_a_manual_come_page_by_page(client: httpx.AsyncClient) -> None:
    listed: list[str] = []
    address = f"{MANUAL}/rows?limit=50"
    while address:
        found = (await client.get(address)).json()
        listed += [f"{each['table']}/{each['id']}" for each in found["rows"]]
        address = found.get("next", "")
    assert len(listed) == len(set(listed)) == found["total"] > 50
    first = (await client.get(f"{MANUAL}/rows?limit=1")).json()["rows"][0]
    page = (await client.get(f"{MANUAL}/rows?limit=3", headers={"Accept": "text/html"})).text
    assert first["href"] in Page(page).links or first["id"] in page
    assert "What cites this source" in page
    text = (await client.get(f"{MANUAL}/rows.txt?limit=3")).text
    assert first["id"] in text
    assert f"{MANUAL}/rows" in Page((await client.get(MANUAL, headers={"Accept": "text/html"})).text).links
    assert_problem(await client.get("/v1/sources/nothing/rows"), 404)
