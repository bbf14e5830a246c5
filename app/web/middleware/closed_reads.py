"""If lookups are closed, requires a key for every address except those that show nothing of the catalogue."""

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from app.errors import Refusal, Unauthorised
from app.web.access import NO_KEY, caller_of
from app.web.representation.problem_forms import refused

ALWAYS_OPEN = ("/healthz", "/readyz", "/openapi.json", "/docs", "/problems", "/static", "/sign-in", "/sign-out")


class ClosedReads:
    """ASGI app, only added if LEGWORK_OPEN_READS is false. A key of any scope may read."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        refusal = await self.refusal(scope) if scope["type"] == "http" else None
        if refusal is not None:
            await refused(scope, refusal)(scope, receive, send)
            return
        await self.app(scope, receive, send)

    async def refusal(self, scope: Scope) -> Refusal | None:
        """The reason a request may not read; None if it may."""
        if _is_open(scope["path"]):
            return None
        try:
            return Unauthorised(NO_KEY) if await caller_of(Request(scope)) is None else None
        except Refusal as refusal:
            return refusal


def _is_open(path: str) -> bool:
    return any(path == open or path.startswith((f"{open}/", f"{open}.")) for open in ALWAYS_OPEN)
