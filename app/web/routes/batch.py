"""Many questions in one request, each with its own status, all of one revision."""

import asyncio
import json
import urllib.parse
from dataclasses import dataclass
from http import HTTPStatus
from time import perf_counter
from typing import Annotated, Any, NotRequired

from fastapi import Query, Request
from pydantic import Field, TypeAdapter
from starlette.responses import Response
from starlette.routing import BaseRoute, Match
from starlette.types import Message, Scope
from typing_extensions import TypedDict

from app.errors import Invalid, NotFound, Refusal
from app.questions.answers.parameters import Pinned
from app.web.contract.openapi import json_body
from app.web.middleware.kept import KeptAnswer, OfOneRevision, kept_under, question_of
from app.web.problem import problem_of
from app.web.reading.json_body import read_model
from app.web.reading.strict import StrictRoute, parameters_of, strict_router
from app.web.refusals import REFUSED, refusal_of
from app.web.representation import respond
from app.web.session_cookie import has_session_cookie

router = strict_router(tags=["questions"])

MOST_QUESTIONS = 500
LONGEST_URL = 2_000
MOST_AT_A_STRETCH = 0.001
"""Seconds after which others are answered, between two questions."""
ANSWERED = {"questions", "tables", "units and standards", "rules"}
_NOT_PASSED = {
    b"accept",
    b"accept-encoding",
    b"content-type",
    b"content-length",
    b"transfer-encoding",
    b"if-none-match",
}
_MOVING = {"as_of", "min_revision"}
_PINS = {"revision", *_MOVING}


class BatchBody(TypedDict):
    """The addresses of lookups as one would GET them: path and query, such as `/v1/chassis/x/fits?travel=150`."""

    questions: Annotated[
        list[Annotated[str, Field(max_length=LONGEST_URL)]], Field(min_length=1, max_length=MOST_QUESTIONS)
    ]


class BatchItem(TypedDict):
    """One question with its status: its `answer`, or the `problem` (RFC 9457)."""

    index: int
    url: str
    status: int
    answer: NotRequired[dict[str, Any]]
    problem: NotRequired[dict[str, Any]]


class BatchAnswer(TypedDict):
    """Every question in the order of asking, answered at one revision where none named another."""

    revision: int
    answers: list[BatchItem]


@dataclass(frozen=True, slots=True)
class Item:
    """A question with its status, and its answer or problem as JSON."""

    index: int
    url: str
    status: int
    json: bytes

    def written(self) -> bytes:
        """As `BatchItem` is written, the JSON as it came."""
        head = json.dumps({"index": self.index, "url": self.url, "status": self.status}, separators=(",", ":"))
        member = b"answer" if self.status == HTTPStatus.OK else b"problem"
        return b'%s,"%s":%s}' % (head[:-1].encode(), member, self.json)


class Written:
    """The shape of a batch whose answers are written already: they are put together, not read and written anew."""

    def dump_json(self, instance: Any, /, **_: Any) -> bytes:
        """The answers as JSON text, each as it was made."""
        items = b",".join(item.written() for item in instance["answers"])
        return b'{"revision":%d,"answers":[%s]}' % (instance["revision"], items)

    def dump_python(self, instance: Any, /, **_: Any) -> Any:
        """For the forms that are no JSON."""
        return json.loads(self.dump_json(instance))

    def json_schema(self, **how: Any) -> dict[str, Any]:
        """The schema of the answer."""
        return TypeAdapter(BatchAnswer).json_schema(**how)


BODY = TypeAdapter(BatchBody)
BATCH = Written()


