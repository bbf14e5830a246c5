"""Counts writes of a client in the shop database, so that several workers count together."""

import time

from sqlalchemy import delete, func
from sqlmodel import col, select

from app.access.stored import WriteHit
from app.database.connections import Database


def hit(shop: Database, client: str, most: int, seconds: int, cost: int) -> tuple[bool, int, float]:
    """Count a write (none at a cost of 0) if fewer than `most` came in the last `seconds`.

    Returns whether it is allowed, how many more are, and when there are more (seconds since 1970). Raises Unavailable
    or NoRoom.
    """
    now = time.time()
    with shop.writing() as session:
        session.execute(delete(WriteHit).where((col(WriteHit.at) < now - seconds) | (col(WriteHit.at) > now + 1)))
        its_own = select(func.count(), func.min(WriteHit.at)).where(WriteHit.client == client)
        count, first = session.exec(its_own).one()
        allowed = count + cost <= most
        if allowed and cost:
            session.add(WriteHit(client=client, at=now))
        remaining = most - count - (cost if allowed else 0)
        return allowed, max(0, remaining), (first or now) + seconds
