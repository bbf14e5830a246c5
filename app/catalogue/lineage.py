"""The lineage of a revision: a hash chained over the records of all revisions up to it.

Two catalogues have the same lineage at a number exactly as far as they share one history. After a restore the same
number may be given out again; its lineage is another.
"""

import hashlib
import json
from typing import Any, NamedTuple

from sqlalchemy import Connection, bindparam, func, select

from app.catalogue.stored import REVISIONS

BEGINNING = "0" * 16
"""The lineage of the empty catalogue, before its first revision."""

_LATEST = select(func.max(REVISIONS.c.number))
_HEAD = select(REVISIONS.c.number, REVISIONS.c.lineage).order_by(REVISIONS.c.number.desc()).limit(1)
_LINEAGE = select(REVISIONS.c.lineage).where(REVISIONS.c.number == bindparam("number"))


class Head(NamedTuple):
    """A revision by its number and its lineage, which together name one state of one catalogue."""

    number: int
    lineage: str

    def __str__(self) -> str:
        return f"{self.number}-{self.lineage}"


EMPTY = Head(0, BEGINNING)


def chained(before: str, number: int, recorded_at: str, reason: str, who: str) -> str:
    """The lineage of a revision from that of the one before it: 64 bits of SHA-256, in hexadecimal."""
    record = json.dumps([before, number, recorded_at, reason, who], ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(record.encode()).hexdigest()[:16]


def latest(connection: Connection) -> int:
    """The number of the latest revision, of older schemas too; 0 for the empty catalogue."""
    return connection.execute(_LATEST).scalar() or 0


def head_of(connection: Connection) -> Head:
    """The latest revision."""
    # 9 µs instead of 51 for a compiled statement, and every lookup begins with it
    if connection.dialect.name == "sqlite":
        driver: Any = connection.connection.driver_connection
        found = driver.execute("SELECT number, lineage FROM revisions ORDER BY number DESC LIMIT 1").fetchone()
    else:
        found = connection.execute(_HEAD).first()
    return EMPTY if found is None else Head(*found)


def lineage_of(connection: Connection, number: int) -> str | None:
    """The lineage of the revision with that number; None if there is none."""
    if number == 0:
        return BEGINNING
    found: str | None = connection.execute(_LINEAGE, {"number": number}).scalar()
    return found
