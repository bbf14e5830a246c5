"""The SQL tables of the shop database: keys, sign-ins and the audit log; the bench log adds its own.

Rows can be erased.
"""

from sqlalchemy import Boolean, Double, Integer, Table
from sqlmodel import Field, SQLModel

from app.database.metadata import BYTEWISE, new_metadata

SHOP = new_metadata()


class ShopModel(SQLModel):
    """Base of the shop database's SQL tables."""

    metadata = SHOP


class StoredKey(ShopModel, table=True):
    """A key: its public id and label, the SHA-256 of its secret, its scopes and its shop.

    The secret itself is not stored.
    """

    __tablename__ = "keys"

    id: str = Field(primary_key=True, sa_type=BYTEWISE)
    label: str = Field(sa_type=BYTEWISE)
    digest: str = Field(sa_type=BYTEWISE, unique=True)
    scopes: str = Field(sa_type=BYTEWISE)
    shop: str = Field(sa_type=BYTEWISE)
    created_at: str = Field(sa_type=BYTEWISE)
    revoked_at: str | None = Field(default=None, sa_type=BYTEWISE)


class StoredSession(ShopModel, table=True):
    """A browser signed in with a key: the SHA-256 of its cookie's secret. It ends at `expires_at` or with its key."""

    __tablename__ = "sessions"

    digest: str = Field(primary_key=True, sa_type=BYTEWISE)
    key: str = Field(sa_type=BYTEWISE, index=True)
    created_at: str = Field(sa_type=BYTEWISE)
    expires_at: str = Field(sa_type=BYTEWISE)
    used_at: str = Field(sa_type=BYTEWISE)


class AuditEntry(ShopModel, table=True):
    """An attempted write, done or refused. `key` is the public id of the key, if one was known."""

    __tablename__ = "audit"

    number: int | None = Field(default=None, primary_key=True, sa_type=Integer)
    at: str = Field(sa_type=BYTEWISE, index=True)
    key: str | None = Field(default=None, sa_type=BYTEWISE)
    method: str = Field(sa_type=BYTEWISE)
    path: str = Field(sa_type=BYTEWISE)
    status: int = Field(sa_type=Integer)
    done: bool = Field(sa_type=Boolean)
    reason: str | None = Field(default=None, sa_type=BYTEWISE)
    revision: int | None = Field(default=None, sa_type=Integer)
    request_id: str | None = Field(default=None, sa_type=BYTEWISE)


class CatalogueSeen(ShopModel, table=True):
    """One row: the latest revision that the catalogue is known to have had, and the last audit entry read for it."""

    __tablename__ = "catalogue_seen"

    one: int = Field(default=1, primary_key=True, sa_type=Integer)
    revision: int = Field(sa_type=Integer)
    audited: int = Field(sa_type=Integer)


class WriteHit(ShopModel, table=True):
    """A write of a client within its rate, while several workers answer; `at` is in seconds since 1970."""

    __tablename__ = "write_hits"

    number: int | None = Field(default=None, primary_key=True, sa_type=Integer)
    client: str = Field(sa_type=BYTEWISE, index=True)
    at: float = Field(sa_type=Double)


class StoredIdempotencyKey(ShopModel, table=True):
    """A request that was done: `key` includes its sender, `made` is the stored outcome for repeated requests."""

    __tablename__ = "idempotency_keys"

    key: str = Field(primary_key=True, sa_type=BYTEWISE)
    digest: str = Field(sa_type=BYTEWISE)
    made: str = Field(sa_type=BYTEWISE)
    used_at: str = Field(sa_type=BYTEWISE, index=True)


IDEMPOTENCY_KEYS: Table = SHOP.tables["idempotency_keys"]
