"""The audit: every write that was asked for, done or refused, by the public id of its key; never a key or a body."""

from sqlalchemy import insert

from app.access.keys import Caller, now
from app.access.stored import AUDIT
from app.database.connections import Database


def record(
    shop: Database, caller: Caller | None, *, method: str, path: str, status: int, request_id: str | None,
    reason: str | None = None, revision: int | None = None,
) -> None:  # fmt: skip
    """Append one entry."""
    entry = {
        "at": now(), "key": caller.id if caller else None, "method": method, "path": path[:500], "status": status,
        "done": status < 400, "reason": reason and reason[:500], "revision": revision, "request_id": request_id,
    }  # fmt: skip
    with shop.write() as connection:
        connection.execute(insert(AUDIT), entry)
