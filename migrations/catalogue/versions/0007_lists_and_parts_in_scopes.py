"""a scope lists variants, dampers and wheels, and may name a fitted part; a source names those of other series that it
replaces"""

from alembic import op
import sqlalchemy as sa


revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

TABLES = [
    "procedures",
    "fits",
    "torques",
    "fills",
    "greases",
    "uses",
    "limits",
    "intervals",
    "guides",
    "readings",
]
LISTED = ["variant", "damper"]  # text before and after; an index cannot find an id inside a list
GIVEN = sa.text("supersedes IS NOT NULL")
BYTEWISE = sa.String().with_variant(sa.String(collation="C"), "postgresql")


def upgrade() -> None:
    for table in TABLES:
        for column in LISTED:
            op.drop_index(op.f(f"ix_{table}_{column}_revision_to"), table_name=table)
        _retype(table, BYTEWISE, "CAST(wheel_size AS VARCHAR)")
        op.add_column(table, sa.Column("fitted_part", BYTEWISE, nullable=True))
        op.create_index(
            op.f(f"ix_{table}_fitted_part_revision_to"), table, ["fitted_part", "revision_to"], unique=False
        )
    op.add_column("sources", sa.Column("supersedes", BYTEWISE, nullable=True))
    op.create_index(op.f("ix_sources_series_revision_to"), "sources", ["series", "revision_to"], unique=False)
    op.create_index(
        "ix_sources_superseding",
        "sources",
        ["supersedes", "revision_to"],
        unique=False,
        sqlite_where=GIVEN,
        postgresql_where=GIVEN,
    )


def downgrade() -> None:
    """Of a list of wheels only the first is kept: the older schema has room for one."""
    op.drop_index("ix_sources_superseding", table_name="sources")
    op.drop_index(op.f("ix_sources_series_revision_to"), table_name="sources")
    op.drop_column("sources", "supersedes")
    first = "CAST(substr(wheel_size, 1, 3) AS INTEGER)"  # bead seats have three digits
    for table in TABLES:
        op.drop_index(op.f(f"ix_{table}_fitted_part_revision_to"), table_name=table)
        op.drop_column(table, "fitted_part")
        _retype(table, sa.Integer(), first)
        for column in LISTED:
            op.create_index(op.f(f"ix_{table}_{column}_revision_to"), table, [column, "revision_to"], unique=False)


def _retype(table: str, kind: sa.types.TypeEngine, value: str) -> None:
    """Give wheel_size another type through a new column, because the engines convert a type in different ways."""
    op.add_column(table, sa.Column("wheel_size_new", kind, nullable=True))
    op.execute(f"UPDATE {table} SET wheel_size_new = {value} WHERE wheel_size IS NOT NULL")
    op.drop_column(table, "wheel_size")
    op.execute(f"ALTER TABLE {table} RENAME COLUMN wheel_size_new TO wheel_size")
