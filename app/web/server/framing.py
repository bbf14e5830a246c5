"""Finds the target and the end of each request, for both parsers.

Nothing after the header section acts as a header, and only Content-Length and Transfer-Encoding say where a message
ends. A request that offers another protocol is read like any other (RFC 9110, 7.8: a server may ignore Upgrade), and
trailers are dropped (RFC 9110, 6.5.1: a recipient may ignore them).
"""

import re
from collections.abc import Sequence
from typing import Any, NoReturn, Protocol

import h11
import httptools
from starlette.types import Message, Send

_BARE_LF = re.compile(rb"(?<!\r)\n")

Lines = Sequence[tuple[bytes, bytes]]

MALFORMED = ("malformed", "This cannot be read as an HTTP request.")
UNKNOWN_CODING = ("not-implemented", "The only transfer coding accepted for a body is chunked.")
LONG_TRAILERS = ("header-too-large", "The trailers after the body are too long together.")
LONG_HEADER = ("header-too-large", "The header lines are too long together.")


class Refused(Exception):
    """Raised inside a parser to end the connection with this problem: its slug and a sentence."""

    def __init__(self, problem: tuple[str, str]) -> None:
        super().__init__(problem[1])
        self.problem = problem


def coding_is_known(lines: Lines) -> bool:
    """Whether a body has a length or comes in chunks, the only transfer coding supported here."""
    codings = [value for name, value in lines if name == b"transfer-encoding"]
    return not codings or (len(codings) == 1 and codings[0].strip().lower() == b"chunked")


def origin_form(target: bytes, lines: Lines) -> tuple[bytes, Lines]:
    """The target as path and query, and the header lines with the host that the target names.

    An absolute target (`http://host/path`) overrides the Host header (RFC 9112, 3.2.2). With no Host line or several
    the lines stay as they are, and the request is refused for that. Raises Refused for another scheme.
    """
    if target.startswith(b"/") or target == b"*":
        return target, lines
    scheme, separator, rest = target.partition(b"://")
    if not separator or scheme.lower() not in {b"http", b"https"}:
        raise Refused(MALFORMED)
    end = min((at for at in (rest.find(b"/"), rest.find(b"?")) if at >= 0), default=len(rest))
    authority, path = rest[:end], rest[end:]
    if sum(name == b"host" for name, _ in lines) == 1:
        lines = [(name, authority if name == b"host" else value) for name, value in lines]
    return (path if path.startswith(b"/") else b"/" + path), lines


class TrailerLimit:
    """Counts trailer lines: at most `lines` of them with `size` bytes together, as for header lines."""

    def __init__(self, lines: int, size: int) -> None:
        self.lines, self.size = lines, size
        self._count = self._bytes = 0

    def begin(self) -> None:
        """Another message starts."""
        self._count = self._bytes = 0

    def count(self, name: bytes, value: bytes) -> None:
        """Count one more line. Raises Refused above the limit."""
        self._count += 1
        self._bytes += len(name) + len(value) + 4
        if self._count > self.lines or self._bytes > self.size:
            raise Refused(LONG_TRAILERS)


class FastParser(httptools.HttpRequestParser):
    """llhttp, made to go on after a header section with `Upgrade`, whose body it would take for the other protocol.

    It then reads a head that says only how long the body is, and the body itself. `owed` of the protocol is that head,
    or empty if there is no body.
    """

    def __init__(self, protocol: Any) -> None:
        super().__init__(protocol)
        self._protocol = protocol

    def feed_data(self, data: Any) -> None:
        """Read on past every request that offers another protocol. Raises httptools.HttpParserError."""
        rest = data
        while True:
            try:
                super().feed_data(rest)
            except httptools.HttpParserUpgrade as paused:
                rest = memoryview(rest)[paused.args[0] :]
                if self._protocol.owed:
                    super().feed_data(self._protocol.owed)
            else:
                return


def head_of_body(version: str, lines: Lines, *, keep_alive: bool) -> bytes:
    """A request head with the lines that say where the body ends and whether the connection stays open; empty if there
    is no body.
    """
    framing = [line for line in lines if line[0] in {b"content-length", b"transfer-encoding"}]
    if all(line == (b"content-length", b"0") for line in framing):
        return b""
    kept = (b"connection", b"keep-alive" if keep_alive else b"close")
    head = [b"POST / HTTP/" + version.encode("ascii"), *(name + b": " + value for name, value in (*framing, kept))]
    return b"\r\n".join(head) + b"\r\n\r\n"


class PlainParser(h11.Connection):
    """h11, with absolute targets taken apart, trailers counted, and the reason for a refusal in `problem`.

    h11 alone would accept a bare LF as the end of a header line (RFC 9112, 2.2, leaves the choice); llhttp does not.
    """

    def __init__(self, most_bytes: int, trailers: TrailerLimit) -> None:
        super().__init__(h11.SERVER, most_bytes)
        self._trailers = trailers
        self.problem = MALFORMED
        self.is_in_body = False

    def next_event(self) -> Any:
        """As in h11. Raises h11.RemoteProtocolError, and `problem` has the reason."""
        self.is_in_body = self.their_state is h11.SEND_BODY
        if self.their_state is h11.IDLE:
            head = self.trailing_data[0].lstrip(b"\r\n").partition(b"\r\n\r\n")[0]
            if _BARE_LF.search(head):
                self._fail(Refused(MALFORMED))
        try:
            event = super().next_event()
        except h11.RemoteProtocolError as error:
            known = {431: LONG_TRAILERS} if self.is_in_body else {501: UNKNOWN_CODING, 431: LONG_HEADER}
            self.problem = known.get(error.error_status_hint, MALFORMED)
            raise
        try:
            if isinstance(event, h11.Request) and event.method != b"CONNECT":
                return _at_origin(event)
            if isinstance(event, h11.EndOfMessage):
                self._trailers.begin()
                for name, value in event.headers:
                    self._trailers.count(name, value)
        except Refused as refused:
            self._fail(refused)
        return event

    def _fail(self, refused: Refused) -> NoReturn:
        self.problem = refused.problem
        raise h11.RemoteProtocolError(str(refused)) from refused


def _at_origin(request: h11.Request) -> h11.Request:
    lines: Lines = list(request.headers)
    target, lines_of_target = origin_form(request.target, lines)
    if target == request.target:
        return request
    return h11.Request(
        method=request.method, target=target, headers=list(lines_of_target), http_version=request.http_version
    )


class Cycle(Protocol):
    """The part of uvicorn's answer to one request that is used here."""

    send: Send
    waiting_for_100_continue: bool
    disconnected: bool
    response_started: bool
    response_complete: bool


def close_unless_read(cycle: Cycle) -> None:
    """Announce that the connection closes if the answer starts before the body was requested.

    A client that sent `Expect: 100-continue` then sends no body, and its next bytes would be taken for one (RFC 9110,
    10.1.1).
    """
    send = cycle.send

    async def send_closing(message: Message) -> None:
        if message["type"] == "http.response.start" and cycle.waiting_for_100_continue:
            others = [line for line in message["headers"] if line[0].lower() != b"connection"]
            message = {**message, "headers": [*others, (b"connection", b"close")]}
        await send(message)

    cycle.send = send_closing
