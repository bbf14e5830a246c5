"""Browser sessions: a key that was checked once is good for twelve hours through a secret that is not a key.

The secret is 256 random bits, stored only as SHA-256. A session ends when it expires, at sign-out, when its key is
revoked, or after `MOST` newer sign-ins with that key. Each sign-in erases the expired sessions and that key's oldest
beyond `MOST`.
"""

import datetime as dt
import secrets

from sqlalchemy import delete
from sqlmodel import col, select

from app.access.keys import Caller, caller_of, digest_of, now
from app.access.stored import StoredKey, StoredSession
from app.database.connections import Database

LASTS = dt.timedelta(hours=12)
MOST = 20
"""Sessions of one key at once: enough for a workshop's browsers, and bounded however often one signs in."""
LETTERS = 43
"""Length of a session's secret: 256 bits in base64url (RFC 4648, 5) without padding."""


def begin(shop: Database, caller: Caller, before: str | None = None) -> str:
    """Create a session for that key and return its secret.

    It ends `before`, the browser's previous session, and the key's oldest beyond MOST.
    """
    secret = secrets.token_urlsafe(32)
    begun = StoredSession(digest=digest_of(secret), key=caller.id, created_at=now(), expires_at=now(LASTS))
    with shop.writing() as session:
        session.execute(delete(StoredSession).where(col(StoredSession.expires_at) <= now()))
        if before is not None:
            session.execute(delete(StoredSession).where(col(StoredSession.digest) == digest_of(before)))
        its_own = select(StoredSession).where(StoredSession.key == caller.id)
        for oldest in session.exec(its_own.order_by(col(StoredSession.created_at).desc()).offset(MOST - 1)):
            session.delete(oldest)
        session.add(begun)
    return secret


def caller(shop: Database, secret: str) -> Caller | None:
    """The key of a session; None if the session is over or never existed."""
    in_force = (
        select(StoredKey)
        .join(StoredSession, col(StoredSession.key) == col(StoredKey.id))
        .where(
            StoredSession.digest == digest_of(secret), StoredSession.expires_at > now(),
            col(StoredKey.revoked_at).is_(None),
        )
    )  # fmt: skip
    with shop.reading() as session:
        key = session.exec(in_force).first()
        return None if key is None else caller_of(key)


def end(shop: Database, secret: str) -> None:
    """End the session with that secret."""
    with shop.writing() as session:
        session.execute(delete(StoredSession).where(col(StoredSession.digest) == digest_of(secret)))
