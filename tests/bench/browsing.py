"""Browsers at the bench: clients with cookies of their own and no key, that say where a form comes from."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import httpx

from tests.bench.working import Bench

HOME = "http://legwork.test"
OURS = {"Origin": HOME, "Sec-Fetch-Site": "same-origin", "Accept": "text/html"}
FORM = {"Content-Type": "application/x-www-form-urlencoded"}


def browser(bench: Bench, home: str = HOME) -> httpx.AsyncClient:
    """A client with a store of cookies of its own, and no key."""
    return httpx.AsyncClient(transport=httpx.ASGITransport(bench.service.app), base_url=home, timeout=60)


def token_of(bench: Bench) -> str:
    return bench.key["Authorization"].removeprefix("Bearer ")


@asynccontextmanager
async def signed_in(bench: Bench) -> AsyncIterator[httpx.AsyncClient]:
    """A browser that is signed in with the key of that bench."""
    async with browser(bench) as client:
        answer = await client.post("/sign-in", data={"key": token_of(bench)}, headers=OURS)
        assert answer.status_code == 303, answer.text
        yield client
