"""Writes the catalogue at one revision, without its history, as a SQLite file to query offline or to serve from.

The revision keeps its number, time, reason and label, and its current warnings are included.
"""

import os
import sqlite3
from contextlib import closing
from itertools import islice
from pathlib import Path

from sqlalchemy import bindparam, insert, select

from app.catalogue.history import recorded
from app.catalogue.rows import Snapshot
from app.catalogue.stored import FINDINGS, OPEN
from app.catalogue.writing import BATCH, NewRevision
from app.database.connections import Database
from app.database.migrating import migrate
from app.errors import Conflict

_STANDING = select(FINDINGS).where(FINDINGS.c.revision_from <= bindparam("n"), FINDINGS.c.revision_to > bindparam("n"))


def copy(snapshot: Snapshot, path: Path) -> int:
    """Write the file, complete or not at all; return the number of rows. Raises Conflict if it already exists."""
    if path.exists():
        raise Conflict(f"{path} already exists; give another path")
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    database = Database(f"sqlite:///{beside}")
    try:
        migrate(database, "catalogue")
        with database.write() as connection:
            new = NewRevision(connection, number=snapshot.revision)
            count = new.copy(snapshot)
            for known in recorded(snapshot, [snapshot.revision]).values():  # none for revision 0, the empty catalogue
                new.record(known.reason, known.who, recorded_at=known.recorded_at, lineage=known.lineage)
            warnings = iter(snapshot.connection.execute(_STANDING, {"n": snapshot.revision}).mappings())
            while found := list(islice(warnings, BATCH)):
                span = {"revision_from": snapshot.revision, "revision_to": OPEN}
                connection.execute(insert(FINDINGS), [{**warning, **span} for warning in found])
        database.close()
        with closing(sqlite3.connect(beside)) as connection:
            connection.execute("PRAGMA journal_mode = delete")  # a single file, which can be sent
        beside.rename(path)
    finally:
        database.close()
        beside.unlink(missing_ok=True)
    return count
