"""Browsers at the bench: clients with their own cookies and no key, that send the origin of a form."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import httpx

from tests.bench.working import Bench

HOME = "http://legwork.test"
OURS = {"Origin": HOME, "Sec-Fetch-Site": "same-origin", "Accept": "text/html"}
FORM = {"Content-Type": "application/x-www-form-urlencoded"}


def browser(bench: Bench, home: str = HOME) -> httpx.AsyncClient:
    """A client with its own cookie store and no key."""
    return httpx.AsyncClient(transport=httpx.ASGITransport(bench.service.app), base_url=home, timeout=60)


def token_of(bench: Bench) -> str:
    return bench.key["Authorization"].removeprefix("Bearer ")


@asynccontextmanager
async def signed_in(bench: Bench) -> AsyncIterator[httpx.AsyncClient]:
    """A browser signed in with the key of that bench."""
    async with browser(bench) as client:
        answer = await client.post("/sign-in", data={"key": token_of(bench)}, headers=OURS)
        assert answer.status_code == 303, answer.text
        yield client
