"""How often one client may ask: writes and dry runs have a rate, lookups have one if it is set.

Counted in each worker, or for all of them in a shared store; while that cannot be reached each worker counts alone.
"""

import asyncio
import time
from collections import deque
from typing import Any, NamedTuple

from limits import RateLimitItem, parse
from limits.errors import StorageError
from limits.storage import MemoryStorage, storage_from_string
from limits.strategies import MovingWindowRateLimiter
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from structlog.typing import FilteringBoundLogger

from app.settings import Settings
from app.web.access import key_id
from app.web.representation.problem_forms import problem_response
from app.web.session_cookie import has_session_cookie

STORE_LOST_S = 5
"""Seconds for which a shared store that could not be reached is left alone."""
LOOKUPS = {"GET", "HEAD", "OPTIONS"}
BATCHES = {"/v1/batch", "/v1/job-cards"}  # POST only because their questions do not fit into an address

RateHeaders = list[tuple[bytes, bytes]]


class Counted(NamedTuple):
    """Whether a request is within its rate, how many more are, and in how many seconds there are more."""

    rate: RateLimitItem
    allowed: bool
    remaining: int
    wait_s: int

    def headers(self) -> RateHeaders:
        """`RateLimit` and `RateLimit-Policy`, as the answer carries them."""
        policy = f'"client";q={self.rate.amount};w={self.rate.get_expiry()}'
        return [
            (b"ratelimit-policy", policy.encode()),
            (b"ratelimit", b'"client";r=%d;t=%d' % (self.remaining, self.wait_s)),
        ]


class ClientWindow:
    """The requests of each client in the last `seconds`, of which there may be `most`; for one worker.

    A hit costs a fifth of what the library's own store in memory takes for a hit and a look (1.2 against 6 to 11 µs).
    """

    def __init__(self, most: int, seconds: int) -> None:
        self.most, self.seconds = most, seconds
        self._hits: dict[tuple[str, ...], deque[float]] = {}
        self._seen = self._swept = 0.0

    def hit(self, client: tuple[str, ...], cost: int) -> tuple[bool, int, float]:
        """Count `cost` requests, if there is room: whether there was, how many more there is room for, and when the
        oldest no longer counts (seconds of the wall clock)."""
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
            hits.extend((now,) * cost)
        return allowed, self.most - len(hits), (hits[0] if hits else now) + self.seconds

    def _sweep(self, now: float) -> None:
        """Forget clients that have not asked for as long as a request counts."""
        self._swept = now
        self._hits = {client: hits for client, hits in self._hits.items() if hits and hits[-1] >= now - self.seconds}


class RateCounter:
    """Counts requests by client: by its key wherever it is sent from, and without one in force by its address. A
    forged X-Forwarded-For changes nothing unless a trusted proxy sent it."""

    def __init__(self, settings: Settings, logger: FilteringBoundLogger) -> None:
        self.logger = logger
        store = _store(settings.rate_store)
        self.shared = None if isinstance(store, MemoryStorage) else MovingWindowRateLimiter(store)
        self.asked_again_at = 0.0
        self.reads = parse(settings.read_rate) if settings.read_rate else None
        self.writes = parse(settings.write_rate)
        self._own = {
            rate: ClientWindow(rate.amount, rate.get_expiry()) for rate in (self.reads, self.writes) if rate is not None
        }

    def rate_of(self, scope: Scope) -> RateLimitItem | None:
        """The rate that a request counts towards; None if it has none."""
        if not scope["path"].startswith(("/v1/", "/sign-")):
            return None
        return self.reads if scope["method"] in LOOKUPS or scope["path"] in BATCHES else self.writes

    async def count(self, scope: Scope, rate: RateLimitItem, *, cost: int = 1) -> Counted:
        """Count a request. With a cost of 0 it is only looked up how many more are allowed."""
        kind = "write" if rate is self.writes else "read"
        allowed, remaining, until = await self._hit(rate, (kind, *await _client(scope)), cost)
        return Counted(rate, allowed, remaining, max(1, int(until - time.time()) + 1))

    async def _hit(self, rate: RateLimitItem, client: tuple[str, ...], cost: int) -> tuple[bool, int, float]:
        if self.shared is not None and time.monotonic() >= self.asked_again_at:
            try:
                return await asyncio.to_thread(_shared_hit, self.shared, rate, client, cost)
            except StorageError as error:
                self.asked_again_at = time.monotonic() + STORE_LOST_S
                self.logger.warning("rate_store", refused=type(error.storage_error).__name__, counted="in this worker")
        return self._own[rate].hit(client, cost)


class Rates:
    """Pure ASGI. Beyond the rate 429 with Retry-After; RateLimit and RateLimit-Policy on every counted answer."""

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
            detail = f"At most {rate.amount} of these in {rate.get_expiry()} s from one client."
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


async def _client(scope: Scope) -> tuple[str, ...]:
    has_key = has_session_cookie(scope["headers"]) or any(name == b"authorization" for name, _ in scope["headers"])
    if has_key and (key := await key_id(scope)) is not None:
        return "key", key
    client: Any = scope.get("client")
    return (client[0] if client else "local",)


def _store(url: str) -> Any:
    """Raises if the client library of a shared store is not installed: `redis` for `redis://`."""
    patience = {"socket_connect_timeout": 1, "socket_timeout": 1} if url.startswith(("redis", "valkey")) else {}
    options: dict[str, Any] = {"wrap_exceptions": True, **patience}
    return storage_from_string(url, **options)


def _shared_hit(
    limiter: MovingWindowRateLimiter, rate: RateLimitItem, client: tuple[str, ...], cost: int
) -> tuple[bool, int, float]:
    allowed = limiter.hit(rate, *client, cost=cost) if cost else True
    window = limiter.get_window_stats(rate, *client)
    return allowed, window.remaining, window.reset_time
