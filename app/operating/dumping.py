"""Backs up and restores a PostgreSQL database with PostgreSQL's own tools, `pg_dump` and `pg_restore`."""

import os
import shutil
import subprocess
from pathlib import Path

from sqlalchemy import Connection, text

from app.database.connections import Database
from app.errors import Unavailable


def dump(database: Database, connection: Connection, file: Path) -> None:
    """Dump the snapshot that `connection` sees; it must be in a REPEATABLE READ transaction of its own."""
    snapshot = connection.execute(text("SELECT pg_export_snapshot()")).scalar_one()
    _run(
        database, "pg_dump", "--format=custom", "--no-owner", "--no-privileges",
        f"--snapshot={snapshot}", f"--file={file}", f"--dbname={_address(database)}",
    )  # fmt: skip


def refill(database: Database, file: Path, *, replace: bool) -> None:
    """Restore a dump into a database, all or nothing; `replace` first drops what exists there."""
    _run(
        database, "pg_restore", "--no-owner", "--no-privileges", "--exit-on-error", "--single-transaction",
        *(["--clean", "--if-exists"] if replace else []), f"--dbname={_address(database)}", str(file),
    )  # fmt: skip


def version_of(tool: str) -> str | None:
    """The version that a tool reports; None if it is not installed."""
    found = shutil.which(tool)
    if found is None:
        return None
    said = subprocess.run([found, "--version"], capture_output=True, text=True, timeout=30, check=False).stdout
    return said.strip().rpartition(") ")[2] or None


def _address(database: Database) -> str:
    """The address for libpq, without the password, which the list of processes would show."""
    return database.url.set(drivername="postgresql", password=None).render_as_string(hide_password=False)


def _run(database: Database, tool: str, *arguments: str) -> None:
    found = shutil.which(tool)
    if found is None:
        raise Unavailable(
            f"this database is in PostgreSQL and there is no {tool} here: install PostgreSQL's client programs, of the "
            "server's version or newer"
        )
    password = {"PGPASSWORD": str(database.url.password)} if database.url.password else {}
    done = subprocess.run(
        [found, *arguments], env={**os.environ, **password}, capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        said = (done.stderr.strip().splitlines() or ["it gave no reason"])[0]
        raise Unavailable(f"{tool} failed: {said.removeprefix(f'{tool}: error: ')}")
