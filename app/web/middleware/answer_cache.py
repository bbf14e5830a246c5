"""The answer cache, in front of everything else: an answer is computed once and sent to all who ask the same.

Why a kept answer is right for the request that gets it:

1. *The key is all that the application can read.* A request that may be answered from here reaches the routes through
   `KeyedRequest`, which hands on what `key_of` holds and withholds everything else: other header lines, the client's
   address, the HTTP version. So an answer cannot depend on anything outside the key, whatever a route does.
   In the key: scheme, Host and root path (links and printed codes carry them), path and query byte for byte, Accept,
   whether gzip is taken, and whether a key was sent. A request in which a line of the key comes twice is neither looked
   up nor kept.
2. *Whose key it is* is not in the key. A route that asks for it (`app.web.access.caller_of`) leaves a mark in the
   request's state, and an answer with that mark is not kept. A request with a session's cookie passes by.
3. *The catalogue* is in the key by its latest revision and its lineage, which are read before the body is computed. All
   answers are of one revision and all go when another is the latest. An answer for which the database showed another
   latest revision meanwhile (a write just then, a replica that lags) is sent and not kept.
4. *What was checked* when the answer was computed is decided by the key (host, length of the address) or checked again
   here for each request: number and length of the header lines, the API key if reads are closed, the rate. A request
   that fails one of them goes on, and the layer behind refuses it as always.
5. *Kept* is only what a shared cache might keep: 200 to GET with an entity tag, not `no-store`, no cookie.

This is also the only place that makes a 304: from the finished 200, so both say the same (RFC 9110, 15.4.5). Routes
never see If-None-Match. A 304 that comes from here does not count towards a rate.
"""

import asyncio
from collections import OrderedDict
from collections.abc import Mapping, MutableMapping
from functools import lru_cache
from time import perf_counter
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.catalogue.catalogue import LATEST_SEEN, Catalogue
from app.catalogue.lineage import Head
from app.settings import Settings
from app.web.access import caller_was_read
from app.web.middleware.closed_reads import ClosedReads
from app.web.middleware.compression import takes_gzip
from app.web.middleware.limits import IN_A_CHILD
from app.web.middleware.rates import RateCounter, RateHeaders, address_of
from app.web.middleware.requests import RequestLog, accepted_id, new_id
from app.web.representation.entity_tags import matches
from app.web.session_cookie import NAME as SESSION
from app.web.session_cookie import HeaderLines

LARGEST = 1_000_000
"""The largest body that is cached, in bytes."""
OVERHEAD = 1_500
"""The overhead of a cache entry in bytes, besides body and address (measured over 600 entries)."""
LONGEST_LOOK_S = 1.0
"""Seconds to wait for the latest revision on PostgreSQL; after that the request bypasses the cache."""

_ONCE = frozenset((b"accept", b"accept-encoding", b"authorization", b"cookie", b"host"))
_PASSING_BY = frozenset((b"content-length", b"transfer-encoding", b"content-encoding", b"expect"))
"""Header lines of a request with a body, which bypasses the cache."""
_OF_THE_BODY = frozenset((b"content-type", b"content-length", b"content-range"))
_OF_ONE_REQUEST = frozenset((b"x-request-id", b"ratelimit", b"ratelimit-policy"))


CacheKey = tuple[Any, ...]


class KeptAnswer:
    """A finished 200: its header lines, body and entity tag."""

    __slots__ = ("body", "etag", "headers", "size", "unchanged")

    def __init__(self, headers: HeaderLines, body: bytes, address_bytes: int) -> None:
        self.headers = [line for line in headers if line[0] not in _OF_ONE_REQUEST]
        self.unchanged = lines_of_304(self.headers)
        self.etag = etag_in(headers) or ""
        self.body = body
        self.size = len(body) + address_bytes + OVERHEAD


