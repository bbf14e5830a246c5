"""What the HTTP server leaves open on a connection: time for header, body and reader, and one shape of refusal.

uvicorn has a keep-alive timeout only: a client that sends a header line a second, a body byte a second, or never
reads, holds its connection for ever. `timed` lays the missing clocks over either of its protocols.
"""

import asyncio
import re
import sys
from abc import abstractmethod
from time import perf_counter
from typing import Any, Literal

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from app.settings import Settings
from app.web.middleware.security import DATA_POLICY
from app.web.representation.problem_forms import problem_response
from app.web.server.client import ClientConnection, tcp_info

LEAST_BODY_BYTES = 16_384
"""What must come of a body within one `body_timeout` for its sender to be let go on."""

_BARE_LF = re.compile(rb"(?<!\r)\n")

Phase = Literal["quiet", "head", "body"]

_LAST_CAME = slice(52, 56)
"""Of Linux's `struct tcp_info`: `tcpi_last_data_recv`, milliseconds (linux/tcp.h)."""

_NOWHERE: dict[str, Any] = {"type": "http", "path": "", "raw_path": b"", "state": {}}


def raw_refusal(slug: str, detail: str) -> bytes:
    """A whole HTTP/1.1 response, for where no request exists that an application could answer."""
    response = problem_response(_NOWHERE, slug, detail, headers={"Connection": "close"})
    lines = [
        f"HTTP/1.1 {response.status_code} {'Bad Request' if response.status_code == 400 else 'Refused'}".encode(),
        *(name + b": " + value for name, value in response.raw_headers),
        b"content-security-policy: " + DATA_POLICY.encode(),
        b"x-content-type-options: nosniff",
    ]
    if response.status_code == 503:
        lines.append(b"retry-after: 1")
    return b"\r\n".join(lines) + b"\r\n\r\n" + bytes(response.body)


