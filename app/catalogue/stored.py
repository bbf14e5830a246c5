"""The SQL tables of the catalogue besides its rows: the revisions, and the warnings kept with them."""

from typing import Any

from sqlalchemy import ColumnElement, Index, Integer, Select, Table, UniqueConstraint
from sqlmodel import Field

from app.catalogue.metadata import CATALOGUE, OPEN, CatalogueModel, as_held
from app.catalogue.tables import TABLES, Row
from app.database.metadata import BYTEWISE

__all__ = ["CATALOGUE", "FINDINGS", "OPEN", "REVISIONS", "SQL", "KeptFinding", "Revision", "held_columns"]

Query = Select[Any]
"""A statement over columns that a table's description lists, so that no type can name them."""


class Revision(CatalogueModel, table=True):
    """One accepted change of the catalogue. `recorded_at` is RFC 3339 UTC text and never decreases; `lineage` is
    described in `app.catalogue.lineage`."""

    __tablename__ = "revisions"

    number: int = Field(primary_key=True, sa_type=Integer, sa_column_kwargs={"autoincrement": False})
    recorded_at: str = Field(sa_type=BYTEWISE)
    reason: str = Field(sa_type=BYTEWISE)
    who: str = Field(sa_type=BYTEWISE)
    lineage: str = Field(sa_type=BYTEWISE)
    added: int = Field(sa_type=Integer)
    changed: int = Field(sa_type=Integer)
    withdrawn: int = Field(sa_type=Integer)
    idempotency_key: str | None = Field(default=None, sa_type=BYTEWISE, unique=True)
    request_digest: str | None = Field(default=None, sa_type=BYTEWISE)


class KeptFinding(CatalogueModel, table=True):
    """A warning found when a revision was accepted, with the span of revisions it applies to.

    `id` is a hash of its text. `shape` names the row, family or entity that was checked, so that checking it again
    replaces only these warnings.
    """

    __tablename__ = "findings"
    __table_args__ = (
        UniqueConstraint("id", "revision_to"),
        Index(None, "shape", "revision_to"),
        Index(None, "revision_to"),
    )

    id: str = Field(sa_type=BYTEWISE, primary_key=True)
    revision_from: int = Field(sa_type=Integer, primary_key=True, sa_column_kwargs={"autoincrement": False})
    revision_to: int = Field(sa_type=Integer)
    shape: str = Field(sa_type=BYTEWISE)
    rule: str = Field(sa_type=BYTEWISE)
    severity: str = Field(sa_type=BYTEWISE)
    in_table: str = Field(sa_type=BYTEWISE)
    row_id: str | None = Field(default=None, sa_type=BYTEWISE)
    in_column: str | None = Field(default=None, sa_type=BYTEWISE)
    value: str | None = Field(default=None, sa_type=BYTEWISE)
    text: str = Field(sa_type=BYTEWISE)
    collides_table: str | None = Field(default=None, sa_type=BYTEWISE)
    collides_id: str | None = Field(default=None, sa_type=BYTEWISE)
    fix: str | None = Field(default=None, sa_type=BYTEWISE)


SQL: dict[type[Row], Table] = {table: CATALOGUE.tables[table.table] for table in TABLES.values()}
"""The tables of rows, read and written through SQLAlchemy Core (see `light_row` for the reason)."""
FINDINGS: Table = CATALOGUE.tables["findings"]
REVISIONS: Table = CATALOGUE.tables["revisions"]


def held_columns(table: type[Row]) -> list[ColumnElement[Any]]:
    """The columns of a table in exchange order, read as stored, for `from_database`."""
    stored = SQL[table]
    return [as_held(stored.c[name]) for name in table.columns()]
