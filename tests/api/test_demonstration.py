"""An empty catalogue offers three next steps; the demo has a catalogue of its own and accepts no writes."""

import asyncio
import csv
import re
from pathlib import Path
from time import perf_counter

import httpx
import pytest
from starlette.types import Receive, Scope, Send

from app.catalogue.catalogue import Catalogue
from app.catalogue.lineage import latest
from app.database.connections import Database
from app.exchange.loading import check
from app.main import create_app
from app.settings import Settings
from tests.api.asking import asking
from tests.api.reading_html import Page

pytestmark = pytest.mark.anyio
PAGE = {"Accept": "text/html"}
MOST_PAGES = 120


def links(body: str) -> list[str]:
    """The addresses of a page's links and forms."""
    found = re.findall(r'(?:href|src|action)="([^"#]+)', body)
    return [address.replace("&amp;", "&") for address in found]


async def page(client: httpx.AsyncClient, path: str) -> str:
    """A page that exists, in well-formed HTML."""
    response = await client.get(path, headers=PAGE)
    assert response.status_code == 200, (path, response.text)
    Page(response.text)
    return response.text


async def test_an_empty_catalogue_greets_with_three_ways_on(database: Database, tmp_path: Path) -> None:
    async with asking(database) as client:
        body = await page(client, "/")
        for name, address in (
            ("Add your first fork", "/sign-in?next=/enter/fork"),
            ("Load a package", "/own-data#package"),
            ("Look at the demonstration", "/demo/"),
        ):
            assert re.search(rf'<a href="{re.escape(address)}"><b>{name}</b>', body), name
        help_page = await page(client, "/own-data")
        assert 'id="package"' in help_page
        assert "/v1/imports" in help_page
        files = re.findall(r'<pre class="file" id="(\w+)">([^<]+)</pre>', help_page)
        for name, text in files:
            (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
        assert sum(len(list(csv.reader(text.splitlines()))) - 1 for _, text in files) == 10
        report = check(tmp_path)
        assert report["accepted"], report
        assert report["rows"]["added"] == 10


async def test_the_demonstration_stays_below_its_address_and_writes_nothing(database: Database) -> None:
    async with asking(database) as client:
        start = await page(client, "/demo/")
        assert "Demonstration" in start or "demonstration data" in start
        waiting, seen = ["/demo/", "/demo/?q=raddle top cap", "/demo/v1/chassis/tarnoch-raddle-37/sheet"], set()
        while waiting and len(seen) < MOST_PAGES:
            path = waiting.pop(0)
            if path in seen:
                continue
            seen.add(path)
            response = await client.get(path, headers=PAGE)
            assert response.status_code in (200, 303, 401, 422), (path, response.text[:500])
            if "html" not in response.headers["content-type"]:
                continue
            for address in links(response.text):
                if address == "/":
                    assert '<a href="/" rel="up">Back to your own catalogue</a>' in response.text
                elif address.startswith("/"):
                    assert address.startswith("/demo/"), (path, address)
                    waiting.append(address)
                else:
                    assert address.startswith("?") or "://" not in address, (path, address)
        for path in ("/demo/v1/imports", "/demo/v1/forks", "/demo/sign-in", "/demo/v1/statements", "/demo/"):
            response = await client.post(path, json={})
            assert response.status_code == 405, path
        for method in ("PUT", "DELETE", "PATCH"):
            assert (await client.request(method, "/demo/v1/statements/torque-raddle-37-top-cap")).status_code == 405
        with database.read() as connection:
            assert latest(connection) == 0
        assert (await client.get("/v1/chassis")).json()["total"] == 0


async def test_the_demonstration_leads_programs_below_its_address_too(database: Database) -> None:
    async with asking(database) as client:
        found = (await client.get("/demo/v1/search?q=raddle top cap")).json()
        assert found["hits"][0]["href"] == "/demo/v1/chassis/tarnoch-raddle-37/sheet"
        assert "invented-data" in {each["code"] for each in found["cautions"]}
        listed = await client.get("/demo/v1/torques?limit=2")
        assert listed.json()["next"].startswith("/demo/v1/torques?")
        assert listed.headers["link"].startswith("</demo/v1/torques?")
        assert (await client.get(listed.json()["next"])).status_code == 200
        missing = await client.get("/demo/v1/chassis/tarnoch-radle-37")
        assert missing.json()["instance"].startswith("/demo/")
        text = (await client.get("/demo/v1/search.txt?q=raddle top cap")).text
        assert " /demo/v1/chassis/tarnoch-raddle-37/sheet" in text
        again = await client.get("/demo/v1/torques?limit=2", headers={"If-None-Match": listed.headers["etag"]})
        assert (again.status_code, again.content) == (304, b"")
        head = await client.head("/demo/", headers=PAGE)
        assert (head.status_code, head.content) == (200, b"")
        code = (await client.get("/demo/v1/chassis/tarnoch-raddle-37/sheet.html")).text
        assert "http://legwork.test/demo/v1/chassis/tarnoch-raddle-37/sheet?revision=1" in code


async def test_who_waits_for_the_demonstration_to_be_made_is_not_sent_away(database: Database) -> None:
    """The first visitors wait for a child process, which is no queue on the loop."""
    app = create_app(Settings(allowed_hosts=["legwork.test"], max_lag=0.2), Catalogue(database))

    async def over_a_connection(scope: Scope, receive: Receive, send: Send) -> None:
        scope.setdefault("state", {})["came"] = perf_counter()
        await app(scope, receive, send)

    transport = httpx.ASGITransport(over_a_connection)
    async with httpx.AsyncClient(transport=transport, base_url="http://legwork.test") as client:
        answers = await asyncio.gather(*(client.get("/demo/", headers=PAGE) for _ in range(3)))
        assert [answer.status_code for answer in answers] == [200, 200, 200], answers[0].text


async def test_a_closed_catalogue_offers_no_demonstration(database: Database) -> None:

    app = create_app(Settings(open_reads=False), Catalogue(database))
    assert app.demonstration is None
