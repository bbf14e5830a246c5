"""A service with a few test routes, to test the HTTP layer on its own, without any real question."""

import asyncio
import json
import time
from collections.abc import Callable
from functools import cache
from types import SimpleNamespace
from typing import Annotated, Any, NotRequired

from fastapi import FastAPI, Query, Request
from pydantic import Field, TypeAdapter
from starlette.responses import Response, StreamingResponse
from typing_extensions import TypedDict

from app.catalogue.snapshot import Snapshot
from app.errors import (
    Conflict,
    Forbidden,
    Gone,
    Invalid,
    Malformed,
    NoRoom,
    NotFound,
    PreconditionMissing,
    Refusal,
    SentFromElsewhere,
    Stale,
    TooLarge,
    Unauthorised,
    Unavailable,
)
from app.main import create_app
from app.questions.answers.parameters import LookupParameters
from app.settings import Settings
from app.web.contract.openapi import describe, json_body
from app.web.reading.json_body import JsonNumber, read_model
from app.web.reading.strict import strict_router
from app.web.representation import respond


class Catalogue:
    """A stub for the catalogue, for tests that need only its readiness."""

    database = SimpleNamespace(has_replica=False, is_large=lambda: False)

    def __init__(self, wrong: str | None = None) -> None:
        self.wrong = wrong

    async def run_in_thread(self, asked: Callable[[], str | None]) -> str | None:
        return asked()

    def ready(self) -> str | None:
        return self.wrong

    def known(self) -> None:
        """No revision, so nothing is cached."""

    async def latest(self) -> None:
        return None

    def look_again(self) -> None:
        """Nothing to refresh."""


class ThingAsked(LookupParameters):
    """Parameters of the test question."""

    travel: str | None = Field(default=None, description="Travel.")
    model_year: int | None = Field(default=None, description="Model year.")
    sag: float | None = Field(default=None, description="Sag.")
    reading: list[str] = Field(default=[], description="May be given several times.")
    size: int = Field(default=1, ge=0, le=5_000_000, description="How long the text is.")


class Part(TypedDict):
    """A row."""

    id: str
    name: str
    length: NotRequired[float]
    marks: NotRequired[list[str]]


class Things(TypedDict):
    """An answer with a list."""

    revision: int
    text: str
    parts: list[Part]


class Sent(TypedDict):
    """A body."""

    value: JsonNumber
    name: str
    count: NotRequired[int]


THINGS = TypeAdapter(Things)
SENT = TypeAdapter(Sent)
REFUSALS: dict[str, Refusal] = {
    "malformed": Malformed("no"),
    "unauthorised": Unauthorised("no"),
    "forbidden": Forbidden("no"),
    "sent-from-elsewhere": SentFromElsewhere("no"),
    "not-found": NotFound("no", candidates=[{"id": "near", "score": 0.9}]),
    "conflict": Conflict("no"),
    "gone": Gone("no", history=[]),
    "stale": Stale("no"),
    "too-large": TooLarge("no"),
    "invalid": Invalid.one("some-code", "no", parameter="travel"),
    "precondition": PreconditionMissing("no"),
    "unavailable": Unavailable("no", retry_after=7),
    "no-room": NoRoom("no"),
}
LONG = {
    "sqlite": "WITH RECURSIVE n AS (SELECT 1 AS i UNION ALL SELECT i + 1 FROM n LIMIT 400000000) SELECT sum(i) FROM n",
    "postgresql": "SELECT pg_sleep(60)",
}
PARTS: list[Part] = [
    {"id": "a", "name": "=1+1", "length": -5.5, "marks": ["x", "y"]},
    {"id": "b", "name": 'say "hi", then\nstop'},
]

router = strict_router(prefix="/v1")


@router.get("/things/{id}", operation_id="get_thing", response_class=Response, responses={200: {"model": Things}})
async def get_thing(id: str, asked: Annotated[ThingAsked, Query()], request: Request) -> Response:
    """Returns a list, or a text as long as the request says."""
    return await respond(
        request,
        {"revision": 1, "text": (asked.travel or "x") * asked.size, "parts": PARTS if id != "none" else []},
        THINGS,
        question="things",
        rows="parts",
    )


@router.post("/things", operation_id="post_thing", response_class=Response, openapi_extra=json_body(SENT, "A thing."))
async def post_thing(request: Request) -> Response:
    """Returns the parsed request."""
    sent = await read_model(request, SENT)
    return Response(f"{sent['value']} {sent['name']}")


@router.put("/things/{id}", operation_id="put_thing", response_class=Response)
async def put_thing(id: str) -> Response:
    """A second method at the same address."""
    return Response(status_code=204)


@router.get("/refusals/{name}", operation_id="refuse", response_class=Response)
async def refuse(name: str) -> Response:
    """Raises the named refusal."""
    raise REFUSALS[name]


@router.get("/fault", operation_id="fault", response_class=Response)
async def fault() -> Response:
    """Fails with a text that must not reach the client."""
    raise RuntimeError("SELECT secret FROM keys; /srv/app.py")


@router.get("/slow", operation_id="slow", response_class=Response)
async def slow() -> Response:
    """Never answers."""
    await asyncio.sleep(60)
    return Response()


@router.get("/plain", operation_id="plain", response_class=Response)
async def plain() -> Response:
    """Has one format only."""
    return Response("plain")


@router.get("/pause", operation_id="pause", response_class=Response)
@router.post("/pause", operation_id="post_pause", response_class=Response)
async def pause() -> Response:
    """Answers after a second."""
    await asyncio.sleep(1)
    return Response("done")


@router.get("/long", operation_id="long", response_class=Response)
async def long(request: Request) -> Response:
    """Runs a database query that takes a minute."""

    def asked(snapshot: Snapshot) -> str:
        return str(snapshot.connection.exec_driver_sql(LONG[snapshot.connection.dialect.name]).scalar())

    return Response(await request.app.state.catalogue.ask(asked))


@router.get("/long-beside", operation_id="long_beside", response_class=Response)
async def long_beside(request: Request) -> Response:
    """Runs the one-minute query, but requires a thread: it leaves the event loop on SQLite too."""

    def asked(snapshot: Snapshot) -> str:
        snapshot.require_thread()
        return str(snapshot.connection.exec_driver_sql(LONG[snapshot.connection.dialect.name]).scalar())

    return Response(await request.app.state.catalogue.ask(asked))


@router.get("/work", operation_id="work", response_class=Response)
async def work() -> Response:
    """Blocks the event loop for 40 ms, like a lookup that computes."""
    time.sleep(0.04)
    return Response("done")


@router.get("/halt", operation_id="halt", response_class=Response)
async def halt() -> Response:
    """Blocks the event loop for a second, like a pause of the whole process."""
    time.sleep(1)
    return Response("done")


@router.get("/large", operation_id="large", response_class=Response)
async def large() -> Response:
    """200 MB, generated while they are read."""

    async def chunks() -> Any:
        for _ in range(3_200):
            yield b"0" * 65_536

    return StreamingResponse(chunks(), media_type="application/zip")


def shell(settings: Settings, **more: Any) -> FastAPI:
    """The service with these routes added."""
    app = create_app(settings, more.pop("catalogue", Catalogue()), **more)
    app.router.routes.extend(router.routes)  # create_app does this too
    app.state.openapi_bytes = cache(lambda: json.dumps(describe(app)).encode())  # with the added routes
    return app


__all__ = ["PARTS", "REFUSALS", "Catalogue", "shell"]
