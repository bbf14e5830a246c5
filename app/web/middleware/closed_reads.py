"""Where lookups are not open, every address takes a key but those that hold nothing of the catalogue."""

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from app.errors import Refusal, Unauthorised
from app.web.access import caller_of
from app.web.representation.problem_forms import refused

ALWAYS_OPEN = ("/healthz", "/readyz", "/openapi.json", "/docs", "/problems", "/static", "/sign-in", "/sign-out")


class ClosedReads:
    """Pure ASGI; only added where LEGWORK_OPEN_READS is false. A key of any scope may read."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and not _is_open(scope["path"]):
            try:
                if await caller_of(Request(scope)) is None:
                    raise Unauthorised("this takes a key: Authorization: Bearer …")
            except Refusal as refusal:
                await refused(scope, refusal)(scope, receive, send)
                return
        await self.app(scope, receive, send)


def _is_open(path: str) -> bool:
    return any(path == open or path.startswith((f"{open}/", f"{open}.")) for open in ALWAYS_OPEN)
