"""PostgreSQL's own tools, by which a database there is backed up and restored: `pg_dump` and `pg_restore`."""

import os
import shutil
import subprocess
from pathlib import Path

from sqlalchemy import Connection, text

from app.database.connections import Database
from app.errors import Unavailable


def dump(database: Database, connection: Connection, file: Path) -> None:
    """Write what `connection`, a transaction of its own with REPEATABLE READ, sees, and nothing of later."""
    snapshot = connection.execute(text("SELECT pg_export_snapshot()")).scalar_one()
    _run(
        database, "pg_dump", "--format=custom", "--no-owner", "--no-privileges",
        f"--snapshot={snapshot}", f"--file={file}", f"--dbname={_address(database)}",
    )  # fmt: skip


def refill(database: Database, file: Path, *, replace: bool) -> None:
    """Read a dump into a database, all or nothing; `replace` drops what it brings and finds there."""
    _run(
        database, "pg_restore", "--no-owner", "--no-privileges", "--exit-on-error", "--single-transaction",
        *(["--clean", "--if-exists"] if replace else []), f"--dbname={_address(database)}", str(file),
    )  # fmt: skip


def version_of(tool: str) -> str | None:
    """What a tool says its version is; None where it is not installed."""
    found = shutil.which(tool)
    if found is None:
        return None
    said = subprocess.run([found, "--version"], capture_output=True, text=True, timeout=30, check=False).stdout
    return said.strip().rpartition(") ")[2] or None


def _address(database: Database) -> str:
    """As libpq reads it, without the password, which would stand in the list of processes."""
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
