"""The audit log: every attempted write, done or refused, with the public id of its key; never a key or a body.

A permitted write is entered before it begins and completed when it is answered. If the process is killed in between,
the entry keeps status 0, and the revisions show whether it was done.
"""

from app.access.keys import Caller, now
from app.access.stored import AuditEntry
from app.database.connections import Database

UNKNOWN = 0  # status of a write that began and has no recorded answer


def begun(shop: Database, caller: Caller | None, *, method: str, path: str, request_id: str | None) -> int:
    """Enter a write that begins; return the number of the entry."""
    return _enter(shop, caller, UNKNOWN, method, path, request_id)


def ended(shop: Database, number: int, status: int, *, reason: str | None = None, revision: int | None = None) -> None:
    """Complete an entry with the status of the answer, and the latest revision then."""
    with shop.writing() as session:
        entry = session.get_one(AuditEntry, number)
        entry.status, entry.done = status, status < 400
        entry.reason, entry.revision = reason and reason[:500], revision


def refused(
    shop: Database, caller: Caller | None, status: int, *, method: str, path: str, request_id: str | None,
    reason: str | None = None,
) -> None:  # fmt: skip
    """Enter a write that was refused before it began."""
    _enter(shop, caller, status, method, path, request_id, reason and reason[:500])


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
