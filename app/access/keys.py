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
from typing import Literal, get_args

from sqlalchemy import bindparam, delete, insert, literal, select, update

from app.access.stored import KEYS, SESSIONS
from app.database.connections import Database
from app.errors import Forbidden, Invalid, NotFound, Unauthorised

Scope = Literal["read", "edit", "bench", "admin"]
SCOPES: tuple[Scope, ...] = get_args(Scope)

_KEY = re.compile(r"legwork-([0-9a-f]{12})-([A-Za-z0-9_-]{43})")
_LABEL = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,59}")
_SHOP = re.compile(r"[a-z][a-z0-9-]{2,39}")
_A_KEYS_ID = re.compile(r"[0-9a-f]{12}")
_BY_ID = select(KEYS.c.id, KEYS.c.label, KEYS.c.digest, KEYS.c.scopes, KEYS.c.shop, KEYS.c.revoked_at).select_from(
    select(literal(1).label("one")).subquery().outerjoin(KEYS, KEYS.c.id == bindparam("id"))
)
"""One row in either case, empty where there is no such key: to read no row at all takes a tenth less time."""
_NOBODY = hashlib.sha256(b"nobody").hexdigest()


@dataclass(frozen=True, slots=True)
class Caller:
    """Who is asking: the public id and label of a key, what it may do, and the shop whose bench log it sees. `admin`
    may do everything, but sees no other shop's forks."""

    id: str
    label: str
    scopes: frozenset[str]
    shop: str

    def may(self, scope: Scope) -> bool:
        return scope in self.scopes or "admin" in self.scopes

    def require(self, scope: Scope) -> None:
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
    made = now()
    values = {
        "id": id, "label": label, "digest": digest_of(secret), "scopes": ";".join(wanted), "shop": of or id,
        "created_at": made,
    }  # fmt: skip
    with shop.write() as connection:
        connection.execute(insert(KEYS), values)
    return KeyView(id, label, tuple(wanted), of or id, made, token=f"legwork-{id}-{secret}")


def revoke(shop: Database, id: str) -> None:
    """A revoked key is refused from now on, and whoever is signed in with it is so no longer. Raises NotFound for an id
    that no key in force has."""
    statement = update(KEYS).where(KEYS.c.id == id, KEYS.c.revoked_at.is_(None)).values(revoked_at=now())
    with shop.write() as connection:
        if connection.execute(statement).rowcount == 0:
            raise NotFound("no key in force has that id")
        connection.execute(delete(SESSIONS).where(SESSIONS.c.key == id))


def listed(shop: Database) -> list[KeyView]:
    """All keys, the revoked ones too, oldest first; no secrets."""
    statement = select(KEYS).order_by(KEYS.c.created_at, KEYS.c.id)
    with shop.read() as connection:
        return [
            KeyView(row.id, row.label, tuple(row.scopes.split(";")), row.shop, row.created_at, row.revoked_at)
            for row in connection.execute(statement)
        ]


def caller(shop: Database, authorization: str | None) -> Caller | None:
    """Who sends this Authorization header; None where there is none. Raises Unauthorised for any key not in force."""
    if authorization is None:
        return None
    kind, _, token = authorization.partition(" ")
    match = _KEY.fullmatch(token.strip()) if kind.lower() == "bearer" else None
    id, secret = match.groups() if match else ("0" * 12, "")
    with shop.read() as connection:
        row = connection.execute(_BY_ID, {"id": id}).one()
    right = hmac.compare_digest(digest_of(secret), row.digest or _NOBODY)
    if not right or row.id is None or row.revoked_at is not None:
        raise Unauthorised("this key is not in force")
    return Caller(row.id, row.label, frozenset(row.scopes.split(";")), row.shop)


def now(later: dt.timedelta = dt.timedelta()) -> str:
    """The present moment or one that is later, RFC 3339 UTC."""
    return (dt.datetime.now(dt.UTC) + later).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def digest_of(secret: str) -> str:
    """SHA-256 in hexadecimal: what is kept of a secret of 256 random bits."""
    return hashlib.sha256(secret.encode()).hexdigest()
