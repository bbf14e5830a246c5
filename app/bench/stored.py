"""The SQL tables of the bench log, in the shop database. None of it goes into the catalogue, exports or logs."""

from sqlalchemy import Boolean, Integer, Table, UniqueConstraint
from sqlmodel import Field

from app.access.stored import SHOP, ShopModel
from app.database.metadata import BYTEWISE


class StoredFork(ShopModel, table=True):
    """One physical fork of one shop.

    `configuration` is JSON (`app.bench.shapes.Configuration`). `erasing` is set when its content has been blanked, and
    hides the row until the database has been rewritten. `riding` is the kind of riding that selects its intervals.
    """

    __tablename__ = "forks"
    __table_args__ = (UniqueConstraint("shop", "serial"),)

    id: str = Field(primary_key=True, sa_type=BYTEWISE)
    shop: str = Field(sa_type=BYTEWISE)
    serial: str = Field(sa_type=BYTEWISE)
    chassis: str = Field(sa_type=BYTEWISE)
    configuration: str = Field(sa_type=BYTEWISE)
    first_used_on: str | None = Field(default=None, sa_type=BYTEWISE)
    riding: str | None = Field(default=None, sa_type=BYTEWISE)
    registered_at: str = Field(sa_type=BYTEWISE)
    changed_at: str = Field(sa_type=BYTEWISE)
    version: int = Field(sa_type=Integer)
    erasing: bool = Field(sa_type=Boolean)


class StoredService(ShopModel, table=True):
    """One finished job on a fork, the `number`-th recorded.

    `done` is JSON (`app.bench.shapes.Done`), `configuration` is what was in the fork then (only the changed part if the
    job was entered late). `applied` says whether it became the current configuration.
    """

    __tablename__ = "services"
    __table_args__ = (UniqueConstraint("fork", "idempotency_key"),)

    fork: str = Field(primary_key=True, sa_type=BYTEWISE)
    number: int = Field(primary_key=True, sa_type=Integer)
    job: str = Field(sa_type=BYTEWISE)
    done_on: str | None = Field(default=None, sa_type=BYTEWISE)
    hours: str | None = Field(default=None, sa_type=BYTEWISE)
    recorded_at: str = Field(sa_type=BYTEWISE)
    recorded_by: str = Field(sa_type=BYTEWISE)
    done: str = Field(sa_type=BYTEWISE)
    configuration: str = Field(sa_type=BYTEWISE)
    applied: bool = Field(sa_type=Boolean)
    riding: str | None = Field(default=None, sa_type=BYTEWISE)
    idempotency_key: str | None = Field(default=None, sa_type=BYTEWISE)
    request_digest: str | None = Field(default=None, sa_type=BYTEWISE)


class StoredFlag(ShopModel, table=True):
    """A remark that a value of a statement looks wrong, kept until an editor has settled it."""

    __tablename__ = "flags"

    number: int | None = Field(default=None, primary_key=True, sa_type=Integer)
    statement: str = Field(sa_type=BYTEWISE, index=True)
    statement_table: str = Field(sa_type=BYTEWISE)
    revision: int = Field(sa_type=Integer)
    text: str = Field(sa_type=BYTEWISE)
    flagged_at: str = Field(sa_type=BYTEWISE)
    flagged_by: str = Field(sa_type=BYTEWISE)


class StoredWorkOrder(ShopModel, table=True):
    """A job card frozen when the work began, with what is ticked, measured, kept and replaced.

    `asked` (the parameters of the card), `card`, `fields` and `progress` are JSON (`app.bench.work_order_shapes`).
    `version` counts changes of the fields only. `service` is the number of the recorded job. `erasing` hides the row
    like that of a fork.
    """

    __tablename__ = "work_orders"

    id: str = Field(primary_key=True, sa_type=BYTEWISE)
    shop: str = Field(sa_type=BYTEWISE, index=True)
    fork: str | None = Field(default=None, sa_type=BYTEWISE, index=True)
    chassis: str = Field(sa_type=BYTEWISE)
    job: str = Field(sa_type=BYTEWISE)
    revision: int = Field(sa_type=Integer)
    asked: str = Field(sa_type=BYTEWISE)
    card: str = Field(sa_type=BYTEWISE)
    steps: int = Field(sa_type=Integer)
    fields: str = Field(sa_type=BYTEWISE)
    progress: str = Field(sa_type=BYTEWISE)
    service: int | None = Field(default=None, sa_type=Integer)
    opened_at: str = Field(sa_type=BYTEWISE)
    changed_at: str = Field(sa_type=BYTEWISE)
    version: int = Field(sa_type=Integer)
    erasing: bool = Field(sa_type=Boolean)


FORKS: Table = SHOP.tables["forks"]
SERVICES: Table = SHOP.tables["services"]
FLAGS: Table = SHOP.tables["flags"]
WORK_ORDERS: Table = SHOP.tables["work_orders"]
