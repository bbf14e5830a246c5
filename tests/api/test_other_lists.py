"""Lists that are not tables: warnings, changes, revisions. Pages, count and CSV agree under every filter."""

import csv
import io
import random
from collections.abc import AsyncIterator
from typing import Any

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Maker
from app.database.connections import Database
from tests.api.asking import asking
from tests.api.test_lists import whole_list
from tests.questions.storing import store

pytestmark = pytest.mark.anyio

FILTERS = 60  # on each engine


@pytest.fixture
async def client(loaded: Catalogue) -> AsyncIterator[httpx.AsyncClient]:
    """A client of the demo at revision 1."""
    async with asking(loaded.database) as client:
        yield client


async def agreed(client: httpx.AsyncClient, path: str, rows: str, given: dict[str, str], limit: int) -> list[Any]:
    """The rows of all pages, after checking that each page's count and the CSV agree."""
    pages = await whole_list(client, path, {**given, "limit": str(limit)})
    listed = [row for page in pages for row in page[rows]]
    assert [len(page[rows]) for page in pages[:-1]] == [limit] * (len(pages) - 1)
    assert {page["total"] for page in pages} == {len(listed)}
    following, lines = f"{path}.csv?{httpx.QueryParams({**given, 'limit': str(limit)})}", 0
    while following:
        page = await client.get(following)
        lines += sum(1 for _ in csv.DictReader(io.StringIO(page.text, newline="")))
        following = page.links["next"]["url"] if "next" in page.links else ""
    assert lines == len(listed)
    return listed


async def test_warnings_agree_whatever_is_filtered(client: httpx.AsyncClient) -> None:
    whole = await agreed(client, "/v1/findings", "findings", {}, 50)
    chance = random.Random(8)
    assert len(whole) > 1
    for _ in range(FILTERS // 3):
        row = chance.choice(whole)
        names = chance.sample(["rule", "table", "id", "severity"], chance.randint(1, 3))
        given = {name: row[name] for name in names if name in row}
        expected = [each for each in whole if all(each.get(name) == value for name, value in given.items())]
        assert await agreed(client, "/v1/findings", "findings", given, chance.randint(1, 9)) == expected, given


async def test_the_feed_and_the_revisions_agree_with_what_was_stored(database: Database) -> None:
    chance = random.Random(9)
    stored = []
    for number in range(1, 13):
        ids = chance.sample([f"m{number}" for number in range(40)], chance.randint(1, 9))
        store(database, [Maker(id=id, name=f"{id} at {number}") for id in ids])
        stored += [(number, id) for id in sorted(ids)]
    async with asking(database) as client:
        for _ in range(FILTERS):
            after, limit = chance.randint(0, 12), chance.randint(1, 20)
            changes = await agreed(client, "/v1/changes", "changes", {"after": str(after)}, limit)
            assert [(each["revision"], each["id"]) for each in changes] == [row for row in stored if row[0] > after]
        for limit in range(1, 14):
            revisions = await agreed(client, "/v1/revisions", "revisions", {}, limit)
            assert [each["number"] for each in revisions] == list(range(12, 0, -1))


async def test_every_list_publishes_its_limit_and_says_how_many_there_are(client: httpx.AsyncClient) -> None:
    document = (await client.get("/openapi.json")).json()
    paged = 0
    for path, item in document["paths"].items():
        for operation in item.values():
            named = {each["name"]: each for each in operation.get("parameters", []) if "name" in each}
            if "limit" not in named:
                continue
            schema = named["limit"]["schema"]
            assert schema["default"] <= schema["maximum"] <= 1000, path
            reference = operation["responses"]["200"]["content"]["application/json"]["schema"]["$ref"]
            answer = document["components"]["schemas"][reference.rpartition("/")[2]]
            assert "total" in answer["required"], path
            assert ("next" in answer["properties"]) == ("cursor" in named), path
            paged += 1
    assert paged >= 28
