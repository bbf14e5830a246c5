"""The catalogue at one revision as a SQLite file of its own, to query offline or to serve from; without its history."""

import os
import sqlite3
from contextlib import closing
from itertools import islice
from pathlib import Path

from app.catalogue.rows import Rows
from app.catalogue.tables import TABLES
from app.catalogue.writing import BATCH, NewRevision
from app.database.connections import Database
from app.database.migrating import migrate
from app.errors import Conflict


def copy(rows: Rows, revision: int, path: Path) -> int:
    """Write the file, whole or not at all; returns the number of rows. Raises Conflict where it is there already."""
    if path.exists():
        raise Conflict(f"{path} is there already; give a path that is free")
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    database = Database(f"sqlite:///{beside}")
    count = 0
    try:
        migrate(database, "catalogue")
        with database.write() as connection:
            new = NewRevision(connection, number=max(revision, 1))
            for table in TABLES.values():
                held = rows.all(table)
                while part := list(islice(held, BATCH)):
                    new.put(table, part)
                    count += len(part)
            new.record(f"copy of revision {revision}", "export")
        database.close()
        with closing(sqlite3.connect(beside)) as connection:
            connection.execute("PRAGMA journal_mode = delete")  # one file, which can be sent
        beside.rename(path)
    finally:
        database.close()
        beside.unlink(missing_ok=True)
    return count
