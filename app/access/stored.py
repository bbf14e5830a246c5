"""The SQL tables of the shop database: keys, sign-ins and the audit of writes; the bench log adds its own. Rows can be
erased."""

from sqlalchemy import Boolean, Integer, MetaData, String, Table
from sqlmodel import Field, SQLModel

SHOP = MetaData(
    naming_convention={"ix": "ix_%(table_name)s_%(column_0_N_name)s", "uq": "uq_%(table_name)s_%(column_0_N_name)s"}
)
BYTEWISE = String().with_variant(String(collation="C"), "postgresql")


class ShopModel(SQLModel):
    """Base of the shop database's SQL tables."""

    metadata = SHOP


class StoredKey(ShopModel, table=True):
    """A key: its public id and label, the SHA-256 of its secret, what it may do, for which shop. The secret itself is
    nowhere."""

    __tablename__ = "keys"

    id: str = Field(primary_key=True, sa_type=BYTEWISE)
    label: str = Field(sa_type=BYTEWISE)
    digest: str = Field(sa_type=BYTEWISE, unique=True)
    scopes: str = Field(sa_type=BYTEWISE)
    shop: str = Field(sa_type=BYTEWISE)
    created_at: str = Field(sa_type=BYTEWISE)
    revoked_at: str | None = Field(default=None, sa_type=BYTEWISE)


class StoredSession(ShopModel, table=True):
    """A browser that is signed in with a key: the SHA-256 of what its cookie bears. It ends with `expires_at` or with
    its key."""

    __tablename__ = "sessions"

    digest: str = Field(primary_key=True, sa_type=BYTEWISE)
    key: str = Field(sa_type=BYTEWISE, index=True)
    created_at: str = Field(sa_type=BYTEWISE)
    expires_at: str = Field(sa_type=BYTEWISE)


class AuditEntry(ShopModel, table=True):
    """A write that was asked for, done or refused. `key` is the public id of the key, if one was known."""

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


class StoredIdempotencyKey(ShopModel, table=True):
    """A request that was done: `key` names its sender too, `made` is what the same request is answered from."""

    __tablename__ = "idempotency_keys"

    key: str = Field(primary_key=True, sa_type=BYTEWISE)
    digest: str = Field(sa_type=BYTEWISE)
    made: str = Field(sa_type=BYTEWISE)
    used_at: str = Field(sa_type=BYTEWISE, index=True)


KEYS: Table = SHOP.tables["keys"]
SESSIONS: Table = SHOP.tables["sessions"]
AUDIT: Table = SHOP.tables["audit"]
IDEMPOTENCY_KEYS: Table = SHOP.tables["idempotency_keys"]
