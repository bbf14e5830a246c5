"""Sign-ins of browsers: a key once checked stands for twelve hours behind a secret that is no key.

The secret is 256 random bits and is kept as SHA-256 only. A session ends when its time is up, when it is signed out,
when its key is revoked, and when that key has signed in `MOST` times since; at each sign-in those whose time is up are
erased, and the oldest of that key beyond `MOST`.
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
"""Sessions of one key at once: a workshop's browsers, and no more rows however often one signs in."""
LETTERS = 43
"""Of a session's secret: 256 bits in base64url (RFC 4648, 5) without padding."""


def begin(shop: Database, caller: Caller, before: str | None = None) -> str:
    """The secret of a new session of that key; `before`, if the browser had one, ends with it, and so do the oldest of
    the key where it would have more than MOST."""
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
    """Whose session that is; None if it is over or never was."""
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
    """Nothing is signed in by that secret any more."""
    with shop.writing() as session:
        session.execute(delete(StoredSession).where(col(StoredSession.digest) == digest_of(secret)))
