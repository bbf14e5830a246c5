"""Counts and times every request, outside everything else, so that cached answers count too."""

from collections.abc import Awaitable
from pathlib import Path
from time import perf_counter
from typing import Any

from starlette.types import Message, Receive, Scope, Send

from app.json_types import JsonObject
from app.web.metrics import NO_ROUTE, Counts
from app.web.middleware.requests import NO_ANSWER

_MOST_PATHS = 20_000


class MeasuredApp:
    """ASGI app. A route leaves its template in `state["route"]`. A cached answer reaches no route, so it uses the
    template recorded earlier for its path.
    """

    def __init__(self, app: Any, folder: Path | None = None) -> None:
        self.app = app
        self.counts: Counts = Counts(folder)
        app.state.metrics = self.counts
        self.templates: dict[str, str] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        begun = perf_counter()
        state: JsonObject = scope.setdefault("state", {})
        status = NO_ANSWER

        def heard(message: Message) -> Awaitable[None]:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            return send(message)

        counts = self.counts
        counts.in_flight += 1
        try:
            await self.app(scope, receive, heard)
        finally:
            counts.in_flight -= 1
            route = state.get("route")
            if route is None or scope["path"] not in self.templates:
                route = self._remembered(scope["path"], route, status)
            counts.add(route, scope["method"], status, perf_counter() - begun)

    def _remembered(self, path: str, route: str | None, status: int) -> str:
        if route is None:
            return self.templates.get(path, NO_ROUTE) if status in (200, 304) else NO_ROUTE
        if status == 200:
            if len(self.templates) >= _MOST_PATHS:
                self.templates.clear()
            self.templates[path] = route
        return route
