"""How often one client may ask: writes and dry runs have a rate, lookups where one is set. Counted per worker."""

import time
from typing import Any

from limits import RateLimitItem, parse
from limits.storage import MemoryStorage, storage_from_string
from limits.strategies import MovingWindowRateLimiter
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.settings import Settings
from app.web.problem import problem_response

LOOKUPS = {"GET", "HEAD", "OPTIONS"}
BATCHES = {"/v1/batch", "/v1/job-cards"}  # POST only because their questions do not fit into an address


class Rates:
    """Pure ASGI. Beyond the rate 429 with Retry-After; RateLimit and RateLimit-Policy on every counted answer.

    A client is its address: a forged X-Forwarded-For changes nothing unless a trusted proxy sent it.
    """

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self.limiter = MovingWindowRateLimiter(storage_from_string(settings.rate_store))
        self.reads = parse(settings.read_rate) if settings.read_rate else None
        self.writes = parse(settings.write_rate)
        self.seen = 0.0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or not scope["path"].startswith("/v1/"):
            await self.app(scope, receive, send)
            return
        lookup = scope["method"] in LOOKUPS or scope["path"] in BATCHES
        rate = self.reads if lookup else self.writes
        if rate is None:
            await self.app(scope, receive, send)
            return
        self._mind_the_clock()
        client: Any = scope.get("client")
        who = ("read" if lookup else "write", client[0] if client else "local")
        allowed = self.limiter.hit(rate, *who)
        window = self.limiter.get_window_stats(rate, *who)
        wait = max(1, int(window.reset_time - time.time()) + 1)
        headers = _headers(rate, window.remaining, wait)
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

    def _mind_the_clock(self) -> None:
        """A clock that was set back would leave clients shut out until it has caught up: counting begins anew."""
        now = time.time()
        if now < self.seen - 1 and isinstance(self.limiter.storage, MemoryStorage):
            self.limiter.storage.reset()
        self.seen = now


def _headers(rate: RateLimitItem, remaining: int, wait: int) -> dict[str, str]:
    return {
        "RateLimit-Policy": f'"client";q={rate.amount};w={rate.get_expiry()}',
        "RateLimit": f'"client";r={remaining};t={wait}',
    }
