"""Lets web pages of the other origins that the operator lists read our answers (CORS, in the Fetch standard)."""

from collections.abc import Sequence

from starlette.middleware.cors import CORSMiddleware
from starlette.types import ASGIApp

EXPOSED = (
    "ETag", "Link", "Location", "Retry-After", "RateLimit", "RateLimit-Policy", "X-Request-Id", "Deprecation", "Sunset",
)  # fmt: skip
"""The response headers that a page may read; browsers hide all others but a few safe ones."""
TAKEN = ("Authorization", "Content-Type", "Idempotency-Key", "If-Match", "If-None-Match", "X-Request-Id")
"""The request headers that a page may send."""


class CrossOrigin(CORSMiddleware):
    """ASGI app outside everything else. Cached answers are the same for every origin, and a preflight, which never
    carries a key, is answered before keys are checked.

    Cookies are never allowed, so no page can act as a signed-in browser; a page that writes must send a key. Browsers
    ask before a page may access a private network: listed origins may, `*` may not.
    """

    def __init__(self, app: ASGIApp, origins: Sequence[str]) -> None:
        super().__init__(
            app,
            allow_origins=origins,
            allow_methods=("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"),
            allow_headers=TAKEN,
            allow_credentials=False,
            allow_private_network="*" not in origins,
            expose_headers=EXPOSED,
        )
