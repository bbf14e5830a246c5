"""Sign-ins of browsers: a key that was checked once is replaced by a session secret, for twelve hours at most.

The secret is 256 random bits and is kept as SHA-256 only. A session ends when its time is up, when it was not used for
`IDLE`, when it is signed out or ended by the operator, when its key is revoked, and when that key has signed in `MOST`
times since. Each sign-in erases the sessions that are over, and the oldest of that key beyond `MOST`.
"""

import datetime as dt
import secrets
from dataclasses import dataclass

from sqlalchemy import and_, delete, func, or_, update
from sqlmodel import col, select

from app.access.keys import Caller, caller_of, digest_of, now
from app.access.stored import StoredKey, StoredSession
from app.database.connections import Database
from app.errors import NotFound

LASTS = dt.timedelta(hours=12)
IDLE = dt.timedelta(hours=4)
"""How long a session lasts unused: a service on the bench takes less."""
NOTED_EVERY = dt.timedelta(minutes=5)
"""How exactly it is known when a session was last used: each note is a write."""
MOST = 20
"""Sessions of one key at once: a workshop's browsers, and no more rows however often one signs in."""
SHOWN = 16
"""Letters of a digest that name a session in a list."""
LETTERS = 43
"""Length of a session's secret: 256 bits in base64url (RFC 4648, 5) without padding."""


def begin(shop: Database, caller: Caller, before: str | None = None) -> str:
    """Create a session for that key and return its secret.

    It ends `before`, the browser's previous session, and the key's oldest beyond MOST.
    """
    secret = secrets.token_urlsafe(32)
    begun = StoredSession(
        digest=digest_of(secret), key=caller.id, created_at=now(), expires_at=now(LASTS), used_at=now()
    )
    with shop.writing() as session:
        over = or_(col(StoredSession.expires_at) <= now(), col(StoredSession.used_at) <= now(-IDLE))
        session.execute(delete(StoredSession).where(over))
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
            StoredSession.used_at > now(-IDLE),
            col(StoredKey.revoked_at).is_(None),
        )
    )  # fmt: skip
    with shop.reading() as session:
        key = session.exec(in_force).first()
        return None if key is None else caller_of(key)


def note_use(shop: Database, secret: str) -> None:
    """Note that a session is in use, at most every NOTED_EVERY. Raises Unavailable or NoRoom if it cannot be noted."""
    old = and_(col(StoredSession.digest) == digest_of(secret), col(StoredSession.used_at) <= now(-NOTED_EVERY))
    with shop.reading() as session:
        if session.exec(select(StoredSession).where(old)).first() is None:
            return
    with shop.writing() as session:
        session.execute(update(StoredSession).where(old).values(used_at=now()))


@dataclass(frozen=True, slots=True)
class SessionView:
    """A session as it is listed: the first letters of its digest, which open nothing, and the key it belongs to."""

    id: str
    key: str
    created_at: str
    used_at: str
    expires_at: str


def listed(shop: Database) -> list[SessionView]:
    """The sessions that last, the newest first."""
    lasting = select(StoredSession).where(StoredSession.expires_at > now(), StoredSession.used_at > now(-IDLE))
    with shop.reading() as session:
        return [
            SessionView(each.digest[:SHOWN], each.key, each.created_at, each.used_at, each.expires_at)
            for each in session.exec(lasting.order_by(col(StoredSession.created_at).desc()))
        ]


def end_listed(shop: Database, id: str) -> int:
    """End the session with that id, or all sessions of the key with that id; returns how many. Raises NotFound."""
    its_own = or_(func.substr(col(StoredSession.digest), 1, SHOWN) == id, col(StoredSession.key) == id)
    with shop.writing() as session:
        ended = session.exec(select(StoredSession).where(its_own)).all()
        for each in ended:
            session.delete(each)
    if not ended:
        raise NotFound("no session has that id, and no key with that id has one")
    return len(ended)


def end(shop: Database, secret: str) -> None:
    """End the session with that secret."""
    with shop.writing() as session:
        session.execute(delete(StoredSession).where(col(StoredSession.digest) == digest_of(secret)))
