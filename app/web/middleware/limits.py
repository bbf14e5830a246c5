"""Limits on each request: address, headers, body size, time to the first byte, and requests at once."""

import asyncio
import re
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import NoReturn

from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.database.interrupting import GIVEN_UP
from app.errors import TooLarge
from app.settings import Settings
from app.web.middleware.audits import may_store
from app.web.representation.problem_forms import problem_response
from app.web.server.client import ClientConnection

_ALWAYS_ANSWERED = {"/healthz"}
IN_A_CHILD = {"/v1/imports", "/v1/checks", "/v1/export", "/v1/export.sqlite", "/v1/content-hash"}
_MANY = {"/v1/batch", "/v1/job-cards"}  # hundreds of questions; other requests are answered in between
_SLOW = IN_A_CHILD | _MANY
_READS_A_FILE = re.compile(r"/v1/drafts/[^/]+/grids|/enter/drafts/[^/]+/(?:paste|upload)")


class Limits:
    """ASGI app. A body over the limit is refused by its Content-Length, or as soon as it exceeds the limit.

    The connection limits the time to read (`app.web.server.connection`); this clock runs from the complete request to
    the first byte of the answer, so a long export is not cut off. A lookup is cancelled as soon as its client has left,
    together with its database query or child process; a write always finishes.
    """

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app = app
        self.settings = settings
        self.in_flight = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = dict(scope["headers"])
        if refusal := self._refusal(scope, headers):
            slug, detail = refusal
            more = {"Connection": "close"} if slug == "malformed" or b"expect" in headers else {}
            await problem_response(scope, slug, detail, headers=more)(scope, receive, send)
            return
        if self.in_flight >= self.settings.max_in_flight and scope["path"] not in _ALWAYS_ANSWERED:
            response = problem_response(
                scope, "unavailable", "The server is busy with too many requests.", headers={"Retry-After": "1"}
            )
            await response(scope, receive, send)
            return
        self.in_flight += 1
        try:
            await self._timed(scope, receive, send, has_body=_has_body(headers))
        finally:
            self.in_flight -= 1

    def _refusal(self, scope: Scope, headers: Mapping[bytes, bytes]) -> tuple[str, str] | None:
        limit = self.settings
        if len(scope.get("raw_path") or scope["path"]) + len(scope["query_string"]) > limit.max_url_bytes:
            return "url-too-long", f"Path and query may be at most {limit.max_url_bytes} bytes together."
        if b"transfer-encoding" in headers and b"content-length" in headers:
            return "malformed", "Send a Content-Length or a chunked body, not both."  # RFC 9112, 6.1: request smuggling
        lines = scope["headers"]
        if len(lines) > limit.max_headers:
            return "header-too-large", f"A request may have at most {limit.max_headers} header lines."
        if sum(len(name) + len(value) + 4 for name, value in lines) > limit.max_header_bytes:
            return "header-too-large", f"The header lines may be at most {limit.max_header_bytes} bytes together."
        if headers.get(b"content-encoding", b"identity").strip().lower() not in {b"identity", b""}:
            return "media-type", "Send the body uncompressed, without Content-Encoding."
        length = headers.get(b"content-length", b"0")
        if not length.isdigit() or len(length) > 18 or int(length) > limit.max_body_bytes:
            return "too-large", self._too_large()
        return None

    def _too_large(self) -> str:
        return f"A body may be at most {self.settings.max_body_bytes} bytes."

    async def _timed(self, scope: Scope, receive: Receive, send: Send, *, has_body: bool) -> None:
        slow = scope["path"] in _SLOW or _READS_A_FILE.fullmatch(scope["path"]) is not None
        allowed = self.settings.import_timeout if slow else self.settings.request_timeout
        read = 0

        async def receive_counted() -> Message:
            nonlocal read
            message = await receive()
            if message["type"] == "http.request":
                read += len(message.get("body", b""))
                if read > self.settings.max_body_bytes:
                    raise TooLarge(self._too_large())
                if has_body and not message.get("more_body", False) and not patience.started:
                    clock.reschedule(asyncio.get_running_loop().time() + allowed)
            return message

        async def send_timed(message: Message) -> None:
            if patience.left and not patience.started:
                await patience.ended()
            if not patience.started:
                patience.begin()
            await send(message)

        try:
            async with asyncio.timeout(self.settings.upload_timeout if has_body else allowed) as clock:
                patience = Patience(clock)
                if may_store(scope):
                    await self.app(scope, receive_counted, send_timed)
                else:
                    with patience.of_a_lookup(scope["state"].get("line")):
                        await self.app(scope, receive_counted, send_timed)
        except TimeoutError:
            if not clock.expired():
                raise
            if patience.left:
                await patience.ended()
            response = problem_response(
                scope, "unavailable", "It took too long and was given up.", headers={"Retry-After": "5"}
            )
            await response(scope, receive, send)


class Patience:
    """Wait for the answer to start, until the time is up or, for a lookup, until its client has left."""

    def __init__(self, clock: asyncio.Timeout) -> None:
        self.clock = clock
        self.started = self.left = False
        self._line: ClientConnection | None = None

    def begin(self) -> None:
        """The answer starts, so it is no longer cut off."""
        self.started = True
        if not self.clock.expired():  # a write is answered all the same: it was done
            self.clock.reschedule(None)

    async def ended(self) -> NoReturn:
        """The client has left. Raises ClientDisconnect."""
        if self._line is not None:
            await self._line.ended()
        raise ClientDisconnect

    @contextmanager
    def of_a_lookup(self, line: ClientConnection | None) -> Iterator[None]:
        """Cancel the block if the client leaves; long statements check for that too."""
        self._line, before = line, GIVEN_UP.set(self._is_over)
        if line is not None:
            line.when_left = self._leave
        try:
            yield
        finally:
            GIVEN_UP.reset(before)
            if line is not None:
                line.when_left = None

    def _leave(self) -> None:
        self.left = True
        if not self.started and not self.clock.expired():
            self.clock.reschedule(asyncio.get_running_loop().time())

    def _is_over(self) -> bool:
        if self.started:
            return False
        if self._line is not None and self._line.is_left():
            self.left = True
        until = self.clock.when()  # by the loop's clock, which may stop while the loop computes
        return self.left or (until is not None and time.monotonic() >= until)


def _has_body(headers: Mapping[bytes, bytes]) -> bool:
    return b"transfer-encoding" in headers or headers.get(b"content-length", b"0") != b"0"
