"""The invented demonstration under /demo: a service with its own catalogue, without writes and keys.

The catalogue is a file in a temporary folder, which a child process builds for the first visitor. This module rewrites
every link in its answers to /demo, so nothing of it can reach the shop's own catalogue.
"""

import asyncio
import re
import tempfile
from collections.abc import Callable, MutableMapping
from pathlib import Path
from time import perf_counter
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.errors import Refusal, Unavailable
from app.exchange import child
from app.settings import Settings
from app.web.representation.problem_forms import problem_response, refused

PREFIX = "/demo"
SEED_DATA = Path(__file__).parents[2] / "seed_data"
CACHE_BYTES = 2_000_000
_READS = ("GET", "HEAD")
_WITHHELD = (b"cookie", b"authorization", b"accept-encoding")
_LINKS = {
    "text/html": (re.compile(rb'(href|src|action)="/(?!/|" rel="up")'), rb'\1="/demo/'),
    "application/json": (re.compile(rb'"/(?=(?:v1|problems|sign-in|openapi\.json|docs)\b)'), rb'"/demo/'),
    "text/plain": (re.compile(rb"(?<![\w./:-])/(?=(?:v1|problems)/)"), rb"/demo/"),
}
"""By media type: how a link to an address of the service begins, and its replacement."""


def is_below(scope: Scope) -> bool:
    """Whether a request is for the demonstration."""
    return scope["type"] == "http" and f"{scope['path']}/".startswith(f"{PREFIX}/")


class Demonstration:
    """ASGI app. `build` makes a service from settings and a catalogue."""

    def __init__(self, settings: Settings, build: Callable[[Settings, Catalogue], ASGIApp]) -> None:
        self._settings = settings
        self._build = build
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._making: asyncio.Future[ASGIApp] | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["method"] not in _READS:
            text = "The demonstration is read-only. To enter your own data, use your own catalogue."
            response = problem_response(scope, "method-not-allowed", text, headers={"Allow": ", ".join(_READS)})
            await response(scope, receive, send)
            return
        begun = perf_counter()
        try:
            service = await self._service()
        except Refusal as refusal:
            await refused(scope, refusal)(scope, receive, send)
            return
        state = scope.get("state", {})
        if "came" in state:
            state["came"] += perf_counter() - begun  # making it is no queue on the loop
        await service(_inner(scope), receive, _Led(send))

    async def _service(self) -> ASGIApp:
        """The service, built for the first request; others wait for it."""
        if self._making is None or (self._making.done() and self._making.exception() is not None):
            self._making = asyncio.ensure_future(self._made())
        return await asyncio.shield(self._making)

    async def _made(self) -> ASGIApp:
        if not SEED_DATA.is_dir():
            raise Unavailable("This installation does not include the demonstration data.")
        self._folder = tempfile.TemporaryDirectory(prefix="legwork-demo-")
        files = {name: f"sqlite:///{Path(self._folder.name) / name}.db" for name in ("catalogue", "shop")}
        settings = self._settings.model_copy(
            update={
                "database_url": files["catalogue"],
                "shop_database_url": files["shop"],
                "read_url": None,
                "cache_bytes": min(CACHE_BYTES, self._settings.cache_bytes),
            }
        )
        reason = ("--reason", "demonstration data")
        await child.run(settings, "load", str(SEED_DATA), *reason, timeout_s=settings.import_timeout)
        return self._build(settings, Catalogue(Database(settings.database_url)))


def _inner(scope: Scope) -> dict[str, object]:
    """The request for the demonstration's service: without the /demo prefix, cookie and key."""
    path = scope["path"].removeprefix(PREFIX) or "/"
    raw = scope["raw_path"].removeprefix(PREFIX.encode()) or b"/"
    return {
        **scope,
        "path": path,
        "raw_path": raw,
        "root_path": PREFIX,
        "headers": [(name, value) for name, value in scope["headers"] if name.lower() not in _WITHHELD],
        "state": dict(scope.get("state") or {}),
    }


class _Led:
    """Sends an answer with its links rewritten to /demo. An answer without links is passed through unchanged."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self._start: MutableMapping[str, Any] | None = None
        self._pattern: tuple[re.Pattern[bytes], bytes] | None = None
        self._body = b""

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = [(name.lower(), _located(name.lower(), value)) for name, value in message["headers"]]
            media_type = next((value for name, value in headers if name == b"content-type"), b"").decode("latin-1")
            plain = media_type.partition(";")[0].replace("application/problem+json", "application/json")
            self._pattern = _LINKS.get(plain)
            if self._pattern is not None:
                headers = [(name, value) for name, value in headers if name != b"content-length"]
            self._start = {**message, "headers": headers}
        elif message["type"] != "http.response.body" or self._pattern is None:
            await self._begin(())
            await self._send(message)
        else:
            self._body += message.get("body", b"")
            if not message.get("more_body"):
                pattern, replacement = self._pattern
                body = pattern.sub(replacement, self._body)
                await self._begin([(b"content-length", str(len(body)).encode())] if body else ())
                await self._send({"type": "http.response.body", "body": body})

    async def _begin(self, more: Any) -> None:
        if self._start is not None:
            start, self._start = self._start, None
            await self._send({**start, "headers": [*start["headers"], *more]})


def _located(name: bytes, value: bytes) -> bytes:
    """Rewrite the link in a header to /demo."""
    if name == b"location" and value.startswith(b"/"):
        return PREFIX.encode() + value
    return re.sub(rb"</(?=v1|problems)", b"</demo/", value) if name == b"link" else value
