"""Normalises the path: a suffix such as `.csv` chooses the representation, and an encoded slash or NUL is a 404."""

import re

from starlette.types import ASGIApp, Receive, Scope, Send

from app.web.representation.kinds import SUFFIXES
from app.web.representation.problem_forms import problem_response

_SUFFIX = re.compile(rf"(/v1/.*[^/]|/problems(?:/.*[^/])?)\.({'|'.join(SUFFIXES)})")
_NOTHING_OF_OURS = re.compile(rb"%(2f|5c|00)|\\", re.IGNORECASE)


class Paths:
    """ASGI app. `/v1/x/fits.csv` becomes `/v1/x/fits` with `state["suffix"] = "csv"`."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            raw: bytes = scope.get("raw_path") or b""
            if _NOTHING_OF_OURS.search(raw) or "\0" in scope["path"] or not scope["path"].startswith("/"):
                response = problem_response(scope, "not-found", "There is nothing at that address.")
                await response(scope, receive, send)
                return
            if scope["method"] == "GET" and (match := _SUFFIX.fullmatch(scope["path"])):
                path, suffix = match.groups()
                scope["state"]["suffix"] = suffix
                scope = {**scope, "path": path, "raw_path": raw.rpartition(b".")[0]}
        await self.app(scope, receive, send)