class AnswerCache:
    """ASGI app, outermost. Bounded in bytes (`LEGWORK_CACHE_BYTES`; 0 turns it off); evicts the entry unused for
    longest.
    """

    def __init__(
        self, app: ASGIApp, catalogue: Catalogue | None, settings: Settings, log: RequestLog, rates: RateCounter
    ) -> None:
        self.app = app
        self.catalogue = catalogue
        self.log = log
        self.rates = rates
        self.closed_reads = None if settings.open_reads else ClosedReads(app)
        self.most_lines, self.most_header_bytes = settings.max_headers, settings.max_header_bytes
        self.most_bytes = settings.cache_bytes // settings.workers
        self.bytes = 0
        self.head: Head | None = None
        self.answers: OrderedDict[CacheKey, KeptAnswer] = OrderedDict()
        """Oldest first. The LRUCache of cachetools takes 1.5 µs more for a hit."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
        elif scope["method"] != "GET" and scope["method"] != "HEAD":
            try:
                await self.app(scope, receive, send)
            finally:
                if self.catalogue is not None:
                    self.catalogue.look_again()
        else:
            begun, lines = perf_counter(), scope["headers"]
            first = dict(lines)
            head, answer, key = None, None, self._key(scope, lines, first)
            if key is not None:
                scope.setdefault("state", {})["keyed"] = True
                if self.catalogue is not None and (head := self.catalogue.known()) is None:
                    head = await self._latest(self.catalogue, scope)
                answer = None if head is None else self.get(head, key)
            if answer is None or not await self._answered(answer, scope, send, first, begun):
                await self._computed(scope, receive, send, first.get(b"if-none-match"), head, key)

    def get(self, head: Head, key: CacheKey) -> KeptAnswer | None:
        """The cached answer for `key`, if it is of this revision. Drops all answers of another one."""
        if head != self.head:
            self.answers.clear()
            self.bytes, self.head = 0, head
        answer = self.answers.get(key)
        if answer is not None:
            self.answers.move_to_end(key)
        return answer

    def keep(self, head: Head, key: CacheKey, answer: KeptAnswer) -> None:
        """Cache an answer computed at that revision, unless a newer one came meanwhile or it is larger than the whole
        cache.
        """
        if head != self.head or answer.size > self.most_bytes:
            return
        if (before := self.answers.pop(key, None)) is not None:
            self.bytes -= before.size
        self.answers[key] = answer
        self.bytes += answer.size
        while self.bytes > self.most_bytes:
            _, oldest = self.answers.popitem(last=False)
            self.bytes -= oldest.size

    def _key(self, scope: Scope, lines: HeaderLines, first: Mapping[bytes, bytes]) -> CacheKey | None:
        """The cache key of a request; None if the request bypasses the cache."""
        path = scope["path"]
        if (path != "/" and not path.startswith(("/v1/", "/problems"))) or path in IN_A_CHILD:
            return None
        if not _PASSING_BY.isdisjoint(first) or SESSION in first.get(b"cookie", b""):
            return None
        size = sum(map(len, first)) + sum(map(len, first.values()))
        if len(first) < len(lines):
            if _comes_twice(lines):
                return None
            size = sum(len(name) + len(value) for name, value in lines)
        if len(lines) > self.most_lines or size + 4 * len(lines) > self.most_header_bytes:
            return None
        return key_of(scope, first)

    async def _latest(self, catalogue: Catalogue, scope: Scope) -> Head | None:
        """Look up the latest revision; None if the database cannot be read."""
        begun = perf_counter()
        try:
            async with asyncio.timeout(LONGEST_LOOK_S):
                found = await catalogue.latest()
        except TimeoutError:
            found = None
        if "came" in scope["state"]:
            scope["state"]["came"] += perf_counter() - begun  # `Waiting` times the loop's queue, not the database
        return found

    async def _answered(
        self, answer: KeptAnswer, scope: Scope, send: Send, first: Mapping[bytes, bytes], begun: float
    ) -> bool:
        """Send a cached answer, or a 304 instead. Returns False and sends nothing if the request must be refused."""
        if self.closed_reads is not None and await self.closed_reads.refusal(scope) is not None:
            return False
        condition = first.get(b"if-none-match")
        has_it = condition is not None and matches(_joined(scope["headers"]), answer.etag)
        counted: RateHeaders = ()
        if self.rates.reads is not None and (rate := self.rates.rate_of(scope)) is not None:
            cost = 0 if has_it else 1
            if self.rates.shared is None and b"authorization" not in first:
                standing = self.rates.count_here(address_of(scope), rate, cost)
            else:
                standing = await self.rates.count(scope, rate, cost=cost)
            if not standing.allowed:
                return False
            counted = standing.headers()
        sent_id = first.get(b"x-request-id")
        request_id = new_id() if sent_id is None else accepted_id(sent_id) or new_id()
        lines = [*(answer.unchanged if has_it else answer.headers), (b"x-request-id", request_id.encode()), *counted]
        status = 304 if has_it else 200
        body = b"" if has_it or scope["method"] == "HEAD" else answer.body
        await send({"type": "http.response.start", "status": status, "headers": lines})
        await send({"type": "http.response.body", "body": body})
        self.log(scope, request_id, status, perf_counter() - begun, len(body))
        return True

    async def _computed(
        self, scope: Scope, receive: Receive, send: Send, condition: bytes | None, head: Head | None = None,
        key: CacheKey | None = None,
    ) -> None:  # fmt: skip
        """Pass the request on, send 304 if the client already has the answer, and cache the answer if allowed."""
        asked, state, tags = scope, scope.setdefault("state", {}), None
        if condition is not None:
            asked = {**scope, "headers": [line for line in scope["headers"] if line[0] != b"if-none-match"]}
            tags = _joined(scope["headers"])
            if key is None:
                state["if_none_match"] = tags
        keeps = head is not None and key is not None and scope["method"] == "GET" and self.most_bytes > 0
        finished = FinishedAnswer(send, state, tags, keeps=keeps)
        seen: list[Head] = []
        before = LATEST_SEEN.set(seen)
        try:
            await self.app(asked, receive, finished.send)
        finally:
            LATEST_SEEN.reset(before)
        if head is None or key is None or not finished.is_whole or caller_was_read(scope):
            return
        if all(present == head for present in seen):
            self.keep(head, key, finished.kept(len(scope["raw_path"]) + len(scope["query_string"])))


class FinishedAnswer:
    """Passes an answer through, or sends 304 instead of a 200 that the client has. Collects answers to cache."""

    def __init__(self, to: Send, state: MutableMapping[str, Any], condition: str | None, *, keeps: bool) -> None:
        self.to = to
        self.state = state
        self.condition = condition
        self.keeps = keeps
        self.is_whole = self.is_unchanged = False
        self.headers: HeaderLines = ()
        self.parts: list[bytes] = []
        self.bytes = 0

    async def send(self, message: Message) -> None:
        """Replaces the server's `send`."""
        if message["type"] == "http.response.start":
            message = self._started(message)
        elif message["type"] == "http.response.body":
            self._collect(message)
            if self.is_unchanged:
                return
        await self.to(message)
        if self.is_unchanged and message["type"] == "http.response.start":
            await self.to({"type": "http.response.body", "body": b""})

    def _started(self, message: Message) -> Message:
        self.headers = message["headers"]
        self.keeps = self.keeps and may_be_kept(message)
        etag = etag_in(self.headers)
        if message["status"] in (200, 206) and etag is not None and matches(self.condition, etag):
            self.is_unchanged = self.state["unchanged"] = True  # for the log, which is written behind here
            return {**message, "status": 304, "headers": lines_of_304(self.headers)}
        return message

    def _collect(self, message: Message) -> None:
        if not self.keeps:
            return
        part = message.get("body", b"")
        self.parts.append(part)
        self.bytes += len(part)
        self.keeps = self.bytes <= LARGEST
        self.is_whole = self.keeps and not message.get("more_body", False)

    def kept(self, address_bytes: int) -> KeptAnswer:
        """The complete answer."""
        return KeptAnswer(self.headers, b"".join(self.parts), address_bytes)


