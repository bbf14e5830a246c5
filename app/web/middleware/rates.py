"""How often one client may ask: writes and dry runs have a rate, lookups where one is set.

Counted in each worker, or for all in a shared store; while that cannot be reached each worker counts for itself.
"""

import asyncio
import time
from typing import Any

from limits import RateLimitItem, parse
from limits.errors import StorageError
from limits.storage import MemoryStorage, storage_from_string
from limits.strategies import MovingWindowRateLimiter
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from structlog.typing import FilteringBoundLogger

from app.settings import Settings
from app.web.access import key_id
from app.web.representation.problem_forms import problem_response

STORE_LOST_S = 5
"""How long a shared store that could not be reached is left alone."""
LOOKUPS = {"GET", "HEAD", "OPTIONS"}
BATCHES = {"/v1/batch", "/v1/job-cards"}  # POST only because their questions do not fit into an address


class Rates:
    """Pure ASGI. Beyond the rate 429 with Retry-After; RateLimit and RateLimit-Policy on every counted answer.

    A client is its key, wherever it is sent from, and without one in force its address: a forged X-Forwarded-For
    changes nothing unless a trusted proxy sent it.
    """

    def __init__(self, app: ASGIApp, settings: Settings, logger: FilteringBoundLogger) -> None:
        self.app = app
        self.logger = logger
        store = _store(settings.rate_store)
        self.own = MovingWindowRateLimiter(MemoryStorage())
        self.shared = None if isinstance(store, MemoryStorage) else MovingWindowRateLimiter(store)
        self.asked_again_at = 0.0
        self.reads = parse(settings.read_rate) if settings.read_rate else None
        self.writes = parse(settings.write_rate)
        self.seen = 0.0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or not scope["path"].startswith(("/v1/", "/sign-")):
            await self.app(scope, receive, send)
            return
        lookup = scope["method"] in LOOKUPS or scope["path"] in BATCHES
        rate = self.reads if lookup else self.writes
        if rate is None:
            await self.app(scope, receive, send)
            return
        self._mind_the_clock()
        who = ("read" if lookup else "write", *await _client(scope))
        allowed, remaining, reset_time = await self._counted(rate, who)
        wait = max(1, int(reset_time - time.time()) + 1)
        headers = _headers(rate, remaining, wait)
        if not allowed:
            detail = f"At most {rate.amount} of these in {rate.get_expiry()} s from one client."
            headers = {**headers, "Retry-After": str(wait)}
            await problem_response(scope, "too-many", detail, headers=headers)(scope, receive, send)
            return

        async def send_counted(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(headers)
            await send(message)

        await self.app(scope, receive, send_counted)

    async def _counted(self, rate: RateLimitItem, who: tuple[str, ...]) -> tuple[bool, int, float]:
        """Whether this one is allowed, how many more are, and when the window ends."""
        if self.shared is not None and time.monotonic() >= self.asked_again_at:
            try:
                return await asyncio.to_thread(_hit, self.shared, rate, who)
            except StorageError as error:
                self.asked_again_at = time.monotonic() + STORE_LOST_S
                self.logger.warning("rate_store", refused=type(error.storage_error).__name__, counted="in this worker")
        return _hit(self.own, rate, who)

    def _mind_the_clock(self) -> None:
        """A clock that was set back would leave clients shut out until it has caught up: counting begins anew."""
        now = time.time()
        if now < self.seen - 1:
            self.own.storage.reset()
        self.seen = now


async def _client(scope: Scope) -> tuple[str, ...]:
    if (key := await key_id(scope)) is not None:
        return "key", key
    client: Any = scope.get("client")
    return (client[0] if client else "local",)


def _store(url: str) -> Any:
    """Raises where the client library of a shared store is not installed: `redis` for `redis://`."""
    patience = {"socket_connect_timeout": 1, "socket_timeout": 1} if url.startswith(("redis", "valkey")) else {}
    options: dict[str, Any] = {"wrap_exceptions": True, **patience}
    return storage_from_string(url, **options)


def _hit(limiter: MovingWindowRateLimiter, rate: RateLimitItem, who: tuple[str, ...]) -> tuple[bool, int, float]:
    allowed = limiter.hit(rate, *who)
    window = limiter.get_window_stats(rate, *who)
    return allowed, window.remaining, window.reset_time


def _headers(rate: RateLimitItem, remaining: int, wait: int) -> dict[str, str]:
    return {
        "RateLimit-Policy": f'"client";q={rate.amount};w={rate.get_expiry()}',
        "RateLimit": f'"client";r={remaining};t={wait}',
    }
