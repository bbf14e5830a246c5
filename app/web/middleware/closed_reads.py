"""Where lookups are not open, every address of the interface takes a key with the scope `read`."""

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from app.errors import Refusal, Unauthorised
from app.web.access import caller_of
from app.web.problem import refused


class ClosedReads:
    """Pure ASGI; only added where LEGWORK_OPEN_READS is false."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and scope["path"].startswith("/v1/"):
            try:
                caller = await caller_of(Request(scope))
                if caller is None:
                    raise Unauthorised("this takes a key: Authorization: Bearer …")
                if not (caller.may("read") or caller.may("edit") or caller.may("bench")):
                    caller.require("read")
            except Refusal as refusal:
                await refused(scope, refusal)(scope, receive, send)
                return
        await self.app(scope, receive, send)