class KeyedRequest:
    """ASGI app, innermost: shows the routes only what the cache key contains of a request that may be cached."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and scope["state"].get("keyed"):
            state = scope["state"]
            state["caller_read"] = False  # read in front of here, it decided only whether to answer
            state["authorization"] = dict(scope["headers"]).get(b"authorization", b"").decode("latin-1")
            scope = only_keyed(scope)
        await self.app(scope, receive, send)


def key_of(scope: Scope, first: Mapping[bytes, bytes]) -> CacheKey:
    """The parts of a request that `only_keyed` passes on. `first` are its header lines by name."""
    return (
        scope["raw_path"], scope["query_string"], first.get(b"accept"), takes_gzip(first.get(b"accept-encoding")),
        first.get(b"host"), scope["scheme"], scope.get("root_path", ""), b"authorization" in first,
    )  # fmt: skip


def only_keyed(scope: Scope) -> Scope:
    """A request reduced to what its key contains. Authorization keeps only the line: its value goes to
    `app.web.access`, which marks the request when it reads it.
    """
    first = dict(scope["headers"])
    lines = [(name, first[name]) for name in (b"host", b"accept") if name in first]
    if b"authorization" in first:
        lines.append((b"authorization", b""))
    if takes_gzip(first.get(b"accept-encoding")):
        lines.append((b"accept-encoding", b"gzip"))
    names = ("type", "asgi", "scheme", "method", "path", "raw_path", "query_string", "root_path", "app", "state")
    kept = {name: scope[name] for name in names if name in scope}
    return {**kept, "http_version": "1.1", "headers": lines, "client": None, "server": None}


def may_be_kept(start: Message) -> bool:
    """Whether an answer with this start is the same for everyone who may read it."""
    if start["status"] != 200:
        return False
    headers: dict[bytes, bytes] = dict(start["headers"])
    if b"no-store" in headers.get(b"cache-control", b"no-store") or b"set-cookie" in headers:
        return False
    return b"etag" in headers


def lines_of_304(headers: HeaderLines) -> list[tuple[bytes, bytes]]:
    """The header lines of a 304: those of its 200, except those that describe the body."""
    return [line for line in headers if line[0] not in _OF_THE_BODY]


@lru_cache(maxsize=4_096)
def _decoded(etag: bytes) -> str:
    return etag.decode("latin-1").removeprefix("W/")


def etag_in(headers: HeaderLines) -> str | None:
    """The entity tag without its weak mark, because If-None-Match compares weakly (RFC 9110, 13.1.2)."""
    return next((_decoded(value) for name, value in headers if name == b"etag"), None)


def _comes_twice(lines: HeaderLines) -> bool:
    names = [name for name, _ in lines if name in _ONCE]
    return len(set(names)) < len(names)


def _joined(lines: HeaderLines) -> str:
    """If-None-Match, with several lines joined (RFC 9110, 5.3)."""
    return ", ".join(value.decode("latin-1") for name, value in lines if name == b"if-none-match")
