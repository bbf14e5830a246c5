"""A SQLite file as a file: opened without our settings, written out for good, looked through, and taken out of use."""

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
    """Have a file or a folder written out, so that a loss of power does not take it back."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def wrong_in(path: Path) -> str | None:
    """What SQLite's integrity check finds first; None where all is well."""
    try:
        with closing(opened(path, "ro")) as connection:
            found = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
    except sqlite3.Error as error:
        return str(error)
    return None if found == "ok" else str(found).splitlines()[-1]


def as_one_file(path: Path) -> None:
    """Bring what stands in the log beside it into the file and remove the log. Raises sqlite3.Error."""
    with closing(opened(path, "rw")) as connection:
        connection.execute("PRAGMA journal_mode = delete")


def put(new: Path, path: Path) -> None:
    """Put a file in the place of another. What is left of an old log goes first: it would be read into the new one.

    Raises Unavailable while some program has the old one open; one that is damaged is not asked.
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
