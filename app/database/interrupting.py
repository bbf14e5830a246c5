"""Ends statements whose caller has gone: on the event loop from within, in a thread from outside.

SQLite lookups block the event loop, which cannot notice a disconnect, so a long statement checks for itself, every
`STEPS`. A lookup in a thread is interrupted, on PostgreSQL through the server. Both leave a usable connection.
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
"""SQLite virtual machine steps between two checks for a waiting caller: about a millisecond."""
AGAIN_S = 0.2
"""A lookup may be between two statements when it is interrupted, so the interruption is repeated until it ends."""
TOLD_WITHIN_S = 2.0

GIVEN_UP: ContextVar[Callable[[], bool] | None] = ContextVar("given_up", default=None)
"""If set, says whether the caller of this lookup has gone; may be called in any thread."""


def nobody_waits() -> bool:
    """The progress handler of a long SQLite statement; True ends it."""
    given_up = GIVEN_UP.get()
    return given_up is not None and given_up()


def running_loop() -> asyncio.AbstractEventLoop | None:
    """The event loop that runs in this thread, if any."""
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None


class Look:
    """A lookup in its own thread, and the connection that it uses at the moment, if any."""

    def __init__(self) -> None:
        self._connection: Connection | None = None
        self._lock = threading.Lock()

    @contextmanager
    def on(self, connection: Connection) -> Iterator[None]:
        """Marks the connection as used; it is not handed on before an interruption under way is over."""
        with self._lock:
            self._connection = connection
        try:
            yield
        finally:
            with self._lock:
                self._connection = None

    def interrupt(self) -> None:
        """Interrupts the current statement, if any.

        If the server cannot be reached, the connection is lost and has its own timeouts.
        """
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
    """Marks the connection as used by this thread's lookup, if that lookup can be interrupted."""
    look = LOOK.get()
    if look is None:
        yield
    else:
        with look.on(connection):
            yield


async def in_a_thread(threads: ThreadPoolExecutor, work: Callable[[], T]) -> T:
    """Run a lookup in one of these threads.

    If its caller is cancelled the thread is freed soon: a queued lookup never starts, and a running statement is
    interrupted.
    """
    look, context = Look(), copy_context()
    context.run(LOOK.set, look)
    running = threads.submit(context.run, work)
    try:
        return await asyncio.wrap_future(running)
    except asyncio.CancelledError:
        # in its own thread, because the request to the server takes a while
        if not running.cancel() and not running.done():
            threading.Thread(target=_end, args=(look, running), name="interrupt", daemon=True).start()
        raise


def _end(look: Look, running: Future[Any]) -> None:
    while not running.done():
        look.interrupt()
        wait([running], AGAIN_S)
