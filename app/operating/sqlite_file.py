"""Handles a SQLite file as a file: opens it without our settings, flushes it, checks it and replaces it."""

import os
import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from app.database.connections import address
from app.errors import Unavailable

SIDECARS = ("-wal", "-shm", "-journal")
_WAIT_S = 1.0


def opened(path: Path, mode: str) -> sqlite3.Connection:
    """A connection in autocommit; mode is `ro` or `rw`."""
    return sqlite3.connect(address(path, mode), uri=True, timeout=_WAIT_S, isolation_level=None)


def synced(path: Path) -> None:
    """Flush a file or folder to disk, so that a power loss does not undo it."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def wrong_in(path: Path) -> str | None:
    """The first fault that SQLite's integrity check finds; None if there is none."""
    try:
        with closing(opened(path, "ro")) as connection:
            found = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
    except sqlite3.Error as error:
        return str(error)
    return None if found == "ok" else str(found).splitlines()[-1]


def as_one_file(path: Path) -> None:
    """Move the contents of the write-ahead log into the file and remove the log. Raises sqlite3.Error."""
    with closing(opened(path, "rw")) as connection:
        connection.execute("PRAGMA journal_mode = delete")


def put(new: Path, path: Path) -> None:
    """Replace a file. An old log is removed first, because SQLite would apply it to the new file.

    Raises Unavailable while a program has the old file open; a damaged one is not checked for that.
    """
    if path.exists():
        try:
            as_one_file(path)
        except sqlite3.Error as error:
            if "locked" in str(error) or "busy" in str(error):
                raise Unavailable(f"{path} is in use: stop the service first; nothing was restored") from error
    for ending in SIDECARS:
        with suppress(FileNotFoundError):
            path.with_name(path.name + ending).unlink()
    new.replace(path)
    synced(path.parent)
