"""Statements that nobody waits for any more are ended: on the loop from within, in a thread from beside.

A lookup on the loop, as most on SQLite are, holds the thread that would hear of it, so a long statement asks for
itself, every `STEPS`. One in a thread is told, on PostgreSQL through the server. Either leaves a sound connection.
"""

import asyncio
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import contextmanager, suppress
from contextvars import ContextVar, copy_context
from typing import Any, TypeVar

from sqlalchemy import Connection

T = TypeVar("T")

STEPS = 100_000
"""Of SQLite's machine between two questions whether anyone still waits: about a millisecond."""
AGAIN_S = 0.2
"""A lookup of many statements may be between two of them when it is to end, so it is told again until it has."""
TOLD_WITHIN_S = 2.0

GIVEN_UP: ContextVar[Callable[[], bool] | None] = ContextVar("given_up", default=None)
"""Where set, whether what is looked up here is no longer waited for; it may be asked in any thread."""


def nobody_waits() -> bool:
    """What a long statement on SQLite asks; True ends it."""
    given_up = GIVEN_UP.get()
    return given_up is not None and given_up()


def running_loop() -> asyncio.AbstractEventLoop | None:
    """The event loop that runs in this thread, if one does."""
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None


class Look:
    """A lookup in a thread of its own, and the connection that it is on at the moment, if any."""

    def __init__(self) -> None:
        self._connection: Connection | None = None
        self._lock = threading.Lock()

    @contextmanager
    def on(self, connection: Connection) -> Iterator[None]:
        """It is on that connection, which nobody else gets before an interruption under way is over."""
        with self._lock:
            self._connection = connection
        try:
            yield
        finally:
            with self._lock:
                self._connection = None

    def interrupt(self) -> None:
        """Ends the statement it waits for, where there is one. A server that cannot be told is one that is lost, for
        which the connection has its own limits."""
        with self._lock:
            if self._connection is not None:
                driver: Any = self._connection.connection.driver_connection
                with suppress(self._connection.dialect.loaded_dbapi.Error):
                    if self._connection.dialect.name == "sqlite":
                        driver.interrupt()
                    else:
                        driver.cancel_safe(timeout=TOLD_WITHIN_S)


LOOK: ContextVar[Look | None] = ContextVar("look", default=None)


@contextmanager
def to_be_interrupted(connection: Connection) -> Iterator[None]:
    """The lookup of this thread is on that connection, if it is one that may be given up."""
    look = LOOK.get()
    if look is None:
        yield
    else:
        with look.on(connection):
            yield


async def in_a_thread(threads: ThreadPoolExecutor, work: Callable[[], T]) -> T:
    """Run a lookup in one of these threads. Where its caller is cancelled the thread is free soon after:
    a lookup that waits for a thread is never begun, and the statement of another is ended."""
    look, context = Look(), copy_context()
    context.run(LOOK.set, look)
    running = threads.submit(context.run, work)
    try:
        return await asyncio.wrap_future(running)
    except asyncio.CancelledError:
        if not running.cancel() and not running.done():  # in a thread of its own, as telling the server takes a while
            threading.Thread(target=_end, args=(look, running), name="interrupt", daemon=True).start()
        raise


def _end(look: Look, running: Future[Any]) -> None:
    while not running.done():
        look.interrupt()
        wait([running], AGAIN_S)
