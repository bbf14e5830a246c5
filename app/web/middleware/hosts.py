"""Answers only for the hosts of this service: a forged Host can then never end in a link, a redirect or a cache."""

from collections.abc import Sequence

from starlette.types import ASGIApp, Receive, Scope, Send

from app.web.representation.problem_forms import problem_response


class Hosts:
    """Pure ASGI. `allowed` are names without port; `*.example.org` takes any name below it, `*` everything."""

    def __init__(self, app: ASGIApp, allowed: Sequence[str]) -> None:
        self.app = app
        self.any = "*" in allowed
        self.exact = {name.lower() for name in allowed if not name.startswith("*")}
        self.below = tuple(name[1:].lower() for name in allowed if name.startswith("*."))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and not self._is_ours(scope):
            response = problem_response(
                scope,
                "host-unknown",
                "The Host header is missing, sent twice, or not one this service answers for (LEGWORK_ALLOWED_HOSTS).",
            )
            await response(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def _is_ours(self, scope: Scope) -> bool:
        hosts = [value for name, value in scope["headers"] if name == b"host"]
        if len(hosts) != 1:
            return False
        name = _without_port(hosts[0].decode("latin-1").lower())
        return bool(name) and (self.any or name in self.exact or name.endswith(self.below or ("\0",)))


def _without_port(host: str) -> str:
    name, colon, port = host.rpartition(":")
    return name if colon and port.isascii() and port.isdigit() else host
