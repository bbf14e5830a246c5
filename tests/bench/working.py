"""A service with two shops: two keys of the first, one of the second; and a fork of the demo."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx

from app.access import keys
from app.database.connections import Database
from tests.api.writing import Writing, writing

SERIAL = "ZQ7431-KXW-0099"
NOTE = "PQZJ-remark-on-this-fork"
CHASSIS = "lommeris-haar-42"
FORK = {
    "serial": SERIAL, "chassis": CHASSIS, "model_year": 2023, "travel": "180", "wheel_size": "29",
    "spring": "lommeris-haar-42-spring-180", "damper": "lommeris-lull", "spacers": 2,
}  # fmt: skip


class Bench:
    """The requests of a mechanic of a shop."""

    def __init__(self, service: Writing, token: str) -> None:
        self.service = service
        self.key = {"Authorization": f"Bearer {token}"}

    async def __call__(self, method: str, path: str, body: Any = None, **headers: str) -> httpx.Response:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return await self.service.client.request(method, path, json=body, headers={**self.key, **named})

    async def register(self, **more: Any) -> str:
        """Registers a fork; returns its id."""
        answer = await self("POST", "/v1/forks", {**FORK, **more})
        assert answer.status_code == 201, answer.text
        return str(answer.json()["fork"]["id"])

    async def get(self, path: str) -> dict[str, Any]:
        """Gets an answer; fails on a refusal."""
        answer = await self("GET", path)
        assert answer.status_code == 200, answer.text
        return dict(answer.json())

    async def record(self, id: str, job: str, **more: Any) -> dict[str, Any]:
        """Records a finished job."""
        answer = await self("POST", f"/v1/forks/{id}/services", {"job": job, **more})
        assert answer.status_code == 201, answer.text
        return dict(answer.json())


@asynccontextmanager
async def benches(database: Database, folder: Path) -> AsyncIterator[tuple[Bench, Bench, Bench]]:
    """Two keys of one shop, and one of another."""
    async with writing(database, folder) as service:
        made = [keys.add(service.shop, f"bench of {of}", ["bench"], of=of) for of in ("left", "left", "right")]
        one, two, other = (Bench(service, str(key.token)) for key in made)
        yield one, two, other
