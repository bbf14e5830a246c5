"""Compresses answers. The ETag stays but becomes weak, because the bytes differ between encodings."""

import re
from functools import lru_cache

from starlette.datastructures import MutableHeaders
from starlette.middleware.gzip import DEFAULT_EXCLUDED_CONTENT_TYPES as NEVER_PACKED
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SMALLEST = 1_000
LEVEL = 5
_CODING = re.compile(r"\s*([\w!#$%&'*+.^`|~-]+)\s*(?:;\s*[qQ]\s*=\s*([01](?:\.\d{0,3})?)\s*)?")


class Compression:
    """ASGI app around Starlette's GZip; bodies under 1 kB are not compressed."""

    def __init__(self, app: ASGIApp) -> None:
        self.plain = app
        self.packed = GZipMiddleware(app, minimum_size=SMALLEST, compresslevel=LEVEL)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.plain(scope, receive, send)
            return
        lines = scope["headers"]
        if not takes_gzip(b",".join([value for name, value in lines if name == b"accept-encoding"])):
            await self.plain(scope, receive, _varying(send))
            return

        async def send_weakened(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(raw=list(message["headers"]))
                tag = headers.get("etag", "")
                if tag.startswith('"') and "content-encoding" in headers:
                    headers["etag"] = f"W/{tag}"
                    message = {**message, "headers": headers.raw}
            await send(message)

        # Starlette looks for the very letters "gzip" in the line.
        lines = [*(line for line in lines if line[0] != b"accept-encoding"), (b"accept-encoding", b"gzip")]
        await self.packed({**scope, "headers": lines}, receive, send_weakened)


@lru_cache(maxsize=1_024)
def takes_gzip(accept_encoding: bytes | None) -> bool:
    """Whether the client accepts gzip (RFC 9110, 12.5.3): it is listed with a weight above 0, or covered by `*`.

    Without Accept-Encoding an answer is sent uncompressed.
    """
    weights: dict[str, float] = {}
    for element in (accept_encoding or b"").decode("latin-1").split(","):
        if match := _CODING.fullmatch(element):
            coding, weight = match.groups()
            weights.setdefault(coding.lower().replace("x-gzip", "gzip"), float(weight or 1))
    return weights.get("gzip", weights.get("*", 0.0)) > 0


def _varying(send: Send) -> Send:
    """Wraps `send` to add Vary to answers that would be compressed for other clients."""

    async def send_varying(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(raw=list(message["headers"]))
            if _would_be_packed(message["status"], headers):
                headers.add_vary_header("Accept-Encoding")
                message = {**message, "headers": headers.raw}
        await send(message)

    return send_varying


def _would_be_packed(status: int, headers: MutableHeaders) -> bool:
    """Whether the answer is compressed for a client that accepts gzip."""
    if status in (204, 206, 304) or headers.get("content-type", "").partition(";")[0] in NEVER_PACKED:
        return False
    return int(headers.get("content-length", SMALLEST)) >= SMALLEST
