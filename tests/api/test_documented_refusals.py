"""Each operation gives exactly the refusals that its description names, and says if it takes a key."""

import json
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from app.database.connections import Database
from app.web.contract.examples import recorded
from app.web.contract.openapi import served
from tests.api.recording import ids_of, with_ids
from tests.api.writing import TORQUE, Writing, writing
from tests.conftest import Fresh
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio

DOCUMENT: dict[str, Any] = json.loads(served())
IN_A_CHILD = {"exportPackage", "exportSqlite", "contentHash"}
Ids = dict[str, str]
NO_ID = "no-such-thing"
LARGE = b'{"a": "' + b"x" * 30_000 + b'"}'


def operations() -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, item in DOCUMENT["paths"].items():
        yield from ((path, method, operation) for method, operation in item.items())


class Asking:
    """Requests with a key that may do everything, unless the headers say otherwise."""

    def __init__(self, service: Writing, ids: Ids, path: str, method: str, operation: dict[str, Any]) -> None:
        self.service, self.path, self.method = service, path, method
        shown = recorded("answers").get(operation["operationId"], {"parameters": {}})
        self.shown = json.loads(with_ids(json.dumps(shown), ids))
        self.key = service.keys["bench" if operation["tags"] == ["bench log"] else "edit"].token
        if operation["operationId"] in ("listFlags", "settleFlag"):
            self.key = service.keys["edit"].token
        if operation["operationId"] == "tickDraft":
            self.key = service.keys["review"].token

    async def __call__(self, *, id: str | None = None, key: bool = True, **more: Any) -> httpx.Response:
        given = self.shown["parameters"]
        named = {name: value for name, value in given.items() if f"{{{name}}}" in self.path}
        if id is not None and "{" in self.path:
            numbers = "{number}" in self.path
            named = dict.fromkeys(named, 2_000_000 if numbers else id)
        rest = {name: value for name, value in given.items() if name not in named and name != "If-Match"}
        headers = {"Authorization": f"Bearer {self.key}" if key else "", **more.pop("headers", {})}
        if not key:
            del headers["Authorization"]
        query = {**rest, **more.pop("query", {})}
        body: dict[str, Any] = {} if "content" in more else {"json": self.shown.get("body")}
        transport = httpx.ASGITransport(self.service.app)
        async with httpx.AsyncClient(transport=transport, base_url="http://legwork.test", timeout=60) as client:
            path = self.path.format(**named)
            return await client.request(self.method, path, params=query, headers=headers, **body, **more)


@asynccontextmanager
async def demo_service(fresh: Fresh, folder: Path) -> AsyncIterator[tuple[Writing, Ids]]:
    with fresh("sqlite", True) as url:
        database = Database(url)
        async with writing(database, folder, max_body_bytes=20_000) as service:
            bench = {"Authorization": f"Bearer {service.keys['bench'].token}"}
            edit = {"Authorization": f"Bearer {service.keys['edit'].token}"}
            yield service, await ids_of(service.client, bench, edit)
        database.close()


async def test_what_is_refused_is_refused_as_described(fresh_database: Fresh, tmp_path: Path) -> None:
    async with demo_service(fresh_database, tmp_path) as (service, ids):
        for path, method, operation in operations():
            ask = Asking(service, ids, path, method, operation)
            named = operation["responses"].keys()
            assert_problem(await ask(query={"nonsense": "1"}), 422, code="unknown-parameter")
            assert (await ask(headers={"Host": "evil.test"})).status_code == 400, path
            assert {"400", "422"} <= named
            if "{" in path:
                missing = await ask(id=NO_ID, headers={"If-Match": '"r1.x"'} if "412" in named else {})
                assert missing.status_code in (404, 422 if method == "put" else 404), f"{method} {path}"
                assert str(missing.status_code) in named
            if "requestBody" in operation:
                kept = {"If-Match": '"r1.x"'} if "428" in named else {}
                large = await ask(content=LARGE, headers={"Content-Type": "application/json", **kept})
                other = await ask(content=b"a,b", headers={"Content-Type": "image/png", **kept})
                assert (large.status_code, other.status_code) == (413, 415), f"{method} {path}"
            assert ({"413", "415"} <= named) == ("requestBody" in operation)
            if "428" in named:
                assert (await ask()).status_code == 428, f"{method} {path}"


async def test_a_form_that_is_not_there_is_a_406_where_that_is_said(fresh_database: Fresh, tmp_path: Path) -> None:
    async with demo_service(fresh_database, tmp_path) as (service, ids):
        for path, method, operation in operations():
            if method != "get" or operation["operationId"] in IN_A_CHILD:
                continue
            answer = await Asking(service, ids, path, method, operation)(headers={"Accept": "image/x-none"})
            assert (answer.status_code == 406) == ("406" in operation["responses"]), path


async def test_what_takes_a_key_says_so(fresh_database: Fresh, tmp_path: Path) -> None:
    async with demo_service(fresh_database, tmp_path) as (service, ids):
        for path, method, operation in operations():
            if operation["operationId"] in IN_A_CHILD:
                continue
            answer = await Asking(service, ids, path, method, operation)(key=False)
            assert (answer.status_code == 401) == (operation["security"] == [{"key": []}]), f"{method} {path}"


async def test_what_is_withdrawn_is_a_410_where_that_is_said(fresh_database: Fresh, tmp_path: Path) -> None:
    async with demo_service(fresh_database, tmp_path) as (service, _):
        _, tag = await service.row()
        await service.client.delete(f"/v1/statements/{TORQUE}?reason=the page is void", headers={"If-Match": tag})
        for path, method, operation in operations():
            if path.startswith(("/v1/torques/{", "/v1/statements/{")) and method == "get":
                answer = await service.client.get(path.format(id=TORQUE))
                assert (answer.status_code == 410) == ("410" in operation["responses"]), path
