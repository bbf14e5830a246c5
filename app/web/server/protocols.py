"""Both parsers that uvicorn offers, with our clocks and limits. They accept and refuse the same requests."""

import asyncio
from collections.abc import Callable
from functools import cache
from time import perf_counter
from typing import Any, Literal

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from app.settings import Settings
from app.web.server.connection import Phase, Timed
from app.web.server.framing import (
    LONG_TRAILERS,
    MALFORMED,
    UNKNOWN_CODING,
    FastParser,
    PlainParser,
    Refused,
    TrailerLimit,
    close_unless_read,
    coding_is_known,
    head_of_body,
    origin_form,
)

_NOTED = {b"transfer-encoding", b"expect"}


class TimedHttpTools(Timed, HttpToolsProtocol):
    """The fast parser (llhttp) with clocks. It reads past offers of other protocols and drops trailers."""

    _parsing: Phase = "quiet"
    _last_words = b""
    _has_coding = False
    owed = b""
    """The head from which `FastParser` reads the body of a request that offers another protocol."""

    def connection_made(self, transport: Any) -> None:
        """Sets up the parser."""
        self.parser = FastParser(self)
        self.parser.set_dangerous_leniencies(lenient_data_after_close=True)  # as uvicorn: a last answer may be read
        self._trailers = TrailerLimit(self.limits.max_headers, self.limits.max_header_bytes)
        self._problem = MALFORMED
        self._beside_body = 0
        super().connection_made(transport)

    def data_received(self, data: bytes) -> None:
        """Reads on; parts of a body that are not its content (chunk lines, trailers) are bounded like a header."""
        if self._last_words:
            return
        if self._parsing == "body":
            self._beside_body += len(data)  # until `on_body`
        super().data_received(data)
        if self._beside_body > self.limits.max_header_bytes:
            self._refuse(*LONG_TRAILERS)

    def on_message_begin(self) -> None:
        """A request starts."""
        if self.owed:
            return
        self._parsing = "head"
        self._has_coding = False
        super().on_message_begin()

    def on_url(self, url: bytes) -> None:
        """Takes a part of the target."""
        if not self.owed:
            self.url += url

    def on_header(self, name: bytes, value: bytes) -> None:
        """Takes a header line; a trailer is counted and dropped."""
        if self._parsing != "head":
            if not self.owed:
                self._counted(name, value)
            return
        name = name.lower()
        if name in _NOTED:
            self._has_coding = self._has_coding or name == b"transfer-encoding"
            self.expect_100_continue = self.expect_100_continue or value.lower() == b"100-continue"
        self.headers.append((name, value))

    def on_headers_complete(self) -> None:
        """The header is complete. A request that waits for the previous answer on its connection is not timed."""
        self._beside_body = 0
        if self.owed:
            self.owed = b""
            return
        upgrade = self.parser.should_upgrade()
        if upgrade or self._has_coding or not self.url.startswith(b"/"):
            self._check_head()
        self._parsing = "body"
        if not self._is_answering():
            self.scope["state"]["came"] = perf_counter() if self.cycle is not None else self._came_first()
        super().on_headers_complete()
        if self.expect_100_continue:
            close_unless_read(self.cycle)
        if self._has_coding:
            self._trailers.begin()
        if upgrade:
            keep_alive = self.cycle.keep_alive
            self.owed = head_of_body(self.scope["http_version"], self.headers, keep_alive=keep_alive)

    def on_body(self, body: bytes) -> None:
        """Takes a part of the body."""
        self._beside_body = 0
        super().on_body(body)

    def on_message_complete(self) -> None:
        """The request is complete, unless its body is still to be read past an offer of another protocol."""
        self._beside_body = 0
        if not self.owed:
            self._parsing = "quiet"
            super().on_message_complete()

    def on_response_complete(self) -> None:
        """An answer has been sent. The refusal of the next request follows once no other answer is pending."""
        was_last = not self.pipeline
        super().on_response_complete()
        if was_last and self._last_words and not self.transport.is_closing():
            self.transport.write(self._last_words)
            self.transport.close()

    def _check_head(self) -> None:
        """Raises Refused for a request whose end or address cannot be determined."""
        try:
            if self.parser.get_method() == b"CONNECT":
                raise Refused(MALFORMED)
            if not coding_is_known(self.headers):
                raise Refused(UNKNOWN_CODING)
            if not self.url.startswith(b"/"):
                self.url, self.headers[:] = origin_form(self.url, self.headers)
        except Refused as refused:
            self._problem = refused.problem
            raise

    def _counted(self, name: bytes, value: bytes) -> None:
        try:
            self._trailers.count(name, value)
        except Refused as refused:
            self._problem = refused.problem
            raise
        if name.lower() == b"connection":  # llhttp reads nothing after it, and cannot be told to
            self.cycle.keep_alive = False

    def _say_last(self, refusal: bytes) -> None:
        """Send the refusal after the answers to the previous requests on this connection."""
        if self.pipeline and self._is_in_body():
            self.pipeline.popleft()
        elif self._is_in_body() or not self._is_answering():
            super()._say_last(refusal)
            return
        self._last_words = refusal
        self.flow.pause_reading()

    def _read_so_far(self) -> Phase:
        return self._parsing

    def _why_unreadable(self) -> tuple[str, str]:
        return self._problem

    def _is_in_body(self) -> bool:
        return self._parsing == "body"


class TimedH11(Timed, H11Protocol):
    """The parser in pure Python (h11), with clocks."""

    conn: PlainParser

    def connection_made(self, transport: Any) -> None:
        """Sets up the parser."""
        trailers = TrailerLimit(self.limits.max_headers, self.limits.max_header_bytes)
        self.conn = PlainParser(2 * (self.limits.max_header_bytes + self.limits.max_url_bytes), trailers)
        super().connection_made(transport)

    def data_received(self, data: bytes) -> None:
        """Reads on, and records when a request came."""
        before = self.cycle
        super().data_received(data)
        if self.cycle is not before:
            self.cycle.scope["state"]["came"] = perf_counter() if before is not None else self._came_first()

    def handle_events(self) -> None:
        """Reads on."""
        before = self.cycle
        super().handle_events()
        if self.cycle is not before and self.cycle.waiting_for_100_continue:
            close_unless_read(self.cycle)

    def _unsupported_upgrade_warning(self) -> None:
        """An offer of another protocol is not a fault, so nothing is logged."""

    def _read_so_far(self) -> Phase:
        if self.conn.their_state is h11.SEND_BODY:
            return "body"
        return "head" if self.conn.their_state is h11.IDLE and self.conn.trailing_data[0] else "quiet"

    def _why_unreadable(self) -> tuple[str, str]:
        return self.conn.problem

    def _is_in_body(self) -> bool:
        return self.conn.is_in_body


def timed(settings: Settings, parser: Literal["httptools", "h11"] = "httptools") -> type[asyncio.Protocol]:
    """A protocol class for `uvicorn.Config(http=…)` with the limits of these settings."""
    base = TimedHttpTools if parser == "httptools" else TimedH11
    return type(f"{base.__name__}With", (base,), {"limits": settings})


@cache
def _own() -> Callable[..., asyncio.Protocol]:
    return timed(Settings())


def in_worker(*arguments: object, **options: object) -> asyncio.Protocol:
    """A connection of a worker, which has its settings from the environment. uvicorn finds it by name."""
    return _own()(*arguments, **options)
