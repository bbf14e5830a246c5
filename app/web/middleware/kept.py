"""Answers that are kept: the same question at the same revision is answered with the same bytes, without asking again.

Two levels. `Kept` stands after every check and knows a question however it is spelt: parameters in any order and
encoding, `.csv` or `format=csv`. `Front` stands before everything and knows a request byte for byte; what it holds has
passed the checks with exactly these header lines, so only what depends on the moment is looked at again. Both hold one
revision, the latest as it is when an answer is looked up, and forget all when it changes; both are bounded in bytes.
"""

from typing import Any
from urllib.parse import parse_qsl

from cachetools import Cache, FIFOCache, LRUCache
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.catalogue.catalogue import LATEST_SEEN, Catalogue
from app.web.middleware.limits import IN_A_CHILD
from app.web.representation.choose import ranges
from app.web.representation.respond import matches
from app.web.session_cookie import has_session_cookie

LARGEST = 1_000_000
"""Bytes of the largest body that is kept."""
OVERHEAD = 1_500
"""Bytes that an entry takes beside its body and key: header lines and tuples (measured over 600 entries: 1.5 kB)."""

_CONDITIONAL = b"if-none-match"


class KeptAnswer:
    """A whole answer: the message that begins it, its body, and the entity tag."""

    __slots__ = ("body", "etag", "headers", "size", "status")

    def __init__(self, start: Message, body: bytes, etag: str, key_bytes: int) -> None:
        self.status: int = start["status"]
        self.headers: list[tuple[bytes, bytes]] = [*start["headers"]]
        self.body, self.etag = body, etag
        self.size = len(body) + key_bytes + OVERHEAD

    async def send(self, send: Send, request_id: str | None = None) -> None:
        """The answer, as the application would send it, under the id of this request where one is given."""
        headers = [*self.headers, *([] if request_id is None else [(b"x-request-id", request_id.encode())])]
        await send({"type": "http.response.start", "status": self.status, "headers": headers})
        await send({"type": "http.response.body", "body": self.body})

    def unchanged(self) -> "KeptAnswer":
        """304 with the header lines that RFC 9110, 15.4.5, wants."""
        headers = [line for line in self.headers if line[0] not in {b"content-type", b"content-length"}]
        return KeptAnswer({"status": 304, "headers": headers}, b"", self.etag, 0)


class OfOneRevision:
    """A bounded store of answers, all of one revision and all gone when another is asked for."""

    def __init__(self, store: Cache[Any, KeptAnswer]) -> None:
        self.revision: int | None = None
        self.store = store

    @classmethod
    def lately_used(cls, capacity: int) -> "OfOneRevision":
        """One that gives up what was not asked for longest; capacity in bytes."""
        return cls(LRUCache(capacity, getsizeof=lambda answer: answer.size))

    def get(self, revision: int, key: Any) -> KeptAnswer | None:
        """The answer kept for `key`, if it is of `revision`."""
        if revision != self.revision:
            self.store.clear()
            self.revision = revision
        return self.store.get(key)

    def put(self, revision: int, key: Any, answer: KeptAnswer) -> None:
        """Keep an answer that was begun at `revision`, unless another came since or it is larger than all there is."""
        if revision == self.revision and answer.size <= self.store.maxsize:
            self.store[key] = answer


class Kept:
    """Pure ASGI, before compression: a GET is answered from what is kept, or its answer is kept for the next.

    Kept is what a shared cache might keep (RFC 9111): status 200, with an entity tag, not `no-store`.
    """

    def __init__(self, app: ASGIApp, answers: OfOneRevision) -> None:
        self.app = app
        self.answers = answers

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        catalogue: Catalogue | None = None
        if scope["type"] == "http":
            catalogue = scope["app"].state.catalogue
        if catalogue is None:
            await self.app(scope, receive, send)
        elif scope["method"] != "GET":
            try:
                await self.app(scope, receive, send)
            finally:
                catalogue.look_again()
        elif (
            has_session_cookie(scope["headers"])
            or not _may_be_kept(scope["path"])
            or (key := question_of(scope)) is None
        ):
            await self.app(scope, receive, send)
        else:
            await self._answered(catalogue, key, scope, receive, send)

    async def _answered(self, catalogue: Catalogue, key: Any, scope: Scope, receive: Receive, send: Send) -> None:
        revision = await catalogue.number()
        if revision is None:
            await self.app(scope, receive, send)
            return
        answer = self.answers.get(revision, key)
        if answer is None:
            unconditional = {**scope, "headers": [line for line in scope["headers"] if line[0] != _CONDITIONAL]}
            heard, seen = Heard(send), list[int]()
            before = LATEST_SEEN.set(seen)
            try:
                await self.app(unconditional, receive, heard.send)
            finally:
                LATEST_SEEN.reset(before)
            answer = heard.answer(len(scope["query_string"]))
            if answer is None:
                return
            if any(present != revision for present in seen):  # a replica that lags, or a revision of this moment
                await _as_asked(scope, answer).send(send)
                return
            self.answers.put(revision, key, answer)
        scope["state"]["kept_at"] = revision
        await _as_asked(scope, answer).send(send)


def _as_asked(scope: Scope, answer: KeptAnswer) -> KeptAnswer:
    """304 in its place for who has it already."""
    has_it = matches(Request(scope).headers.get("if-none-match"), answer.etag.removeprefix("W/"))
    return answer.unchanged() if has_it else answer


