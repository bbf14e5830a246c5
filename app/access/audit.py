"""The audit: every write that was asked for, done or refused, by the public id of its key; never a key or a body.

A write that a key may do is entered before it begins and completed when it is answered: what was killed between the
two stands there with status 0, and the revisions say whether it was done.
"""

from sqlalchemy import insert, update

from app.access.keys import Caller, now
from app.access.stored import AUDIT
from app.database.connections import Database

UNKNOWN = 0  # status of a write that began and whose answer was never written down


def begun(shop: Database, caller: Caller | None, *, method: str, path: str, request_id: str | None) -> int:
    """Enter a write that begins; returns the number of the entry."""
    entry = {
        "at": now(), "key": caller.id if caller else None, "method": method, "path": path[:500], "status": UNKNOWN,
        "done": False, "request_id": request_id,
    }  # fmt: skip
    with shop.write() as connection:
        key = connection.execute(insert(AUDIT), entry).inserted_primary_key
    assert key is not None
    return int(key[0])


def ended(shop: Database, number: int, status: int, *, reason: str | None = None, revision: int | None = None) -> None:
    """Complete an entry with what was answered, and the revision that held then."""
    values = {"status": status, "done": status < 400, "reason": reason and reason[:500], "revision": revision}
    with shop.write() as connection:
        connection.execute(update(AUDIT).where(AUDIT.c.number == number).values(values))


def refused(
    shop: Database, caller: Caller | None, status: int, *, method: str, path: str, request_id: str | None,
    reason: str | None = None,
) -> None:  # fmt: skip
    """Enter a write that was refused before it began."""
    entry = {
        "at": now(), "key": caller.id if caller else None, "method": method, "path": path[:500], "status": status,
        "done": False, "reason": reason and reason[:500], "request_id": request_id,
    }  # fmt: skip
    with shop.write() as connection:
        connection.execute(insert(AUDIT), entry)
