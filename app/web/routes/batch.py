"""Many questions in one request, each with its own status, all answered at one revision."""

import asyncio
import json
import urllib.parse
from collections.abc import AsyncIterator
from dataclasses import dataclass
from http import HTTPStatus
from time import perf_counter
from typing import Annotated, Any, NotRequired

from fastapi import Query, Request
from pydantic import Field, TypeAdapter
from starlette.responses import Response, StreamingResponse
from starlette.routing import BaseRoute, Match
from starlette.types import Message, Scope
from typing_extensions import TypedDict

from app.errors import Invalid, NotFound, Refusal, Unavailable
from app.json_types import JsonObject
from app.questions.answers.parameters import Pinned
from app.web.access import caller_was_read
from app.web.contract.openapi import json_body
from app.web.middleware.answer_cache import AnswerCache, CacheKey, KeptAnswer, key_of, may_be_kept, only_keyed
from app.web.middleware.rates import TooMany
from app.web.problem import problem_of
from app.web.reading.json_body import read_model
from app.web.reading.strict import StrictRoute, parameters_of, strict_router
from app.web.refusals import REFUSED, refusal_of
from app.web.representation import respond
from app.web.representation.choose import choose
from app.web.representation.kinds import Answered, available
from app.web.representation.problem_forms import problem_response
from app.web.representation.respond import kept_for

router = strict_router(tags=["questions"])

MOST_QUESTIONS = 500
LONGEST_URL = 2_000
MOST_BYTES = 16_000_000
"""Bytes of answers in one batch; the largest answer has about 100 kB."""
MOST_SECONDS = 60.0
"""Seconds in which the questions of one batch are answered, without the time they wait for others."""
PART_BYTES = 65_536
ANSWERED = {"questions", "tables", "units and standards", "rules"}
_PASSED = {b"host", b"authorization"}
_MOVING = {"as_of", "min_revision"}
_PINS = {"revision", *_MOVING}


class BatchBody(TypedDict):
    """The addresses to GET: path and query, such as `/v1/chassis/x/fits?travel=150`."""

    questions: Annotated[
        list[Annotated[str, Field(max_length=LONGEST_URL)]], Field(min_length=1, max_length=MOST_QUESTIONS)
    ]


class BatchItem(TypedDict):
    """One question with its status: its `answer`, or the `problem` (RFC 9457)."""

    index: int
    url: str
    status: int
    answer: NotRequired[JsonObject]
    problem: NotRequired[JsonObject]


class BatchAnswer(TypedDict):
    """The answers in the order of the questions, all at one revision unless a question names another."""

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
        """A `BatchItem` whose answer is already JSON text."""
        head = json.dumps({"index": self.index, "url": self.url, "status": self.status}, separators=(",", ":"))
        member = b"answer" if self.status == HTTPStatus.OK else b"problem"
        return b'%s,"%s":%s}' % (head[:-1].encode(), member, self.json)


class Written:
    """Writes a batch from answers that are already JSON, without parsing them again."""

    def dump_json(self, instance: Any, /, **_: Any) -> bytes:
        """The answers as JSON text, unchanged."""
        items = b",".join(item.written() for item in instance["answers"])
        return b'{"revision":%d,"answers":[%s]}' % (instance["revision"], items)

    def dump_python(self, instance: Any, /, **_: Any) -> Any:
        """For every format except JSON."""
        return json.loads(self.dump_json(instance))

    def json_schema(self, **how: Any) -> JsonObject:
        """The schema of the answer."""
        return TypeAdapter(BatchAnswer).json_schema(**how)


BODY = TypeAdapter(BatchBody)
BATCH = Written()


@router.post(
    "/v1/batch",
    operation_id="batch",
    summary="Many questions at once",
    response_model=None,
    openapi_extra=json_body(BODY, "Up to 500 look-ups by address."),
    responses={200: {"model": BatchAnswer, "description": "Each with its own status."}},
)
async def batch(request: Request, asked: Annotated[Pinned, Query()]) -> Response:
    """All questions are answered at the revision that the batch names, otherwise at the latest when it starts."""
    body = await read_model(request, BODY)
    questions = body["questions"]
    try:
        await request.app.state.rates.take(request.scope, len(questions))
    except TooMany as refused:
        return problem_response(request.scope, "too-many", refused.detail, headers=refused.headers)
    revision = await request.app.state.catalogue.ask(lambda snapshot: snapshot.revision, asked.pin())
    items = _items(request, questions, revision)
    if _is_json(request):
        headers = {"Cache-Control": kept_for(request), "Vary": "Accept, Cookie"}
        return StreamingResponse(_streamed(revision, items), media_type="application/json", headers=headers)
    answers = [item async for item in items]
    return await respond(request, {"revision": revision, "answers": answers}, BATCH, question="batch")


def _is_json(request: Request) -> bool:
    """Whether the batch is answered as JSON, which is sent as it is made."""
    forms = available(Answered("batch", {}, BATCH, None, request))
    suffix, format_ = request.scope["state"].get("suffix"), request.query_params.get("format")
    form = choose(forms, suffix=suffix, format_=format_, accept=request.headers.get("accept"))
    request.scope["state"]["suffix_taken"] = True
    return form is not None and form.media_type == "application/json"


