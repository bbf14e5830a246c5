"""Adds to uvicorn's connections time limits for header, body and reader, and refusals as problem details.

uvicorn has only a keep-alive timeout: a client that sends a header line or a body byte per second, or that never reads,
holds its connection for ever. `timed` adds the missing clocks to either of its protocols.
"""

import asyncio
import sys
from abc import abstractmethod
from time import perf_counter
from typing import Any, Literal

from app.json_types import JsonObject
from app.settings import Settings
from app.web.middleware.security import DATA_POLICY
from app.web.representation.problem_forms import problem_response
from app.web.server.client import ClientConnection, tcp_info
from app.web.server.framing import LONG_HEADER

LEAST_BODY_BYTES = 16_384
"""How much of a body must arrive within one `body_timeout`, or the connection is closed."""

Phase = Literal["quiet", "head", "body"]

_LAST_CAME = slice(52, 56)
"""In Linux's `struct tcp_info`: `tcpi_last_data_recv`, milliseconds (linux/tcp.h)."""

_NOWHERE: JsonObject = {"type": "http", "path": "", "raw_path": b"", "state": {}}


def raw_refusal(slug: str, detail: str) -> bytes:
    """A complete HTTP/1.1 response, for use when there is no request that the application could answer."""
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
    """A mixin for uvicorn's protocols. `timed` sets `limits`. The state of a request has its connection as `line`."""

    limits: Settings
    transport: Any
    loop: asyncio.AbstractEventLoop
    cycle: Any
    flow: Any
    connections: set[Any]
    app_state: JsonObject
    timeout_keep_alive_task: asyncio.TimerHandle | None

    def connection_made(self, transport: Any) -> None:
        """Starts the clock for the first header; refuses and closes a connection over the limit."""
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
        """Stops all clocks, and lookups for a client that has left."""
        self._enter("quiet")
        self._stop_write_clock()
        self._line.lost()
        super().connection_lost(exc)  # type: ignore[misc]

    def data_received(self, data: bytes) -> None:
        """Passes the bytes on, then sets the clock for the next part."""
        self._received += len(data)
        super().data_received(data)  # type: ignore[misc]
        if self.transport.is_closing():
            return
        phase = self._awaited()
        if phase != self._phase:
            self._enter(phase)
        if phase == "head" and self._received > self.limits.max_header_bytes + self.limits.max_url_bytes:
            self._refuse(*LONG_HEADER)

    def send_400_response(self, msg: str) -> None:
        """Sends a problem detail instead of uvicorn's plain text: the parser could not read on."""
        self._refuse(*self._why_unreadable())

    @abstractmethod
    def _why_unreadable(self) -> tuple[str, str]:
        """Slug and sentence of the problem for the input that the parser refused."""

    @abstractmethod
    def _is_in_body(self) -> bool:
        """Whether the parser stopped inside the body (or trailers) of the request `cycle` answers."""

    def pause_writing(self) -> None:
        """The client does not read: from now on it has `write_timeout` to read the pending bytes."""
        super().pause_writing()  # type: ignore[misc]
        if self._write_clock is None:
            self._write_clock = self.loop.call_later(self.limits.write_timeout, self.transport.abort)

    def resume_writing(self) -> None:
        """The client reads again."""
        self._stop_write_clock()
        super().resume_writing()  # type: ignore[misc]

    @abstractmethod
    def _read_so_far(self) -> Phase:
        """The part of a message that the parser is reading; "quiet" between two messages."""

    def _awaited(self) -> Phase:
        phase = self._read_so_far()
        if phase == "quiet" and not self._is_answering() and self.timeout_keep_alive_task is None:
            return "head"  # bytes that start no request, such as empty lines
        return phase

    def _came_first(self) -> float:
        """When the first request of a connection came, by `perf_counter`.

        Under uvloop one connection is accepted per round of the loop, and the others wait in the kernel, which knows
        how long. Without this, three times the load that can be answered gave a 99th percentile of 11 s instead of 0.6
        s (`tests/api/test_overload.py`).
        """
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
                self._refuse("too-slow", "The body arrived too slowly.")
            else:
                self.transport.close()  # the answer has been sent already
        elif self._is_answering():
            self._enter("head")  # the next request of a pipeline: its time starts when this answer has been sent
        elif self._received or self.cycle is None:
            self._refuse("too-slow", "The header was not complete in time.")
        else:
            self.transport.close()

    def _refuse(self, slug: str, detail: str) -> None:
        """Send a refusal and close the connection. A request that already has an answer gets no second one."""
        self._enter("quiet")
        if self.transport.is_closing():
            return
        if self.cycle is not None and self._is_in_body():
            if self.cycle.response_started:
                self.transport.close()
                return
            self.cycle.disconnected = True  # the refusal is its answer
        self._say_last(raw_refusal(slug, detail))

    def _say_last(self, refusal: bytes) -> None:
        self.transport.write(refusal)
        self.transport.close()

    def _stop_write_clock(self) -> None:
        if self._write_clock is not None:
            self._write_clock.cancel()
            self._write_clock = None
