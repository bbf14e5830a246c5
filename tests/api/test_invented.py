"""Answers that use invented data say so first, once, on every page, text and drawing; other answers do not."""

from pathlib import Path
from xml.etree import ElementTree

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from tests.api.asking import asking
from tests.api.walking import addresses
from tests.bench.working import benches
from tests.questions.storing import store
from tests.rules.clean import clean_rows

pytestmark = pytest.mark.anyio
LINE = '<aside class="invented" aria-label="Demonstration">'
WITHOUT_FIGURES = (
    "/problems", "/v1/units", "/v1/standards", "/v1/rules", "/v1/revisions", "/v1/convert", "/?q=zzzzzz", "/v1/changes",
    "/v1/identify?mark=q",
)  # fmt: skip
"""Answers that use no document of the catalogue."""


def form(path: str, suffix: str) -> str:
    """An address in another format."""
    return f"{path}{'&' if '?' in path else '?'}format={suffix}"


async def assert_marked(client: httpx.AsyncClient, path: str, **headers: str) -> None:
    """The page has the line above its content, and the text begins with it."""
    body = (await client.get(form(path, "html"), headers=headers)).text
    assert body.count(LINE) == 1, path
    assert body.index(LINE) < body.index("<main"), path
    assert body.count("every figure are invented") == 1, path
    text = (await client.get(form(path, "txt"), headers=headers)).text
    assert text.startswith("/// This is demonstration data"), path
    assert " ".join(text.split()).count("every figure are invented") == 1, path


async def test_every_page_and_text_of_the_demo_says_so_first(loaded: Catalogue) -> None:
    async with asking(loaded.database) as client:
        for path in await addresses(client):
            if path.startswith(WITHOUT_FIGURES):
                continue
            answer = await client.get(path)
            if answer.status_code == 200:
                assert "invented-data" in {each["code"] for each in answer.json()["cautions"]}, path
                await assert_marked(client, path)


async def test_every_drawing_of_the_demo_says_so_above_itself(loaded: Catalogue) -> None:
    async with asking(loaded.database) as client:
        drawn = [path for path in await addresses(client) if "/setup" in path or "/fork-check" in path]
        for path in drawn:
            response = await client.get(form(path, "svg"))
            if response.status_code == 200:
                root = ElementTree.fromstring(response.content)
                at = [each for each in root.iter() if each.get("class") == "invented"]
                assert len(at) == 1, path
                assert "Never use it on a real fork" in (at[0].text or "")
                others = [
                    float(each.get("y", 0)) for each in root.iter() if each.tag.endswith("text") and each not in at
                ]
                assert float(at[0].get("y", 0)) < min(others), path
        assert drawn


async def test_the_log_and_the_label_of_an_invented_fork_say_so_too(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        id = await bench.register()
        await bench.record(id, "lower-leg-service", done_on="2026-01-05")
        for path in (
            f"/v1/forks/{id}", f"/v1/forks/{id}/due", f"/v1/forks/{id}/label", f"/v1/forks/{id}/services",
            f"/v1/forks/{id}/export", "/v1/forks", "/v1/forks/recent-configurations",
        ):  # fmt: skip
            await assert_marked(bench.service.client, path, **bench.key)


async def test_a_catalogue_of_real_documents_says_nothing_of_the_kind(database: Database) -> None:
    store(database, clean_rows().values())
    async with asking(database) as client:
        forks = [row["id"] for row in (await client.get("/v1/chassis")).json()["rows"]]
        asked = [
            "/",
            "/v1/torques",
            "/v1/findings",
            *(f"/v1/chassis/{id}/{of}" for id in forks for of in ("sheet", "setup")),
        ]
        for path in asked:
            body = (await client.get(form(path, "html"))).text
            assert LINE not in body, path
