"""Checks databases: versions, whether they can be read, schema, and integrity."""

import platform
import sqlite3
import sys
from collections.abc import Iterator

from sqlalchemy import make_url, text

from app.database.connections import Database
from app.database.migrating import HEADS, schema_of, state
from app.errors import Refusal
from app.operating.dumping import version_of
from app.operating.finding import DoctorFinding, Level
from app.operating.sqlite_file import wrong_in
from app.settings import Settings

WAL_FLOOR = (3, 51, 3)
"""The first SQLite release without the WAL-reset race (its release notes, March 2026)."""


def versions(settings: Settings) -> Iterator[DoctorFinding]:
    """Check Python, SQLite, and PostgreSQL's client programs if a PostgreSQL database is set."""
    yield DoctorFinding("python", "good", platform.python_version() + f" at {sys.executable}")
    urls = (settings.database_url, settings.shop_database_url)
    if any(make_url(url).get_backend_name() == "sqlite" for url in urls):
        yield sqlite_version(sqlite3.sqlite_version_info)
    if any(make_url(url).get_backend_name() != "sqlite" for url in urls):
        found = version_of("pg_dump")
        client = (
            f"pg_dump {found}" if found else "pg_dump is not installed, so `backup` cannot copy a PostgreSQL database"
        )
        yield DoctorFinding("postgresql client", "good" if found else "notice", client)


def sqlite_version(version: tuple[int, int, int]) -> DoctorFinding:
    """Check the SQLite that Python was built with."""
    shown = ".".join(map(str, version))
    if version >= WAL_FLOOR:
        return DoctorFinding("sqlite", "good", shown)
    return DoctorFinding(
        "sqlite", "notice",
        f"{shown}; before 3.51.3, two checkpoints of the log and a commit at the same instant could, very rarely, "
        "damage a file. Only one writer at a time commits here and readers never write, so only a commit that meets "
        "the checkpoints of two earlier writers is at risk. Use a Python with a newer SQLite, and keep backups",
    )  # fmt: skip


def store(which: str, url: str) -> Iterator[DoctorFinding]:
    """Check that a database exists, can be read, has the schema of this build and is undamaged."""
    database = Database(url)
    try:
        if database.path is not None and not database.path.exists():
            yield DoctorFinding(
                which, "notice", f"there is no database yet at {database.path}; `serve` or `migrate` creates it"
            )
            return
        if database.path is not None and (wrong := wrong_in(database.path)):
            yield DoctorFinding(f"{which} integrity", "bad", f"{database.path} is damaged: {wrong}; restore a backup")
            return
        yield from _read(which, database)
    except Refusal as refusal:
        yield DoctorFinding(which, "bad", f"{database.url.render_as_string()}: {refusal.detail}")
    finally:
        database.close()


def _read(which: str, database: Database) -> Iterator[DoctorFinding]:
    with database.read() as connection:
        found = state(connection, which)
        has, wants = schema_of(connection), HEADS[which]
        if not database.is_sqlite:
            server = connection.execute(text("SHOW server_version")).scalar()
            sums = connection.execute(text("SHOW data_checksums")).scalar()
            yield DoctorFinding(f"{which} server", "good", f"PostgreSQL {server}")
            yield DoctorFinding(
                f"{which} integrity", "good" if sums == "on" else "notice", f"the server's data checksums are {sums}"
            )
        else:
            yield DoctorFinding(f"{which} integrity", "good", "undamaged")
        how = "" if database.path is not None else "; run: legwork migrate"
        findings: dict[str, tuple[Level, str]] = {
            "current": ("good", f"{has}, current"),
            "older": ("notice", f"{has}, this build needs {wants}: back up, then run `legwork migrate`"),
            "empty": ("notice", f"no tables yet{how}"),
            "newer": ("bad", f"{has}, from a newer build than this one ({wants})"),
            "foreign": ("bad", "it has the tables of another program"),
        }
        yield DoctorFinding(f"{which} schema", *findings[found])