class Timed:
    """Mixed in before a protocol of uvicorn. `limits` is set by `timed`. Each request has its connection in its state,
    as `line`."""

    limits: Settings
    transport: Any
    loop: asyncio.AbstractEventLoop
    cycle: Any
    flow: Any
    connections: set[Any]
    app_state: dict[str, Any]
    timeout_keep_alive_task: asyncio.TimerHandle | None

    def connection_made(self, transport: Any) -> None:
        """Starts the clock for the first header; one connection too many is told so and closed."""
        self._phase: Phase = "quiet"
        self._clock: asyncio.TimerHandle | None = None
        self._write_clock: asyncio.TimerHandle | None = None
        self._received = 0
        self._line = ClientConnection(transport)
        self.app_state = {**self.app_state, "line": self._line}
        super().connection_made(transport)  # type: ignore[misc]
        if len(self.connections) > self.limits.max_connections:
            self._refuse("unavailable", "Too many connections are open.")
            return
        self._enter("head")

    def connection_lost(self, exc: Exception | None) -> None:
        """Stops all clocks, and what is looked up for a client that is gone."""
        self._enter("quiet")
        self._stop_write_clock()
        self._line.lost()
        super().connection_lost(exc)  # type: ignore[misc]

    def data_received(self, data: bytes) -> None:
        """Hands on what came, then sets the clock for what must come next."""
        self._received += len(data)
        super().data_received(data)  # type: ignore[misc]
        if self.transport.is_closing():
            return
        phase = self._awaited()
        if phase != self._phase:
            self._enter(phase)
        if phase == "head" and self._received > self.limits.max_header_bytes + self.limits.max_url_bytes:
            self._refuse("header-too-large", "The header lines are too long together.")

    def send_400_response(self, msg: str) -> None:
        """In place of uvicorn's plain text."""
        self._refuse("malformed", "This is not an HTTP request that can be read.")

    def pause_writing(self) -> None:
        """The client does not read: from now it has `write_timeout` to take what waits."""
        super().pause_writing()  # type: ignore[misc]
        if self._write_clock is None:
            self._write_clock = self.loop.call_later(self.limits.write_timeout, self.transport.abort)

    def resume_writing(self) -> None:
        """It reads again."""
        self._stop_write_clock()
        super().resume_writing()  # type: ignore[misc]

    @abstractmethod
    def _read_so_far(self) -> Phase:
        """What the parser is in the middle of; "quiet" between two messages."""

    def _awaited(self) -> Phase:
        phase = self._read_so_far()
        if phase == "quiet" and not self._is_answering() and self.timeout_keep_alive_task is None:
            return "head"  # something came that begins no request, such as empty lines
        return phase

    def _came_first(self) -> float:
        """When the first request of a connection came, by `perf_counter`: under uvloop one connection is accepted in
        each round of the loop, and the others wait in the kernel, which knows how long. Without it, three times
        the load that can be answered gave a 99th percentile of 11 s, not 0.6 s (`tests/api/test_overload.py`)."""
        told = tcp_info(self.transport, _LAST_CAME.stop)
        if told is None:
            return perf_counter()
        return perf_counter() - int.from_bytes(told[_LAST_CAME], sys.byteorder) / 1000

    def _is_answering(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def _enter(self, phase: Phase) -> None:
        if self._clock is not None:
            self._clock.cancel()
            self._clock = None
        self._phase, self._received = phase, 0
        if phase != "quiet":
            limit = self.limits.header_timeout if phase == "head" else self.limits.body_timeout
            self._clock = self.loop.call_later(limit, self._time_is_up)

    def _time_is_up(self) -> None:
        self._clock = None
        if self.transport.is_closing():
            return
        if self._phase == "body":
            comes_on = self._received >= LEAST_BODY_BYTES or self.flow.read_paused
            if self._is_answering() and comes_on:
                self._enter("body")
            elif self._is_answering() and not self.cycle.response_started:
                self._refuse("too-slow", "The body came too slowly.")
            else:
                self.transport.close()  # the answer is out already: nothing more to say
        elif self._is_answering():
            self._enter("head")  # the next request of a pipeline: its time begins once this answer is out
        elif self._received or self.cycle is None:
            self._refuse("too-slow", "The header was not complete in time.")
        else:
            self.transport.close()

    def _refuse(self, slug: str, detail: str) -> None:
        self._enter("quiet")
        if not self.transport.is_closing():
            self.transport.write(raw_refusal(slug, detail))
            self.transport.close()

    def _stop_write_clock(self) -> None:
        if self._write_clock is not None:
            self._write_clock.cancel()
            self._write_clock = None


class TimedHttpTools(Timed, HttpToolsProtocol):
    """The fast parser (llhttp), with clocks."""

    _parsing: Phase = "quiet"

    def on_message_begin(self) -> None:
        """A request has begun."""
        self._parsing = "head"
        super().on_message_begin()

    def on_headers_complete(self) -> None:
        """Its header is whole. One that waits for the answer before it on its connection is not timed."""
        self._parsing = "body"
        if not self._is_answering():
            self.scope["state"]["came"] = perf_counter() if self.cycle is not None else self._came_first()
        super().on_headers_complete()

    def on_message_complete(self) -> None:
        """It is whole."""
        self._parsing = "quiet"
        super().on_message_complete()

    def _read_so_far(self) -> Phase:
        return self._parsing


class TimedH11(Timed, H11Protocol):
    """The parser in pure Python, with clocks; it would take a bare LF for a line end, which others do not."""

    def data_received(self, data: bytes) -> None:
        """Refuses a header line that ends in LF alone (RFC 9112, 2.2, lets a server choose)."""
        if self.conn.their_state is h11.IDLE:
            head = (self.conn.trailing_data[0][-2:] + data).partition(b"\r\n\r\n")[0]
            if _BARE_LF.search(head):
                self.send_400_response("")
                return
        before = self.cycle
        super().data_received(data)
        if self.cycle is not before:
            self.cycle.scope["state"]["came"] = perf_counter() if before is not None else self._came_first()

    def _read_so_far(self) -> Phase:
        if self.conn.their_state is h11.SEND_BODY:
            return "body"
        return "head" if self.conn.their_state is h11.IDLE and self.conn.trailing_data[0] else "quiet"


def timed(settings: Settings, parser: Literal["httptools", "h11"] = "httptools") -> type[asyncio.Protocol]:
    """A protocol class for `uvicorn.Config(http=…)` with the limits of these settings."""
    base = TimedHttpTools if parser == "httptools" else TimedH11
    return type(f"{base.__name__}With", (base,), {"limits": settings})
