"""API keys: shown once when made, stored as SHA-256, compared in constant time; each has scopes and can be revoked.

A key reads `legwork-<id>-<secret>`. The id is public and finds the row; the secret is 256 random bits, so no slow hash
is needed. An unknown id, a wrong secret and a revoked key get the same answer on the same path.
"""

import datetime as dt
import hashlib
import hmac
import re
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, get_args

from sqlalchemy import Row, bindparam, delete, literal, select
from sqlmodel import col
from sqlmodel import select as select_rows

from app.access.stored import AuditEntry, StoredKey, StoredSession
from app.database.connections import Database
from app.errors import Forbidden, Invalid, NotFound, Unauthorised

KeyScope = Literal["read", "edit", "review", "bench", "admin"]
SCOPES: tuple[KeyScope, ...] = get_args(KeyScope)

_KEY = re.compile(r"legwork-([0-9a-f]{12})-([A-Za-z0-9_-]{43})")
_LABEL = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,59}")
_SHOP = re.compile(r"[a-z][a-z0-9-]{2,39}")
_A_KEYS_ID = re.compile(r"[0-9a-f]{12}")
_BY_ID = select(
    col(StoredKey.id), col(StoredKey.label), col(StoredKey.digest), col(StoredKey.scopes), col(StoredKey.shop),
    col(StoredKey.revoked_at),
).select_from(
    select(literal(1).label("one")).subquery().outerjoin(StoredKey, col(StoredKey.id) == bindparam("id"))
)  # fmt: skip
"""Always one row, empty if there is no such key: reading no row, or an object, would take a different time."""
_NOBODY = hashlib.sha256(b"nobody").hexdigest()


@dataclass(frozen=True, slots=True)
class Caller:
    """The sender of a request: public id and label of its key, its scopes, and the shop whose bench log it sees.

    `admin` may do everything, but sees no other shop's forks.
    """

    id: str
    label: str
    scopes: frozenset[str]
    shop: str

    def may(self, scope: KeyScope) -> bool:
        """Whether the key has that scope, or `admin`."""
        return scope in self.scopes or "admin" in self.scopes

    def require(self, scope: KeyScope) -> None:
        """Raises Forbidden if the key lacks the scope."""
        if not self.may(scope):
            raise Forbidden(f"this key may not do that: it needs the scope {scope}")


@dataclass(frozen=True, slots=True)
class KeyView:
    """A key as it is listed; `token` is present only when it has just been made."""

    id: str
    label: str
    scopes: tuple[str, ...]
    shop: str
    created_at: str
    revoked_at: str | None = None
    token: str | None = None


def add(shop: Database, label: str, scopes: Iterable[str], *, of: str | None = None) -> KeyView:
    """Make a key. Its token is in this answer and never shown again.

    Keys `of` one shop share a bench log; a key without a shop has its own. Raises Invalid for an invalid label, scope
    or shop name.
    """
    wanted = sorted(set(scopes))
    if not _LABEL.fullmatch(label):
        raise Invalid.one("label", "a label has 1 to 60 letters, digits, spaces, dots or hyphens; it is public")
    unknown = [scope for scope in wanted if scope not in SCOPES]
    if unknown or not wanted:
        raise Invalid.one("scope", f"a scope is one of {', '.join(SCOPES)}")
    if of is not None and (not _SHOP.fullmatch(of) or _A_KEYS_ID.fullmatch(of)):
        raise Invalid.one(
            "shop", ("a shop name has 3 to 40 lower-case letters, digits and hyphens, and starts with a letter")
        )
    id, secret = secrets.token_hex(6), secrets.token_urlsafe(32)
    key = StoredKey(
        id=id, label=label, digest=digest_of(secret), scopes=";".join(wanted), shop=of or id, created_at=now(),
    )  # fmt: skip
    view = _view(key, token=f"legwork-{id}-{secret}")
    with shop.writing() as session:
        session.add(key)
        session.add(_entry(key, "keys add"))
    return view


def revoke(shop: Database, id: str) -> None:
    """Revoke a key: it is refused from now on, and its sessions end. Raises NotFound unless a valid key has that id."""
    with shop.writing() as session:
        key = session.get(StoredKey, id)
        if key is None or key.revoked_at is not None:
            raise NotFound("no valid key has that id")
        key.revoked_at = now()
        session.add(_entry(key, "keys revoke"))
        session.execute(delete(StoredSession).where(col(StoredSession.key) == id))


def _entry(key: StoredKey, command: str) -> AuditEntry:
    """The audit entry of a key that is made or revoked, in the same transaction."""
    reason = f"{key.label}: {key.scopes}"
    return AuditEntry(
        at=now(), key=key.id, method="COMMAND", path=f"{command} {key.id}", status=200, done=True, reason=reason
    )


def listed(shop: Database) -> list[KeyView]:
    """All keys, including revoked ones, oldest first; no secrets."""
    with shop.reading() as session:
        every = select_rows(StoredKey).order_by(col(StoredKey.created_at), col(StoredKey.id))
        return [_view(key) for key in session.exec(every)]


def _view(key: StoredKey, token: str | None = None) -> KeyView:
    return KeyView(
        key.id, key.label, tuple(key.scopes.split(";")), key.shop, key.created_at, key.revoked_at, token=token
    )


def caller(shop: Database, authorization: str | None) -> Caller | None:
    """The sender of this Authorization header; None without one. Raises Unauthorised for a key that is not valid."""
    if authorization is None:
        return None
    kind, _, token = authorization.partition(" ")
    match = _KEY.fullmatch(token.strip()) if kind.lower() == "bearer" else None
    id, secret = match.groups() if match else ("0" * 12, "")
    with shop.reading() as session:
        key = session.execute(_BY_ID, {"id": id}).one()
    right = hmac.compare_digest(digest_of(secret), key.digest or _NOBODY)
    if not right or key.id is None or key.revoked_at is not None:
        raise Unauthorised("this key is not valid")
    return caller_of(key)


def caller_of(key: StoredKey | Row[Any]) -> Caller:
    """The sender with that key, given as an object or as columns."""
    return Caller(key.id, key.label, frozenset(key.scopes.split(";")), key.shop)


def now(later: dt.timedelta = dt.timedelta()) -> str:
    """The current time or a later one, RFC 3339 UTC."""
    return (dt.datetime.now(dt.UTC) + later).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def digest_of(secret: str) -> str:
    """SHA-256 in hexadecimal, which is all that is stored of a 256-bit random secret."""
    return hashlib.sha256(secret.encode()).hexdigest()
