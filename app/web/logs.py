"""The log: one line per event, as JSON or key=value, with no raw control character, no key and no part of one."""

import atexit
import json
import logging
import os
import re
import sys
import time
from collections import deque
from functools import lru_cache
from typing import Any, TextIO, cast

import structlog
from pydantic_core import to_json
from structlog.typing import FilteringBoundLogger, Processor

from app.database.interrupting import running_loop
from app.settings import Settings

_LEVELS = {"debug": logging.DEBUG, "info": logging.INFO, "warning": logging.WARNING, "error": logging.ERROR}
# A key is 256 random bits: 43 characters of base64url, or 64 of hexadecimal. Ids are lower case, so they stay readable.
# The search starts only at the beginning of a run of such characters; otherwise a long run is scanned from each one.
_KEY = re.compile(r"(?<![A-Za-z0-9_-])(?=[a-z0-9_-]*[A-Z])[A-Za-z0-9_-]{32,}|[0-9a-fA-F]{40,}")


def build_logger(settings: Settings, to: TextIO | None = None) -> FilteringBoundLogger:
    """A logger that writes to `to` (standard error unless given)."""
    shape: Processor = (
        structlog.processors.JSONRenderer(serializer=_as_json)
        if settings.log_format == "json"
        else structlog.processors.KeyValueRenderer(key_order=["time", "level", "event"])
    )
    stream = _Lossy(to or sys.stderr, settings.log_format, together=to is None, apart=settings.workers > 1)
    logger: FilteringBoundLogger = structlog.wrap_logger(
        structlog.WriteLogger(cast(TextIO, stream)),
        processors=[_whole, shape],
        wrapper_class=structlog.make_filtering_bound_logger(_LEVELS[settings.log_level]),
        cache_logger_on_first_use=True,
    ).bind()  # at once: a proxy that binds late costs a tenth of the line more
    return logger


class _Lossy:
    """A stream that never fails a request, even if the disk is full: lines that cannot be written are counted, and the
    count is logged with the next line that can.

    `together`: the log lines of all requests in the event loop's queue are written at once, before more requests are
    read.
    """

    def __init__(self, to: TextIO, log_format: str, *, together: bool, apart: bool = False) -> None:
        self.descriptor = to.fileno() if together and apart else None
        self.to, self.lost, self.together = to, 0, together
        self.waiting: deque[str] = deque()  # other threads log too
        self.told = '{"event":"log lines lost","level":"warning","lost":%d}' if log_format == "json" else (
            "level='warning' event='log lines lost' lost=%d"
        )  # fmt: skip
        if together:
            atexit.register(self._write_out)

    def write(self, line: str) -> None:
        """Write a whole line."""
        queue = running_loop() if self.together else None
        if queue is not None and not self.waiting:
            queue.call_soon(self._write_out)
        self.waiting.append(line)
        if queue is None:
            self._write_out()

    def _write_out(self) -> None:
        lines = []
        while self.waiting:
            lines.append(self.waiting.popleft())
        if not lines:
            return
        try:
            if self.descriptor is not None:
                for line in lines:
                    os.write(self.descriptor, line.encode(errors="backslashreplace"))
            else:
                self.to.write("".join(lines))
                self.to.flush()
            if self.lost:
                self.to.write(self.told % self.lost + "\n")
                self.lost = 0
        except OSError:
            self.lost += len(lines)

    def flush(self) -> None:
        """Write each line at once."""


@lru_cache(maxsize=1024)
def without_keys(text: str) -> str:
    """`text` with everything that could be a key replaced by `[key]`."""
    return _KEY.sub("[key]", text)


def without_keys_cut(text: str, most: int) -> str:
    """At most `most` characters of `text`. Keys are replaced before it is cut: part of a key is not recognised."""
    return (without_keys(text) if len(text) >= 32 else text)[:most]


def _whole(logger: Any, method: str, event: Any) -> Any:
    """Add the level, the UTC time to the millisecond (RFC 3339) and the traceback to an event, and remove keys. It is
    one function because every request pays for it.
    """
    milliseconds = time.time_ns() // 1_000_000
    event["level"] = method
    event["time"] = f"{_second(milliseconds // 1000)}.{milliseconds % 1000:03d}Z"
    if "exc_info" in event:
        event = structlog.processors.format_exc_info(logger, method, event)
    for name, value in event.items():
        if isinstance(value, str) and len(value) >= 32 and name != "request_id":
            event[name] = without_keys(value)
    return event


@lru_cache(maxsize=4)
def _second(number: int) -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(number))


def _as_json(event: object, **_: object) -> str:
    line = to_json(event, serialize_unknown=True, inf_nan_mode="strings").decode()
    return line if line.isprintable() else "".join(map(_escaped, line))


def _escaped(character: str) -> str:
    """Escape, as JSON does in ASCII, the characters that a terminal or editor may act on (C1 controls, separators,
    direction marks). They occur only inside the strings of a line.
    """
    return character if character.isprintable() else json.dumps(character)[1:-1]


class ServerLog(logging.Handler):
    """Passes on the messages of the HTTP server, so that they have the same form as our own lines."""

    def __init__(self, logger: FilteringBoundLogger) -> None:
        super().__init__()
        self._logger = logger

    def emit(self, record: logging.LogRecord) -> None:
        """Write a record of the standard library as a line of ours."""
        extra = {"exc_info": record.exc_info} if record.exc_info else {}
        self._logger.log(record.levelno, "server", message=record.getMessage(), **extra)
