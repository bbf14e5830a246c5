"""Answers only the service's own hosts, so that a forged Host never gets into a link, a redirect or a cache."""

import re
from collections.abc import Sequence

from starlette.types import ASGIApp, Receive, Scope, Send

from app.web.representation.problem_forms import problem_response

_NAME = r"[a-z0-9_](?:[a-z0-9_-]{0,62})"
_HOST = re.compile(rf"({_NAME}(?:\.{_NAME})*|\[[0-9a-f:.]{{2,45}}\])(?::[0-9]{{1,5}})?")
"""A host name (RFC 1123, 2.1, and the underscore that some networks use) or an address, with an optional port.

This is stricter than RFC 3986, which allows any `sub-delims` in a host; no machine name contains them.
"""


class Hosts:
    """ASGI app. `allowed` are names without port; `*.example.org` allows every subdomain, `*` every well-formed name.

    A Host that is not a name or an address is always refused, because pages repeat it in their links.
    """

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
                "This service does not answer for the host you requested (the Host header is missing, repeated "
                "or not allowed). To allow a host, add it to the setting LEGWORK_ALLOWED_HOSTS.",
            )
            await response(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def _is_ours(self, scope: Scope) -> bool:
        hosts = [value for name, value in scope["headers"] if name == b"host"]
        if len(hosts) != 1:
            return False
        found = _HOST.fullmatch(hosts[0].decode("latin-1").lower())
        if found is None:
            return False
        name = found[1]
        return self.any or name in self.exact or name.endswith(self.below)
