"""Compression, with the ETag of the plain body kept as a weak one: two encodings are never called the same bytes."""

import re
from functools import lru_cache

from starlette.datastructures import MutableHeaders
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_GZIP = re.compile(rb"(?:x-)?gzip(?:\s*;\s*q=([0-9.]+))?", re.IGNORECASE)
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
        if not any(name == b"accept-encoding" and accepts_gzip(value) for name, value in scope["headers"]):
            await self.plain(scope, receive, _telling(send))
            return
        if b"gzip" not in next(value for name, value in scope["headers"] if name == b"accept-encoding"):
            # Starlette reads the first line only, and knows the coding in small letters only.
            scope = {**scope, "headers": [(b"accept-encoding", b"gzip"), *scope["headers"]]}

        async def send_weakened(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(raw=list(message["headers"]))
                tag = headers.get("etag", "")
                if tag.startswith('"') and "content-encoding" in headers:
                    headers["etag"] = f"W/{tag}"
                    message = {**message, "headers": headers.raw}
            await send(message)

        await self.packed(scope, receive, send_weakened)


@lru_cache(maxsize=256)
def accepts_gzip(accept_encoding: bytes) -> bool:
    """Whether an Accept-Encoding header names gzip (or its alias x-gzip) with a weight above 0 (RFC 9110, 12.5.3).

    `*` alone gets the answer as it is, which it allows too.
    """
    if b"gzip" not in accept_encoding.lower():
        return False
    found = [_GZIP.fullmatch(part.strip()) for part in accept_encoding.split(b",")]
    weights = [match[1] or b"1" for match in found if match is not None]
    return bool(weights) and any(weight.strip(b"0.") for weight in weights)


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
