"""The audit: every write that was requested, done or refused, by the public id of its key; never a key or a body. Also
keys that were made or revoked, sign-ins, and requests with a key that is not valid.

A permitted write is entered before it begins and completed when it is answered. If the process is killed in between,
the entry keeps status 0, and the revisions show whether it was done.
"""

import datetime as dt
import time
from dataclasses import dataclass

from sqlalchemy import delete
from sqlmodel import col, select

from app.access.keys import Caller, now
from app.access.stored import AuditEntry
from app.database.connections import Database

MOST_FAILED = 60
"""Entries of a worker in one minute for lookups with keys that are not valid."""
UNKNOWN = 0  # status of a write that began and whose answer was never written down


def begun(shop: Database, caller: Caller | None, *, method: str, path: str, request_id: str | None) -> int:
    """Enter a write that begins; return the number of the entry."""
    return _enter(shop, caller, UNKNOWN, method, path, request_id)


def ended(shop: Database, number: int, status: int, *, reason: str | None = None, revision: int | None = None) -> None:
    """Complete an entry with the status of the answer, and the latest revision then."""
    with shop.writing() as session:
        entry = session.get_one(AuditEntry, number)
        entry.status, entry.done = status, status < 400
        entry.reason, entry.revision = reason and reason[:500], revision


def done_lately(shop: Database, caller: Caller, path: str) -> bool:
    """Whether the key has done something at this address within the last hour, as the audit has it."""
    wanted = select(AuditEntry.number).where(
        col(AuditEntry.at) >= now(-dt.timedelta(hours=1)), AuditEntry.key == caller.id, AuditEntry.path == path,
        col(AuditEntry.done).is_(True),
    )  # fmt: skip
    with shop.reading() as session:
        return session.exec(wanted.limit(1)).first() is not None


def refused(
    shop: Database, caller: Caller | None, status: int, *, method: str, path: str, request_id: str | None,
    reason: str | None = None,
) -> None:  # fmt: skip
    """Enter a write that was refused before it began."""
    _enter(shop, caller, status, method, path, request_id, reason and reason[:500])


class FailedKeys:
    """Enters lookups with a key that is not valid: at most MOST_FAILED a minute, so that guessing fills no disk. The
    next entry says how many were left out."""

    def __init__(self) -> None:
        self._begun = 0.0
        self._entered = self._left_out = 0

    def enter(self, shop: Database, *, method: str, path: str, request_id: str | None) -> None:
        """Enter one, or count it. Raises Unavailable or NoRoom if the audit cannot be written."""
        if time.monotonic() - self._begun > 60:
            self._begun, self._entered = time.monotonic(), 0
        if self._entered >= MOST_FAILED:
            self._left_out += 1
            return
        self._entered += 1
        more = f"; {self._left_out} more were not entered" if self._left_out else ""
        self._left_out = 0
        _enter(shop, None, 401, method, path, request_id, f"a key that is not valid{more}")


@dataclass(frozen=True, slots=True)
class AuditView:
    """An entry as it is listed."""

    number: int
    at: str
    key: str | None
    method: str
    path: str
    status: int
    done: bool
    reason: str | None
    revision: int | None
    request_id: str | None


def entries(shop: Database, most: int, *, before: int | None = None, key: str | None = None) -> list[AuditView]:
    """The newest entries, at most `most`: those numbered below `before`, and of one key if it is given."""
    wanted = select(AuditEntry).order_by(col(AuditEntry.number).desc()).limit(most)
    if before is not None:
        wanted = wanted.where(col(AuditEntry.number) < before)
    if key is not None:
        wanted = wanted.where(AuditEntry.key == key)
    with shop.reading() as session:
        return [AuditView(**each.model_dump()) for each in session.exec(wanted)]


def erase_old(shop: Database, days: int) -> int:
    """Erase the entries that are older than so many days; returns how many. Raises Unavailable or NoRoom."""
    old = col(AuditEntry.at) < now(-dt.timedelta(days=days))
    with shop.reading() as session:
        if session.exec(select(AuditEntry).where(old).limit(1)).first() is None:
            return 0
    with shop.writing() as session:
        return int(session.execute(delete(AuditEntry).where(old)).rowcount)  # type: ignore[attr-defined]


def _enter(
    shop: Database, caller: Caller | None, status: int, method: str, path: str, request_id: str | None,
    reason: str | None = None,
) -> int:  # fmt: skip
    entry = AuditEntry(
        at=now(), key=caller.id if caller else None, method=method, path=path[:500], status=status, done=False,
        reason=reason, request_id=request_id,
    )  # fmt: skip
    with shop.writing() as session:
        session.add(entry)
        session.flush()
        assert entry.number is not None
        return entry.number
