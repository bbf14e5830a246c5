"""No figure of a statement is shown without the scope that limits it: lists, entries, search results of the demo."""

import re
from collections.abc import AsyncIterator
from typing import Any

import httpx
import pytest

from app.catalogue.tables import SCOPE, TABLES, Statement
from app.database.connections import Database
from app.web.representation.words import label
from tests.api.asking import asking
from tests.api.reading_html import Page
from tests.conftest import Fresh

pytestmark = pytest.mark.anyio

PAGE = {"Accept": "text/html"}
STATEMENTS = [name for name, table in TABLES.items() if issubclass(table, Statement)]
LIMITING = {  # columns besides the scope and the note without which the figure of a row says too much
    "guides": ("rider_mass_from", "rider_mass_to", "mass_unit", "mass_is", "chamber", "riding", "spacers"),
    "torques": ("stage", "thread_prep", "instruction"),
    "limits": ("method",), "fills": ("chamber",), "greases": ("place",), "intervals": ("riding",),
    "fits": ("travel_mm",), "readings": ("spacers", "state", "at_travel_mm"),
}  # fmt: skip


@pytest.fixture
async def client(fresh_database: Fresh) -> AsyncIterator[httpx.AsyncClient]:
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        async with asking(database) as client:
            yield client
        database.close()


def limits_of(table: str, row: dict[str, Any]) -> list[str]:
    """The columns of a row that limit its figures."""
    return [name for name in (*SCOPE, *LIMITING.get(table, ()), "exception_to", "note") if name in row]


def missing(table: str, row: dict[str, Any], shown: str) -> list[str]:
    """The limiting columns of a row that are not in the words shown: by name, and by value unless it is an id or a
    wheel size, which are shown by their names."""
    named = {"variant", "spring", "damper", "wheel_size", "exception_to", "place", "chamber"}
    return [
        name
        for name in limits_of(table, row)
        if label(name) not in shown or (name not in named and str(row[name]) not in shown)
    ]


async def rows_of(client: httpx.AsyncClient, table: str) -> AsyncIterator[tuple[dict[str, Any], str]]:
    """Every row of a table with the words of its line on the page of the list."""
    address: str | None = f"/v1/{table}"
    while address is not None:
        answer = (await client.get(address)).json()
        html = (await client.get(address, headers=PAGE)).text
        lines = {
            found[1]: " ".join(Page(found[0]).text.split())
            for found in re.finditer(rf'<li><a href="/v1/{table}/([^"?]+).*?</li>', html, re.DOTALL)
        }
        for row in answer["rows"]:
            yield row, lines[row["id"]]
        address = answer.get("next")


@pytest.mark.parametrize("table", STATEMENTS)
async def test_a_list_shows_each_statement_with_what_limits_it(client: httpx.AsyncClient, table: str) -> None:
    seen = 0
    async for row, line in rows_of(client, table):
        seen += bool(limits_of(table, row))
        assert missing(table, row, line) == [], (row, line)
    assert seen or table in ("readings",)


@pytest.mark.parametrize("table", STATEMENTS)
async def test_an_entry_shows_its_statement_with_what_limits_it(client: httpx.AsyncClient, table: str) -> None:
    for row in (await client.get(f"/v1/{table}?limit=200")).json()["rows"][::4]:
        page = Page((await client.get(f"/v1/{table}/{row['id']}", headers=PAGE)).text).text
        assert missing(table, row, page) == [], row["id"]


async def test_a_search_result_shows_its_figure_with_its_scope(client: httpx.AsyncClient) -> None:
    """Every figure that is found by fork and kind has the whole scope of its row, in JSON, on the page and in text."""
    scoped = 0
    for fork in (await client.get("/v1/chassis")).json()["rows"]:
        for kind in ("torque", "oil", "limit", "maximum pressure", "axle to crown", "start pressure", "interval"):
            query = httpx.QueryParams({"q": f"{fork['name']} {kind}"})
            hits = (await client.get(f"/v1/search?{query}")).json().get("hits", [])
            page = Page((await client.get(f"/?{query}", headers=PAGE)).text).text
            text = " ".join((await client.get(f"/?{query}", headers={"Accept": "text/plain"})).text.split())
            for hit in hits:
                if hit["table"] not in STATEMENTS or "figure" not in hit:
                    continue
                row = (await client.get(f"/v1/{hit['table']}/{hit['id']}")).json()["row"]
                given = [name for name in SCOPE if name in row]
                scoped += bool(given)
                assert given == [] or "scope" in hit, hit
                assert set(hit["scope"]) >= {_member(name) for name in given} - _named_otherwise(hit), (hit, row)
                for shown in (page, text):
                    assert not given or "applies to" in shown, hit
                    assert hit.get("note", "") in shown
                if hit["table"] == "guides":
                    said = f"{hit['name']} {hit['detail']}"
                    assert all(str(row[end]) in said for end in ("rider_mass_from", "rider_mass_to") if end in row), hit
    assert scoped > 50


def _member(column: str) -> str:
    """The member of a scope that shows a column: both ends of the travel are one."""
    return "travel" if column in ("travel_from_mm", "travel_to_mm") else column


def _named_otherwise(hit: dict[str, Any]) -> set[str]:
    """The spring of a fit is what the result is about, so its detail names it."""
    return {"spring"} if hit["table"] == "fits" and hit["detail"] else set()