@router.post(
    "/v1/batch",
    operation_id="batch",
    summary="Many questions at once",
    response_model=None,
    openapi_extra=json_body(BODY, "Up to 500 lookups by their address."),
    responses={200: {"model": BatchAnswer, "description": "Each with its own status."}},
)
async def batch(request: Request, asked: Annotated[Pinned, Query()]) -> Response:
    """All are answered at the revision that the batch pins, or else at the newest as it begins."""
    body = await read_model(request, BODY)
    revision = await request.app.state.catalogue.ask(lambda snapshot: snapshot.revision, asked.pin())
    asker = None if has_session_cookie(request.scope["headers"]) else question_of(request.scope)
    items, begun = [], perf_counter()
    for index, url in enumerate(body["questions"]):
        status, content = await _answered(request, url, revision, asker)
        items.append(Item(index, url, status, content))
        if perf_counter() - begun > MOST_AT_A_STRETCH:
            await asyncio.sleep(0)  # others are answered between two questions
            begun = perf_counter()
    return await respond(request, {"revision": revision, "answers": items}, BATCH, question="batch")


async def _answered(request: Request, url: str, revision: int, asker: Any) -> tuple[int, bytes]:
    """Status and body of the answer to one question, as it was kept for the next who asks like `asker`."""
    kept: OfOneRevision | None = request.app.state.kept
    latest = None if kept is None or asker is None else await request.app.state.catalogue.number()
    key = ("in a batch", asker, revision, url)
    if kept is not None and latest is not None and (answer := kept.get(latest, key)) is not None:
        return answer.status, answer.body
    try:
        route, scope, settled = _asked(request, url, revision)
    except Refusal as refusal:
        problem = problem_of(request.scope, refusal)
        return problem["status"], json.dumps(problem).encode()
    start, content = await _asked_anew(request, route, scope)
    if kept is not None and latest is not None and settled and (etag := kept_under(start)) is not None:
        kept.put(latest, key, KeptAnswer(start, content, etag, len(url)))
    return start["status"], content


def _asked(request: Request, url: str, revision: int) -> tuple[StrictRoute, Scope, bool]:
    """The route of a question, the request that it stands for, and whether that names its revision or has none: of
    several machines not all may have reached the newest. Raises Invalid for what is no address, NotFound for what is no
    lookup."""
    parts = urllib.parse.urlsplit(url)
    if parts.scheme or parts.netloc or parts.fragment or not url.isascii() or not url.startswith("/v1/"):
        raise Invalid.one("wrong-form", "A question is a path and query of this service, percent-encoded: /v1/…")
    raw = parts.path.encode()
    scope: Scope = {
        **request.scope,
        "method": "GET",
        "path": urllib.parse.unquote(parts.path),
        "raw_path": raw,
        "query_string": parts.query.encode(),
        "headers": [(name, value) for name, value in request.scope["headers"] if name not in _NOT_PASSED],
        "state": {**request.scope["state"], "raw_path": raw},
    }
    for name in ("suffix", "suffix_taken", "signed_in"):
        scope["state"].pop(name, None)
    for name in ("route", "endpoint", "path_params", "router"):
        scope.pop(name, None)
    route, found = _matching(request, scope)
    if not isinstance(route, StrictRoute) or not ANSWERED.intersection(route.tags):
        raise NotFound("There is no lookup of that address that a batch could ask.")
    names = {name for name, _ in urllib.parse.parse_qsl(parts.query, keep_blank_values=True)}
    if "revision" in parameters_of(route) and not names & _PINS:
        scope["query_string"] += b"&revision=%d" % revision if parts.query else b"revision=%d" % revision
    scope.update(found)
    return route, scope, not names & _MOVING


def _matching(request: Request, scope: Scope) -> tuple[BaseRoute | None, Scope]:
    for route in request.app.router.routes:
        match, found = route.matches(scope)
        if match is Match.FULL:
            return route, found
    return None, {}


async def _asked_anew(request: Request, route: StrictRoute, scope: Scope) -> tuple[Message, bytes]:
    """The message that begins the answer, and its body."""
    start: Message = {}
    chunks: list[bytes] = []

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        if message["type"] == "http.response.start":
            start.update(message)
        elif message["type"] == "http.response.body":
            chunks.append(message.get("body", b""))

    try:
        await route.handle(scope, receive, send)
    except REFUSED as raised:
        refused = await refusal_of(Request(scope), raised)
        return {"status": refused.status_code, "headers": []}, bytes(refused.body)
    return start, b"".join(chunks)
