"""The log: one line an event, JSON or key=value; no control character raw, no key and no part of one."""

import atexit
import json
import logging
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
# It is looked for where a run of such characters begins, else a long run would be looked through from each of them.
_KEY = re.compile(r"(?<![A-Za-z0-9_-])(?=[a-z0-9_-]*[A-Z])[A-Za-z0-9_-]{32,}|[0-9a-fA-F]{40,}")


def build_logger(settings: Settings, to: TextIO | None = None) -> FilteringBoundLogger:
    """A logger that writes to `to` (standard error unless given)."""
    shape: Processor = (
        structlog.processors.JSONRenderer(serializer=_as_json)
        if settings.log_format == "json"
        else structlog.processors.KeyValueRenderer(key_order=["time", "level", "event"])
    )
    logger: FilteringBoundLogger = structlog.wrap_logger(
        structlog.WriteLogger(cast(TextIO, _Lossy(to or sys.stderr, settings.log_format, together=to is None))),
        processors=[_whole, shape],
        wrapper_class=structlog.make_filtering_bound_logger(_LEVELS[settings.log_level]),
        cache_logger_on_first_use=True,
    ).bind()  # at once: a proxy that binds late costs a tenth of the line more
    return logger


class _Lossy:
    """A stream whose full disk is no reason to fail a request: lines that cannot be written are counted, and the next
    that can be is followed by their number. `together`: what the requests in the event loop's queue have to say is
    written at once, before the next are read."""

    def __init__(self, to: TextIO, log_format: str, *, together: bool) -> None:
        self.to, self.lost, self.together = to, 0, together
        self.waiting: deque[str] = deque()  # of other threads too
        self.told = '{"event":"log lines lost","level":"warning","lost":%d}' if log_format == "json" else (
            "level='warning' event='log lines lost' lost=%d"
        )  # fmt: skip
        if together:
            atexit.register(self._write_out)

    def write(self, line: str) -> None:
        """A whole line."""
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
            self.to.write("".join(lines))
            self.to.flush()
            if self.lost:
                self.to.write(self.told % self.lost + "\n")
                self.lost = 0
        except OSError:
            self.lost += len(lines)

    def flush(self) -> None:
        """Each line is, as it is written."""


@lru_cache(maxsize=1024)
def without_keys(text: str) -> str:
    """`text` with everything that could be a key replaced by `[key]`."""
    return _KEY.sub("[key]", text)


def without_keys_cut(text: str, most: int) -> str:
    """At most `most` characters of `text`, keys replaced first: the part of a key that a cut leaves would pass."""
    return (without_keys(text) if len(text) >= 32 else text)[:most]


def _whole(logger: Any, method: str, event: Any) -> Any:
    """An event with its level, the time in UTC to the millisecond (RFC 3339) and its traceback, without keys; in one
    step, as each costs a request."""
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
    """A character that a terminal or an editor may act on (C1 controls, separators, marks of direction) as JSON writes
    it in ASCII; such a character stands only within the strings of a line."""
    return character if character.isprintable() else json.dumps(character)[1:-1]


class ServerLog(logging.Handler):
    """Passes on what the HTTP server itself has to say, so that it is one line in the same shape."""

    def __init__(self, logger: FilteringBoundLogger) -> None:
        super().__init__()
        self._logger = logger

    def emit(self, record: logging.LogRecord) -> None:
        """Write a record of the standard library as a line of ours."""
        extra = {"exc_info": record.exc_info} if record.exc_info else {}
        self._logger.log(record.levelno, "server", message=record.getMessage(), **extra)
