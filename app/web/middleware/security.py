"""Adds the headers that restrict what browsers do with our answers. A response with its own policy keeps it."""

from starlette.types import ASGIApp, Message, Receive, Scope, Send

DATA_POLICY = "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)

_ALWAYS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
)


_OVER_HTTPS = (*_ALWAYS, (b"strict-transport-security", b"max-age=31536000"))
"""RFC 6797: browsers then use https only, for a year. Only a trusted proxy can say that a request came over https."""


class Security:
    """ASGI app: nosniff, no referrer, and a content security policy without unsafe-inline."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = list(message["headers"])
                present = dict(headers)
                if b"content-security-policy" not in present:
                    is_page = present.get(b"content-type", b"").startswith(b"text/html")
                    policy = PAGE_POLICY if is_page else DATA_POLICY
                    headers.append((b"content-security-policy", policy.encode()))
                message = {**message, "headers": [*headers, *(_OVER_HTTPS if scope["scheme"] == "https" else _ALWAYS)]}
            await send(message)

        await self.app(scope, receive, send_guarded)
