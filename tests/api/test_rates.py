"""Whose requests are counted together: those of one key wherever they come from, all others by address."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import event

from app.access import keys
from app.database.connections import Database
from tests.api.writing import TORQUE, Writing, put, writing
from tests.bench.browsing import OURS, signed_in
from tests.bench.working import FORK, Bench
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio
STATEMENT = f"/v1/statements/{TORQUE}"


@asynccontextmanager
async def at(service: Writing, address: str, token: str | None = None) -> AsyncIterator[httpx.AsyncClient]:
    """A client with its own address, and optionally a key."""
    headers = {} if token is None else {"Authorization": f"Bearer {token}"}
    transport = httpx.ASGITransport(service.app, client=(address, 5))
    async with httpx.AsyncClient(transport=transport, base_url="http://legwork.test", headers=headers) as client:
        yield client


async def statuses(client: httpx.AsyncClient, times: int, **more: Any) -> list[int]:
    """The statuses of writes that are refused for their content, or earlier."""
    return [(await client.post("/v1/imports", json={}, **more)).status_code for _ in range(times)]


async def test_a_key_is_one_client_and_others_behind_its_address_are_not(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path, write_rate="3/minute") as service:
        one, two = str(service.keys["edit"].token), str(service.keys["admin"].token)
        async with at(service, "10.0.0.1", one) as here, at(service, "10.0.0.2", one) as there:
            assert await statuses(here, 2) == [422, 422]
            assert await statuses(there, 2) == [422, 429], "the same key from elsewhere"
            refused = await here.post("/v1/imports", json={})
            assert_problem(refused, 429)
            assert 1 <= int(refused.headers["retry-after"]) <= 61
            assert refused.headers["ratelimit-policy"] == '"client";q=3;w=60'
            assert refused.headers["ratelimit"].startswith('"client";r=0;t=')
        async with at(service, "10.0.0.1", two) as another, at(service, "10.0.0.1") as keyless:
            assert await statuses(another, 4) == [422, 422, 422, 429]
            assert await statuses(keyless, 4) == [401, 401, 401, 429]


async def test_edits_imports_and_jobs_are_one_count_and_each_counts_once(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path, write_rate="5/minute") as service:
        token = str(keys.add(service.shop, "both", ["edit", "bench"]).token)
        asked: list[object] = []
        event.listen(
            service.shop.reader, "before_cursor_execute",
            lambda *given: asked.append(given) if "JOIN keys" in given[2] else None,
        )  # fmt: skip
        row, tag = await service.row()
        async with at(service, "10.0.0.1", token) as client:
            answers = [
                await client.post("/v1/imports", json={"changes": [put(row)], "reason": "again"}),
                await client.put(STATEMENT, json=put({**row, "value": "136"}), headers={"If-Match": tag}),
                await client.post("/v1/forks", json=FORK),
                await client.post("/v1/checks", json={"changes": [put(row)]}),
                await client.delete(f"{STATEMENT}?reason=void"),
                await client.post("/v1/imports", json={}),
            ]
        assert [answer.status_code for answer in answers] == [200, 200, 201, 200, 428, 429]
        left = [answer.headers["ratelimit"].partition(";t=")[0] for answer in answers]
        assert left == [f'"client";r={number}' for number in (4, 3, 2, 1, 0, 0)]
        assert len(asked) == len(answers), "a key is looked up once for each request"


async def test_guessed_keys_are_counted_by_address(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path, write_rate="5/minute") as service:
        known = service.keys["edit"]
        revoked = keys.add(service.shop, "old", ["edit"])
        keys.revoke(service.shop, revoked.id)
        guesses = [f"legwork-{known.id}-{'x' * 43}", f"legwork-{'0' * 12}-{'x' * 43}", "x", str(revoked.token)]
        async with at(service, "10.0.0.1") as guesser, at(service, "10.0.0.1", str(known.token)) as owner:
            for guess in [*guesses, "legwork"]:
                assert await statuses(guesser, 1, headers={"Authorization": f"Bearer {guess}"}) == [401]
            for guess in guesses:
                assert await statuses(guesser, 1, headers={"Authorization": f"Bearer {guess}"}) == [429]
            assert await statuses(owner, 5) == [422] * 5, "guesses at a key do not use up its rate"
        async with at(service, "10.0.0.2") as elsewhere:
            assert await statuses(elsewhere, 1) == [401]


async def test_lookups_count_likewise_where_they_have_a_rate(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path, read_rate="2/minute") as service:
        for token in (*(str(service.keys[scope].token) for scope in ("read", "bench")), None):
            async with at(service, "10.0.0.1", token) as client:
                assert [(await client.get("/v1/makers")).status_code for _ in range(3)] == [200, 200, 429]


async def test_a_signed_in_browser_counts_for_its_key(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path, read_rate="2/minute") as service:
        one, two = (Bench(service, str(service.keys[scope].token)) for scope in ("bench", "admin"))
        for bench in (one, two):
            async with signed_in(bench) as browser:
                assert [(await browser.get("/v1/forks", headers=OURS)).status_code for _ in range(2)] == [200, 200]
                assert (await bench("GET", "/v1/forks")).status_code == 429
