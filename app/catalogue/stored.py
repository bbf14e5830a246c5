"""The SQL tables, derived from the row descriptions: each row with the span of revisions it holds for."""

from typing import Any

from sqlalchemy import Boolean, Float, Index, Integer, MetaData, String, Table, UniqueConstraint, text
from sqlmodel import Field, SQLModel

from app.catalogue.tables import TABLES, Chassis, Fit, Row

OPEN = 2147483647  # revision_to of a row that still holds

BYTEWISE = String().with_variant(String(collation="C"), "postgresql")  # text compares bytewise on both engines
SQL_TYPES: dict[str, Any] = {"text": BYTEWISE, "integer": Integer(), "double": Float(53), "boolean": Boolean()}
PYTHON_TYPES: dict[str, Any] = {"text": str, "integer": int, "double": float, "boolean": bool}

OFFERS = ("chassis", "spring", "travel_mm", "model_year_from", "model_year_to", "revision_from", "revision_to")
WIDER: dict[type[Row], tuple[str, tuple[str, ...]]] = {
    Fit: ("ix_fits_offers", OFFERS),  # what a chassis offers, and which of it in which years, is in the index alone
    Chassis: ("ix_chassis_family", ("maker", "name", "revision_to")),
}
"""Indexes in place of one by their first column alone."""

CATALOGUE = MetaData(
    naming_convention={"ix": "ix_%(table_name)s_%(column_0_N_name)s", "uq": "uq_%(table_name)s_%(column_0_N_name)s"}
)


class CatalogueModel(SQLModel):
    """Base of the catalogue's SQL tables; the shop database has its own."""

    metadata = CATALOGUE


class Revision(CatalogueModel, table=True):
    """One accepted change of the catalogue. `recorded_at` is RFC 3339 UTC text and never decreases."""

    __tablename__ = "revisions"

    number: int = Field(primary_key=True, sa_type=Integer, sa_column_kwargs={"autoincrement": False})
    recorded_at: str = Field(sa_type=BYTEWISE)
    reason: str = Field(sa_type=BYTEWISE)
    who: str = Field(sa_type=BYTEWISE)
    added: int = Field(sa_type=Integer)
    changed: int = Field(sa_type=Integer)
    withdrawn: int = Field(sa_type=Integer)
    idempotency_key: str | None = Field(default=None, sa_type=BYTEWISE, unique=True)
    request_digest: str | None = Field(default=None, sa_type=BYTEWISE)


class KeptFinding(CatalogueModel, table=True):
    """A warning that stood when a revision was accepted, with the span of revisions it stands for.

    `id` is a hash of what it says; `shape` names the row, family or entity whose judging gave it, so that judging that
    again replaces just these.
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
    mend: str | None = Field(default=None, sa_type=BYTEWISE)


def _table(description: type[Row]) -> Table:
    fields: dict[str, Any] = {}
    annotations: dict[str, Any] = {}
    columns = description.columns()
    for name, described in columns.items():
        kind = described.kind.sql
        required = described.required
        annotations[name] = PYTHON_TYPES[kind] if required else PYTHON_TYPES[kind] | None
        default: Any = ... if required else None
        fields[name] = Field(default, sa_type=SQL_TYPES[kind], primary_key=name == "id")
    annotations["revision_from"] = annotations["revision_to"] = int
    fields["revision_from"] = Field(sa_type=Integer, primary_key=True, sa_column_kwargs={"autoincrement": False})
    fields["revision_to"] = Field(sa_type=Integer)
    references = [name for name, described in columns.items() if described.refers_to and described.kind.items is None]
    ordered = [name for name in ("chassis", *references) if name in columns]
    indexed = [*dict.fromkeys(ordered), *(name for name in ("part_number",) if name in columns)]
    further: list[Index] = []
    if "exception_to" in columns:  # hardly any row is one: the rest is not in the index
        given = text("exception_to IS NOT NULL")
        named = f"ix_{description.table}_exceptions"
        further.append(Index(named, "exception_to", "revision_to", sqlite_where=given, postgresql_where=given))
    if description in WIDER:
        name, wider = WIDER[description]
        indexed.remove(wider[0])
        further.append(Index(name, *wider))
    arguments = (
        UniqueConstraint("id", "revision_to"),
        *(Index(None, name, "revision_to") for name in indexed),
        Index(None, "revision_from", "id"),  # changes of a revision, in order of id
        Index(None, "revision_to", "id"),
        *further,
    )
    namespace = {
        "__annotations__": annotations,
        "__module__": __name__,
        "__doc__": description.meaning,
        "__tablename__": description.table,
        "__table_args__": arguments,
        **fields,
    }
    metaclass: Any = type(CatalogueModel)
    metaclass("Stored" + description.__name__, (CatalogueModel,), namespace, table=True)
    return CATALOGUE.tables[description.table]


SQL: dict[type[Row], Table] = {description: _table(description) for description in TABLES.values()}
FINDINGS: Table = CATALOGUE.tables["findings"]
REVISIONS: Table = CATALOGUE.tables["revisions"]
