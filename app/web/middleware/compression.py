"""Compression, with the ETag of the plain body kept as a weak one: two encodings are never called the same bytes."""

from starlette.datastructures import MutableHeaders
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SMALLEST = 1_000
LEVEL = 5


class Compression:
    """Pure ASGI around Starlette's GZip; bodies under 1 kB stay as they are."""

    def __init__(self, app: ASGIApp) -> None:
        self.plain = app
        self.packed = GZipMiddleware(app, minimum_size=SMALLEST, compresslevel=LEVEL)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.plain(scope, receive, send)
            return
        if not any(name == b"accept-encoding" and b"gzip" in value for name, value in scope["headers"]):
            await self.plain(scope, receive, _telling(send))
            return

        async def send_weakened(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(raw=list(message["headers"]))
                tag = headers.get("etag", "")
                if tag.startswith('"') and "content-encoding" in headers:
                    headers["etag"] = f"W/{tag}"
                    message = {**message, "headers": headers.raw}
            await send(message)

        await self.packed(scope, receive, send_weakened)


def _telling(send: Send) -> Send:
    """`send`, with Vary on what would have been compressed for others."""

    async def send_telling(message: Message) -> None:
        if message["type"] == "http.response.start":
            length = next((value for name, value in message["headers"] if name == b"content-length"), None)
            if length is None or int(length) >= SMALLEST:
                headers = MutableHeaders(raw=list(message["headers"]))
                headers.add_vary_header("Accept-Encoding")
                message = {**message, "headers": headers.raw}
        await send(message)

    return send_telling
