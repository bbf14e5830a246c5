"""Checks large SQLite files for damage while the service runs, so that the first request need not wait for it."""

import asyncio
import threading
from collections.abc import Sequence

from structlog.typing import FilteringBoundLogger

from app.database.connections import Database
from app.errors import Unavailable

AFTER_SECONDS = 1.0
"""Seconds after the start at which the check begins."""


def look_through_soon(databases: Sequence[Database], logger: FilteringBoundLogger) -> asyncio.TimerHandle | None:
    """Check the large databases, if any, in a thread of its own, a little later. Needs a running event loop; the handle
    cancels it.

    A damaged database then refuses writes, its catalogue is not ready, and the log says so.
    """
    large = [database for database in databases if database.is_large()]
    if not large:
        return None
    thread = threading.Thread(target=_look_through, args=(large, logger), name="integrity check", daemon=True)
    return asyncio.get_running_loop().call_later(AFTER_SECONDS, thread.start)


def _look_through(databases: Sequence[Database], logger: FilteringBoundLogger) -> None:
    for database in databases:
        try:
            database.integrity_check()
        except Unavailable as refused:
            logger.error("not checked", database=str(database.path), detail=refused.detail)
            continue
        if database.damage is not None:
            logger.error("damaged", database=str(database.path), detail=f"{database.damage}; restore a backup")