async def _streamed(revision: int, items: AsyncIterator[Item]) -> AsyncIterator[bytes]:
    """The batch as JSON, in parts: the next question is answered when the client has taken what came before."""
    part = b'{"revision":%d,"answers":[' % revision
    between = b""
    async for item in items:
        part += between + item.written()
        between = b","
        if len(part) >= PART_BYTES:
            yield part
            part = b""
    yield part + b"]}"


async def _items(request: Request, questions: list[str], revision: int) -> AsyncIterator[Item]:
    """The answers in order. Of all batches one question is answered at a time, and others are answered between two of
    them. Beyond MOST_BYTES or MOST_SECONDS the rest are refused one by one."""
    turn: asyncio.Lock = request.app.state.batch_turn
    spent, sent = 0.0, 0
    for index, url in enumerate(questions):
        if sent > MOST_BYTES or spent > MOST_SECONDS:
            refusal = Unavailable("This batch is too much for one request. Send the questions from here on again.")
            problem = _problem(request, refusal, url)
            yield Item(index, url, problem["status"], json.dumps(problem).encode())
            continue
        async with turn:
            begun = perf_counter()
            status, content = await _answered(request, url, revision)
            spent += perf_counter() - begun
            await asyncio.sleep(0)  # lets other requests in before the next question of any batch
        sent += len(content)
        yield Item(index, url, status, content)


async def _answered(request: Request, url: str, revision: int) -> tuple[int, bytes]:
    """Status and body of the answer to one question. The answer cache keeps it for batches with the same question."""
    cache: AnswerCache = request.app.answers
    latest = await request.app.state.catalogue.latest()
    key = _key(request, url, revision)
    if latest is not None and (answer := cache.get(latest, key)) is not None:
        return HTTPStatus.OK, answer.body
    try:
        route, scope, is_settled = _asked(request, url, revision)
    except Refusal as refusal:
        problem = _problem(request, refusal, url)
        return problem["status"], json.dumps(problem).encode()
    start, content = await _computed(request, route, scope)
    if latest is not None and is_settled and may_be_kept(start) and not caller_was_read(scope):
        cache.keep(latest, key, KeptAnswer(start["headers"], content, len(url)))
    return start["status"], content


def _key(request: Request, url: str, revision: int) -> CacheKey:
    """The cache key of a question: all that its route can read of it."""
    passed = {name: value for name, value in request.scope["headers"] if name in _PASSED}
    address = {"raw_path": url, "query_string": revision, "scheme": request.scope["scheme"]}
    return ("in a batch", *key_of(address, passed))


def _asked(request: Request, url: str, revision: int) -> tuple[StrictRoute, Scope, bool]:
    """The route and request for a question, and whether it fixes its revision or has none. (Not every machine may have
    reached the latest.)

    Raises Invalid if it is not an address, NotFound if it is not a lookup.
    """
    parts = urllib.parse.urlsplit(url)
    if parts.scheme or parts.netloc or parts.fragment or not url.isascii() or not url.startswith("/v1/"):
        raise Invalid.one("wrong-form", "A question is a percent-encoded path and query of this service: /v1/…")
    raw = parts.path.encode()
    state = {name: value for name, value in request.scope["state"].items() if name in ("request_id", "caller")}
    state["authorization"] = request.headers.get("authorization", "")
    scope = only_keyed({
        **request.scope,
        "method": "GET",
        "path": urllib.parse.unquote(parts.path),
        "raw_path": raw,
        "query_string": parts.query.encode(),
        "headers": [(name, value) for name, value in request.scope["headers"] if name in _PASSED],
        "state": {**state, "raw_path": raw},
    })  # fmt: skip
    route, found = _matching(request, scope)
    if not isinstance(route, StrictRoute) or not ANSWERED.intersection(route.tags):
        raise NotFound("There is no look-up at that address.")
    names = {name for name, _ in urllib.parse.parse_qsl(parts.query, keep_blank_values=True)}
    if "revision" in parameters_of(route) and not names & _PINS:
        scope["query_string"] += b"&revision=%d" % revision if parts.query else b"revision=%d" % revision
    scope.update(found)
    return route, scope, not names & _MOVING


def _problem(request: Request, refusal: Refusal, url: str) -> JsonObject:
    """The problem with a question; its `instance` is the question's path."""
    state = {**request.scope["state"], "raw_path": url.partition("?")[0].encode("utf-8", "replace")}
    return problem_of({**request.scope, "state": state}, refusal)


def _matching(request: Request, scope: Scope) -> tuple[BaseRoute | None, Scope]:
    for route in request.app.router.routes:
        match, found = route.matches(scope)
        if match is Match.FULL:
            return route, found
    return None, {}


async def _computed(request: Request, route: StrictRoute, scope: Scope) -> tuple[Message, bytes]:
    """The response start message and the body."""
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
