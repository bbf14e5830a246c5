"""Rate limits per client: always for writes and dry runs, for lookups if set.

Counted in each worker, or for all of them in a shared store; while that cannot be reached each worker counts alone. Of
several workers without a shared store, writes are counted together in the shop database.
"""

import asyncio
import re
import time
from collections import deque
from collections.abc import Sequence
from contextlib import suppress
from typing import Any, NamedTuple

from limits import RateLimitItem, parse
from limits.errors import StorageError
from limits.storage import MemoryStorage, storage_from_string
from limits.strategies import MovingWindowRateLimiter
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from structlog.typing import FilteringBoundLogger

from app.access import write_rate
from app.errors import Refusal
from app.json_types import JsonObject
from app.settings import Settings
from app.web.access import key_id
from app.web.representation.problem_forms import problem_response
from app.web.session_cookie import has_session_cookie

STORE_LOST_S = 5
"""Seconds to wait before a shared store that could not be reached is tried again."""
LOOKUPS = {"GET", "HEAD", "OPTIONS"}
BATCHES = {"/v1/batch", "/v1/job-cards"}  # POST only because their questions do not fit into an address
IN_A_DRAFT = re.compile(r"/v1/drafts/[a-z2-7]+(?:/ticks)?|/enter/drafts/[a-z2-7]{26}(?:/(?:meaning|reader))?")
"""Answers, corrections and ticks: many small changes of one draft."""

Client = tuple[str, ...]
RateHeaders = Sequence[tuple[bytes, bytes]]


class Counted(NamedTuple):
    """Whether a request is within its rate, how many more are allowed, and in how many seconds there will be more."""

    allowed: bool
    remaining: int
    wait_s: int
    policy: tuple[bytes, bytes]

    def headers(self) -> RateHeaders:
        """The `RateLimit` and `RateLimit-Policy` headers of the answer."""
        return self.policy, (b"ratelimit", b'"client";r=%d;t=%d' % (self.remaining, self.wait_s))


class ClientWindow:
    """The requests of each client in the last `seconds`, at most `most`, for one worker.

    A hit costs a fifth of what the library's in-memory store takes for a hit and a look (1.2 against 6 to 11 µs).
    """

    def __init__(self, rate: RateLimitItem) -> None:
        self.most, self.seconds = rate.amount, rate.get_expiry()
        self.policy = b"ratelimit-policy", f'"client";q={self.most};w={self.seconds}'.encode()
        self._hits: dict[Client, deque[float]] = {}
        self._seen = self._swept = 0.0

    def hit(self, client: Client, cost: int) -> Counted:
        """Count a request (or none, with a cost of 0) if the rate allows it."""
        now = time.time()
        if now < self._seen - 1:  # the clock was set back: clients would be shut out until it has caught up
            self._hits.clear()
        if now - self._swept > self.seconds or now < self._swept:
            self._sweep(now)
        self._seen, start = now, now - self.seconds
        hits = self._hits.get(client)
        if hits is None:
            hits = self._hits[client] = deque()
        while hits and hits[0] < start:
            hits.popleft()
        allowed = len(hits) + cost <= self.most
        if allowed:
            hits.extend([now] * cost)
        wait_s = int(hits[0] - start if hits else self.seconds) + 1
        return Counted(allowed, self.most - len(hits), wait_s, self.policy)

    def _sweep(self, now: float) -> None:
        """Forget clients whose requests no longer count."""
        self._swept = now
        self._hits = {client: hits for client, hits in self._hits.items() if hits and hits[-1] >= now - self.seconds}


