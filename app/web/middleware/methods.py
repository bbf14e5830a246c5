"""Answers HEAD as GET without the body, and OPTIONS with the allowed methods, so that no route has to."""

from collections.abc import Callable

from starlette.responses import Response
from starlette.routing import BaseRoute, Match
from starlette.types import ASGIApp, Message, Receive, Scope, Send

METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")


def allowed(routes: list[BaseRoute], scope: Scope) -> list[str]:
    """The methods that routes accept at this path, with HEAD and OPTIONS; empty if there are none."""
    found = [method for method in METHODS if _takes(routes, {**scope, "method": method})]
    if not found:
        return []
    return [*found, *(["HEAD"] if "GET" in found else []), "OPTIONS"]


def _takes(routes: list[BaseRoute], scope: Scope) -> bool:
    return any(route.matches(scope)[0] is Match.FULL for route in routes)


class Methods:
    """ASGI app. `routes` is a function, so that routes added later count too."""

    def __init__(self, app: ASGIApp, routes: Callable[[], list[BaseRoute]]) -> None:
        self.app = app
        self.routes = routes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and scope["method"] == "HEAD":
            await self.app({**scope, "method": "GET"}, receive, _without_body(send))
        elif scope["type"] == "http" and scope["method"] == "OPTIONS" and (taken := allowed(self.routes(), scope)):
            await Response(status_code=204, headers={"Allow": ", ".join(taken)})(scope, receive, send)
        else:
            await self.app(scope, receive, send)


def _without_body(send: Send) -> Send:
    async def send_head(message: Message) -> None:
        if message["type"] == "http.response.body":
            message = {**message, "body": b""}
        await send(message)

    return send_head
