"""Sign-ins of browsers: a key once checked stands for twelve hours behind a secret that is no key.

The secret is 256 random bits and is kept as SHA-256 only. A session ends when its time is up, when it is signed out,
when its key is revoked, and when that key has signed in `MOST` times since; at each sign-in those whose time is up are
erased, and the oldest of that key beyond `MOST`.
"""

import datetime as dt
import secrets

from sqlalchemy import bindparam, delete, insert, select

from app.access.keys import Caller, digest_of, now
from app.access.stored import KEYS, SESSIONS
from app.database.connections import Database

LASTS = dt.timedelta(hours=12)
MOST = 20
"""Sessions of one key at once: a workshop's browsers, and no more rows however often one signs in."""
LETTERS = 43
"""Of a session's secret: 256 bits in base64url (RFC 4648, 5) without padding."""

_IN_FORCE = (
    select(KEYS.c.id, KEYS.c.label, KEYS.c.scopes, KEYS.c.shop)
    .join(SESSIONS, SESSIONS.c.key == KEYS.c.id)
    .where(
        SESSIONS.c.digest == bindparam("digest"), SESSIONS.c.expires_at > bindparam("at"), KEYS.c.revoked_at.is_(None)
    )
)


def begin(shop: Database, caller: Caller, before: str | None = None) -> str:
    """The secret of a new session of that key; `before`, if the browser had one, ends with it, and so do the oldest of
    the key where it would have more than MOST."""
    secret = secrets.token_urlsafe(32)
    row = {"digest": digest_of(secret), "key": caller.id, "created_at": now(), "expires_at": now(LASTS)}
    over = SESSIONS.c.expires_at <= now()
    if before is not None:
        over |= SESSIONS.c.digest == digest_of(before)
    its_own = SESSIONS.c.key == caller.id
    latest = select(SESSIONS.c.digest).where(its_own).order_by(SESSIONS.c.created_at.desc()).limit(MOST - 1)
    with shop.write() as connection:
        connection.execute(delete(SESSIONS).where(over))
        connection.execute(delete(SESSIONS).where(its_own, SESSIONS.c.digest.not_in(latest)))
        connection.execute(insert(SESSIONS), row)
    return secret


def caller(shop: Database, secret: str) -> Caller | None:
    """Whose session that is; None where it is over or never was."""
    with shop.read() as connection:
        row = connection.execute(_IN_FORCE, {"digest": digest_of(secret), "at": now()}).first()
    return None if row is None else Caller(row.id, row.label, frozenset(row.scopes.split(";")), row.shop)


def end(shop: Database, secret: str) -> None:
    """Nothing is signed in by that secret any more."""
    with shop.write() as connection:
        connection.execute(delete(SESSIONS).where(SESSIONS.c.digest == digest_of(secret)))
