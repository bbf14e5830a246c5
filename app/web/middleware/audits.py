"""Records the status of every write in the audit log before the answer is sent."""

import asyncio

from starlette.types import ASGIApp, Message, Receive, Scope, Send
from structlog.typing import FilteringBoundLogger

from app.access import audit
from app.errors import Refusal
from app.web.access import write_context
from app.web.middleware.rates import BATCHES, LOOKUPS

STORES_NOTHING = {*BATCHES, "/v1/checks"}


class Audits:
    """ASGI app around everything that may refuse a write, except the rate limit: otherwise anyone could fill the disk.

    If an entry cannot be completed, the error is logged: the write has already been done or refused, and the client is
    told which.
    """

    def __init__(self, app: ASGIApp, logger: FilteringBoundLogger) -> None:
        self.app = app
        self.logger = logger

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or not may_store(scope):
            await self.app(scope, receive, send)
            return
        answered = False

        async def send_noted(message: Message) -> None:
            nonlocal answered
            if message["type"] == "http.response.start" and not answered:
                answered = True
                await self._note(scope, message["status"])
            await send(message)

        try:
            await self.app(scope, receive, send_noted)
        finally:
            if not answered:
                await self._note(scope, 500)

    async def _note(self, scope: Scope, status: int) -> None:
        write, shop = write_context(scope), scope["app"].state.shop
        if shop is None or (write.is_one_of_many and status < 400):
            return

        def entry() -> None:
            if write.number is not None:
                audit.ended(shop, write.number, status, reason=write.reason, revision=write.revision)
            else:
                audit.refused(
                    shop, write.caller, status, method=scope["method"], path=scope["path"],
                    request_id=scope["state"].get("request_id"), reason=write.reason,
                )  # fmt: skip

        try:
            await asyncio.to_thread(entry)
        except Refusal as refusal:
            request_id = scope["state"].get("request_id")
            self.logger.error("audit", request_id=request_id, status=status, refused=refusal.detail)


def may_store(scope: Scope) -> bool:
    """Whether a request writes, judged by its method and path."""
    path: str = scope["path"]
    if scope["method"] in LOOKUPS or not path.startswith(("/v1/", "/sign-", "/enter")):
        return False
    return path.partition(".")[0] not in STORES_NOTHING
