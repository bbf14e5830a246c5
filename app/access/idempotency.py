"""Requests to the shop database that were done before, by the Idempotency-Key that came with them; kept for 30 days."""

import datetime as dt
from typing import NamedTuple

from sqlalchemy import Connection, delete, insert, select

from app.access.keys import now
from app.access.stored import IDEMPOTENCY_KEYS
from app.errors import Invalid

KEPT = dt.timedelta(days=30)


class IdempotentRequest(NamedTuple):
    """The key that came with a request, with the sender it belongs to, and a digest of the request."""

    key: str
    digest: str


def made_before(connection: Connection, request: IdempotentRequest | None) -> str | None:
    """The text that `remember` stored for this request, or None. Raises Invalid for a key of another request."""
    if request is None:
        return None
    known = select(IDEMPOTENCY_KEYS.c.digest, IDEMPOTENCY_KEYS.c.made).where(
        IDEMPOTENCY_KEYS.c.key == request.key, IDEMPOTENCY_KEYS.c.used_at >= now(-KEPT)
    )
    found = connection.execute(known).first()
    if found is None:
        return None
    if found.digest != request.digest:
        raise Invalid.one("idempotency-key-reused", "this Idempotency-Key was used for another request")
    return str(found.made)


def remember(connection: Connection, request: IdempotentRequest | None, made: str) -> None:
    """Keep the outcome of a request, in the transaction that made it, and drop the keys that are older than KEPT."""
    if request is None:
        return
    connection.execute(delete(IDEMPOTENCY_KEYS).where(IDEMPOTENCY_KEYS.c.used_at < now(-KEPT)))
    connection.execute(
        insert(IDEMPOTENCY_KEYS), {"key": request.key, "digest": request.digest, "made": made, "used_at": now()}
    )
