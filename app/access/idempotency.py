"""Requests to the shop database that were already done, by Idempotency-Key; kept for 30 days."""

import datetime as dt
from typing import NamedTuple

from sqlalchemy import Connection, delete, insert, select

from app.access.keys import now
from app.access.stored import IDEMPOTENCY_KEYS
from app.errors import Invalid

KEEP_FOR = dt.timedelta(days=30)


class IdempotentRequest(NamedTuple):
    """The key of a request, including its sender, and a digest of the request."""

    key: str
    digest: str


def made_before(connection: Connection, request: IdempotentRequest | None) -> str | None:
    """The text that `remember` stored for this request, or None.

    Raises Invalid if the key was used for another request.
    """
    if request is None:
        return None
    known = select(IDEMPOTENCY_KEYS.c.digest, IDEMPOTENCY_KEYS.c.made).where(
        IDEMPOTENCY_KEYS.c.key == request.key, IDEMPOTENCY_KEYS.c.used_at >= now(-KEEP_FOR)
    )
    found = connection.execute(known).first()
    if found is None:
        return None
    if found.digest != request.digest:
        raise Invalid.one("idempotency-key-reused", "this Idempotency-Key was used for another request")
    return str(found.made)


def remember(connection: Connection, request: IdempotentRequest | None, made: str) -> None:
    """Store the outcome of a request in its own transaction, and delete the keys that have expired."""
    if request is None:
        return
    connection.execute(delete(IDEMPOTENCY_KEYS).where(IDEMPOTENCY_KEYS.c.used_at < now(-KEEP_FOR)))
    connection.execute(
        insert(IDEMPOTENCY_KEYS), {"key": request.key, "digest": request.digest, "made": made, "used_at": now()}
    )