class Heard:
    """Holds back an answer that may be kept until it is whole; passes on at once what may not or is too large."""

    def __init__(self, to: Send) -> None:
        self.to = to
        self.start: Message | None = None
        self.etag = ""
        self.parts: list[bytes] = []
        self.size = 0
        self.whole = False

    async def send(self, message: Message) -> None:
        """In place of the `send` of the server."""
        if message["type"] == "http.response.start" and (etag := kept_under(message)) is not None:
            self.start, self.etag = message, etag
        elif self.start is None or message["type"] != "http.response.body":
            await self.to(message)
        else:
            self.parts.append(message.get("body", b""))
            self.size += len(self.parts[-1])
            self.whole = not message.get("more_body", False)
            if self.size > LARGEST:
                await self._let_go(more=not self.whole)

    async def _let_go(self, *, more: bool) -> None:
        start, self.start = self.start, None
        if start is not None:
            await self.to(start)
            await self.to({"type": "http.response.body", "body": b"".join(self.parts), "more_body": more})
            self.parts.clear()

    def answer(self, key_bytes: int) -> KeptAnswer | None:
        """The whole answer, or None where it has been passed on."""
        if self.start is None or not self.whole:
            return None
        return KeptAnswer(self.start, b"".join(self.parts), self.etag, key_bytes)


class Front:
    """The first look at a request. What it may keep is what `Kept` answered, as it left the outermost layer."""

    def __init__(self, catalogue: Catalogue, capacity: int) -> None:
        self.catalogue = catalogue
        self.answers = OfOneRevision(FIFOCache(capacity, getsizeof=lambda answer: answer.size))

    def answer(self, scope: Scope) -> KeptAnswer | None:
        """The answer to exactly this request at the present revision, if it is here."""
        revision = self.catalogue.known()
        return None if revision is None else self.answers.get(revision, _raw(scope))

    def heard(self, scope: Scope, send: Send) -> Send:
        """`send`, overheard: an answer that passes in one piece is kept."""
        start: Message | None = None

        async def overheard(message: Message) -> None:
            nonlocal start
            if message["type"] == "http.response.start":
                start = message if "kept_at" in scope["state"] else None
            elif start is not None and not message.get("more_body", False):
                headers = [line for line in start["headers"] if line[0] != b"x-request-id"]
                key = _raw(scope)
                size = sum(len(name) + len(value) for name, value in scope["headers"])
                kept = KeptAnswer({**start, "headers": headers}, message.get("body", b""), "", size)
                self.answers.put(scope["state"]["kept_at"], key, kept)
            else:
                start = None
            await send(message)

        return overheard


def kept_in_front(scope: Scope) -> bool:
    """Whether this request may be looked up byte for byte: a plain GET without a key and without a body."""
    if scope["type"] != "http" or scope["method"] != "GET":
        return False
    return _TELLING.isdisjoint(dict(scope["headers"]))


_TELLING = {b"authorization", b"cookie", b"x-request-id", b"content-length", b"transfer-encoding", b"expect"}
_DECIDING = {b"accept", b"accept-encoding", b"authorization", b"host"}


def _raw(scope: Scope) -> tuple[Any, ...]:
    return scope["raw_path"], scope["query_string"], scope["scheme"], tuple(scope["headers"])


def _may_be_kept(path: str) -> bool:
    return path == "/" or (path.startswith(("/v1/", "/problems")) and path not in IN_A_CHILD)


def question_of(scope: Scope) -> Any:
    """What is asked, whatever the order and spelling of its parameters; None where they cannot be read, or where a
    header line that decides comes twice: the parts of the service would not agree on which of them holds.

    Host, scheme and path as sent are part of it, as an answer carries its own address.
    """
    lines = [line for line in scope["headers"] if line[0] in _DECIDING]
    about: dict[bytes, bytes] = dict(lines)
    if len(about) < len(lines):
        return None
    try:
        pairs = parse_qsl(scope["query_string"].decode("ascii"), keep_blank_values=True, errors="strict")
    except ValueError:
        return None
    form: Any = scope["state"].get("suffix")
    if form is None:
        named = [value for name, value in pairs if name == "format"]
        if len(named) > 1:
            return None
        form = named[0] if named else _wanted(about.get(b"accept", b"").decode("latin-1"))
        pairs = [pair for pair in pairs if pair[0] != "format"]
    pairs.sort(key=lambda pair: pair[0])
    compressed = b"gzip" in about.get(b"accept-encoding", b"")
    return (
        scope["path"], scope["raw_path"], tuple(pairs), form, compressed, b"authorization" in about, about.get(b"host"),
        scope["scheme"],
    )  # fmt: skip


def _wanted(accept: str) -> Any:
    """JSON where JSON is wanted first, as every answer has it, else all that is said."""
    if accept in ("", "*/*", "application/json"):
        return "json"
    return tuple(ranges(accept))  # in their order: of two alike the first holds


def kept_under(start: Message) -> str | None:
    """The entity tag of an answer that may be kept, else None."""
    if start["status"] != 200:
        return None
    headers: dict[bytes, bytes] = dict(start["headers"])
    if b"no-store" in headers.get(b"cache-control", b"no-store") or b"set-cookie" in headers:
        return None
    etag = headers.get(b"etag")
    return None if etag is None else etag.decode("ascii")
