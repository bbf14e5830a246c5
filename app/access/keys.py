"""Keys: made once and shown once, kept as SHA-256, compared in constant time; each has scopes and can be revoked.

A key reads `legwork-<id>-<secret>`: the id is public and finds the row, the secret is 256 random bits, so no slow hash
is needed. Whether the id is unknown, the secret wrong or the key revoked, the answer is one and takes one path.
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

KeyScope = Literal["read", "edit", "bench", "admin"]
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
"""One row in either case, empty if there is no such key: reading no row, or an object, would take another time."""
_NOBODY = hashlib.sha256(b"nobody").hexdigest()


@dataclass(frozen=True, slots=True)
class Caller:
    """Who is asking: the public id and label of a key, what it may do, and the shop whose bench log it sees. `admin`
    may do everything, but sees no other shop's forks."""

    id: str
    label: str
    scopes: frozenset[str]
    shop: str

    def may(self, scope: KeyScope) -> bool:
        """Whether the key has that scope, or may do everything."""
        return scope in self.scopes or "admin" in self.scopes

    def require(self, scope: KeyScope) -> None:
        """Raises Forbidden where the key lacks the scope."""
        if not self.may(scope):
            raise Forbidden(f"this key may not do that: it takes the scope {scope}")


@dataclass(frozen=True, slots=True)
class KeyView:
    """A key as it is listed; `token` only at the moment it is made."""

    id: str
    label: str
    scopes: tuple[str, ...]
    shop: str
    created_at: str
    revoked_at: str | None = None
    token: str | None = None


def add(shop: Database, label: str, scopes: Iterable[str], *, of: str | None = None) -> KeyView:
    """Make a key; its token is in the answer and never again. Keys `of` one shop share a bench log; a key of none has
    one of its own. Raises Invalid for a label, scope or name of a shop that is none."""
    wanted = sorted(set(scopes))
    if not _LABEL.fullmatch(label):
        raise Invalid.one("label", "a label is 1 to 60 letters, digits, spaces, dots or hyphens; it is public")
    unknown = [scope for scope in wanted if scope not in SCOPES]
    if unknown or not wanted:
        raise Invalid.one("scope", f"a scope is one of {', '.join(SCOPES)}")
    if of is not None and (not _SHOP.fullmatch(of) or _A_KEYS_ID.fullmatch(of)):
        raise Invalid.one("shop", "a shop is 3 to 40 small letters, digits and hyphens, a letter first")
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
    """A revoked key is refused from now on, and whoever is signed in with it is so no longer. Raises NotFound for an id
    that no key in force has."""
    with shop.writing() as session:
        key = session.get(StoredKey, id)
        if key is None or key.revoked_at is not None:
            raise NotFound("no key in force has that id")
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
    """All keys, the revoked ones too, oldest first; no secrets."""
    with shop.reading() as session:
        every = select_rows(StoredKey).order_by(col(StoredKey.created_at), col(StoredKey.id))
        return [_view(key) for key in session.exec(every)]


def _view(key: StoredKey, token: str | None = None) -> KeyView:
    return KeyView(
        key.id, key.label, tuple(key.scopes.split(";")), key.shop, key.created_at, key.revoked_at, token=token
    )


def caller(shop: Database, authorization: str | None) -> Caller | None:
    """Who sends this Authorization header; None where there is none. Raises Unauthorised for any key not in force."""
    if authorization is None:
        return None
    kind, _, token = authorization.partition(" ")
    match = _KEY.fullmatch(token.strip()) if kind.lower() == "bearer" else None
    id, secret = match.groups() if match else ("0" * 12, "")
    with shop.reading() as session:
        key = session.execute(_BY_ID, {"id": id}).one()
    right = hmac.compare_digest(digest_of(secret), key.digest or _NOBODY)
    if not right or key.id is None or key.revoked_at is not None:
        raise Unauthorised("this key is not in force")
    return caller_of(key)


def caller_of(key: StoredKey | Row[Any]) -> Caller:
    """Who sends a request with that key, read as an object or as columns."""
    return Caller(key.id, key.label, frozenset(key.scopes.split(";")), key.shop)


def now(later: dt.timedelta = dt.timedelta()) -> str:
    """The present moment or one that is later, RFC 3339 UTC."""
    return (dt.datetime.now(dt.UTC) + later).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def digest_of(secret: str) -> str:
    """SHA-256 in hexadecimal: what is kept of a secret of 256 random bits."""
    return hashlib.sha256(secret.encode()).hexdigest()
