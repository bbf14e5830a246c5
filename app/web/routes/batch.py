"""Many questions in one request, each with its own status, all of one revision."""

import asyncio
import json
import urllib.parse
from typing import Annotated, Any, NotRequired

from fastapi import Query, Request
from pydantic import Field, TypeAdapter
from starlette.responses import Response
from starlette.routing import Match
from starlette.types import Message, Scope
from typing_extensions import TypedDict

from app.errors import Invalid, NotFound, Refusal
from app.questions.asked import Pinned
from app.web.json_body import read_model
from app.web.openapi import json_body
from app.web.problem import problem_of
from app.web.refusals import REFUSED, refusal_of
from app.web.representation import respond
from app.web.strict import StrictRoute, parameters_of, strict_router

router = strict_router(tags=["questions"])

MOST_QUESTIONS = 500
LONGEST_URL = 2_000
ANSWERED = {"questions", "tables", "units and standards", "rules"}
_NOT_PASSED = {b"accept", b"content-type", b"content-length", b"transfer-encoding", b"if-none-match"}
_PINS = {"revision", "as_of", "min_revision"}


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


BODY = TypeAdapter(BatchBody)
BATCH = TypeAdapter(BatchAnswer)


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
    revision = await request.app.state.catalogue.ask(lambda at: at.revision, asked.pin())
    answers = []
    for index, url in enumerate(body["questions"]):
        answers.append(await _item(request, index, url, revision))
        await asyncio.sleep(0)  # others are answered between two questions
    return respond(request, {"revision": revision, "answers": answers}, BATCH, question="batch")


async def _item(request: Request, index: int, url: str, revision: int) -> BatchItem:
    try:
        scope = _scope(request, url, revision)
    except Refusal as refusal:
        problem = problem_of(request.scope, refusal)
        return {"index": index, "url": url, "status": problem["status"], "problem": problem}
    status, content = await _answered(request, scope)
    found = json.loads(content)
    if status == 200:
        return {"index": index, "url": url, "status": status, "answer": found}
    return {"index": index, "url": url, "status": status, "problem": found}


def _scope(request: Request, url: str, revision: int) -> Scope:
    """The request that a question stands for. Raises Invalid for what is no address, NotFound for what is no lookup."""
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
    route = next((each for each in request.app.router.routes if each.matches(scope)[0] is Match.FULL), None)
    if not isinstance(route, StrictRoute) or not ANSWERED & set(route.tags):
        raise NotFound("There is no lookup of that address that a batch could ask.")
    names = {name for name, _ in urllib.parse.parse_qsl(parts.query, keep_blank_values=True)}
    if "revision" in parameters_of(route) and not names & _PINS:
        scope["query_string"] += b"&revision=%d" % revision if parts.query else b"revision=%d" % revision
    return scope


async def _answered(request: Request, scope: Scope) -> tuple[int, bytes]:
    """Status and body of a request of ours, asked without the network."""
    status, chunks = 0, []

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        nonlocal status
        if message["type"] == "http.response.start":
            status = message["status"]
        elif message["type"] == "http.response.body":
            chunks.append(message.get("body", b""))

    try:
        await request.app.router(scope, receive, send)
    except REFUSED as raised:
        refused = await refusal_of(Request(scope), raised)
        return refused.status_code, bytes(refused.body)
    return status, b"".join(chunks)