class RateCounter:
    """Counts requests by client: by its valid key wherever it is sent from, otherwise by its address.

    A forged X-Forwarded-For has no effect unless a trusted proxy sent it.
    """

    def __init__(self, settings: Settings, logger: FilteringBoundLogger) -> None:
        self.logger = logger
        store = _store(settings.rate_store)
        self.shared = None if isinstance(store, MemoryStorage) else MovingWindowRateLimiter(store)
        self.in_shop = settings.workers > 1 and self.shared is None
        self.asked_again_at = 0.0
        self.reads = parse(settings.read_rate) if settings.read_rate else None
        self.writes = parse(settings.write_rate)
        self.batches = parse(settings.batch_rate)
        self.drafts = parse(settings.draft_rate)
        rates = (self.reads, self.writes, self.batches, self.drafts)
        self._own = {id(rate): ClientWindow(rate) for rate in rates if rate is not None}

    def rate_of(self, scope: Scope) -> RateLimitItem | None:
        """The rate that applies to a request; None if none does."""
        if not scope["path"].startswith(("/v1/", "/sign-", "/enter")):
            return None
        if scope["method"] not in LOOKUPS and IN_A_DRAFT.fullmatch(scope["path"]):
            return self.drafts
        return self.reads if scope["method"] in LOOKUPS or scope["path"] in BATCHES else self.writes

    async def count(self, scope: Scope, rate: RateLimitItem, *, cost: int = 1) -> Counted:
        """Count a request. A cost of 0 only looks up how many more are allowed."""
        client = await _client(scope)
        if self.shared is not None and time.monotonic() >= self.asked_again_at:
            found = await self._shared_hit(self.shared, rate, client, cost)
            if found is not None:
                allowed, remaining, until = found
                return Counted(allowed, remaining, max(1, int(until - time.time()) + 1), self._own[id(rate)].policy)
        if self.in_shop and rate is self.writes and (shop := scope["app"].state.shop) is not None:
            with suppress(Refusal):  # a shop database that takes no writes now: nothing is written anyway
                allowed, remaining, until = await asyncio.to_thread(
                    write_rate.hit, shop, " ".join(client), rate.amount, rate.get_expiry(), cost
                )
                return Counted(allowed, remaining, max(1, int(until - time.time()) + 1), self._own[id(rate)].policy)
        return self.count_here(client, rate, cost)

    def count_here(self, client: Client, rate: RateLimitItem, cost: int) -> Counted:
        """Count a request of a known client in this worker alone."""
        return self._own[id(rate)].hit(client, cost)

    async def _shared_hit(
        self, shared: MovingWindowRateLimiter, rate: RateLimitItem, client: Client, cost: int
    ) -> tuple[bool, int, float] | None:
        """Whether the request is allowed, how many more are, and when the window ends; None if the store cannot be
        reached.
        """
        kinds = {id(self.writes): "write", id(self.batches): "batch", id(self.drafts): "draft"}
        kind = kinds.get(id(rate), "read")
        try:
            return await asyncio.to_thread(_hit, shared, rate, (kind, *client), cost)
        except StorageError as error:
            self.asked_again_at = time.monotonic() + STORE_LOST_S
            self.logger.warning("rate_store", refused=type(error.storage_error).__name__, counted="in this worker")
            return None

    async def take(self, scope: Scope, questions: int) -> None:
        """Count the questions of a batch, which count towards the rate of batches and that of lookups, if there are
        such rates. Raises TooMany."""
        for rate, cost in ((self.batches, questions), (self.reads, questions - 1)):  # the request has counted for one
            if rate is None or cost < 1:
                continue
            counted = await self.count(scope, rate, cost=cost)
            if not counted.allowed:
                detail = (
                    f"At most {rate.amount} questions in {rate.get_expiry()} s from one client; this has {questions}."
                )
                raise TooMany(detail, {**_as_text(counted.headers()), "Retry-After": str(counted.wait_s)})


class TooMany(Exception):
    """A batch beyond the rate (429), with the header lines that say when there is room."""

    def __init__(self, detail: str, headers: dict[str, str]) -> None:
        super().__init__(detail)
        self.detail, self.headers = detail, headers


class Rates:
    """ASGI app. Above the rate it sends 429 with Retry-After; every counted answer has the RateLimit headers."""

    def __init__(self, app: ASGIApp, counter: RateCounter) -> None:
        self.app = app
        self.counter = counter

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        rate = self.counter.rate_of(scope) if scope["type"] == "http" else None
        if rate is None:
            await self.app(scope, receive, send)
            return
        counted = await self.counter.count(scope, rate)
        headers = counted.headers()
        if not counted.allowed:
            detail = f"One client may send at most {rate.amount} of these requests in {rate.get_expiry()} s."
            more = {**_as_text(headers), "Retry-After": str(counted.wait_s)}
            await problem_response(scope, "too-many", detail, headers=more)(scope, receive, send)
            return

        async def send_counted(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message["headers"], *headers]}
            await send(message)

        await self.app(scope, receive, send_counted)


def _as_text(headers: RateHeaders) -> dict[str, str]:
    return {name.decode(): value.decode() for name, value in headers}


async def _client(scope: Scope) -> Client:
    lines = dict(scope["headers"])
    if (b"authorization" in lines or has_session_cookie(scope["headers"])) and (key := await key_id(scope)) is not None:
        return "key", key
    return address_of(scope)


def address_of(scope: Scope) -> Client:
    """The client of a request without a key."""
    client: Any = scope.get("client")
    return (client[0] if client else "local",)


def _store(url: str) -> Any:
    """Check that the client library of a shared store is installed: `redis` for `redis://`. Raises if it is not."""
    patience = {"socket_connect_timeout": 1, "socket_timeout": 1} if url.startswith(("redis", "valkey")) else {}
    options: JsonObject = {"wrap_exceptions": True, **patience}
    return storage_from_string(url, **options)


def _hit(limiter: MovingWindowRateLimiter, rate: RateLimitItem, client: Client, cost: int) -> tuple[bool, int, float]:
    allowed = limiter.hit(rate, *client, cost=cost) if cost else True
    window = limiter.get_window_stats(rate, *client)
    return allowed, window.remaining, window.reset_time
