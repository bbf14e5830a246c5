"""a row may carry the words of the page that prints something unusual; part numbers are found by an index"""

from alembic import op
import sqlalchemy as sa


revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

TABLES = [
    "makers",
    "sources",
    "chassis",
    "variants",
    "springs",
    "dampers",
    "spacers",
    "parts",
    "fluids",
    "tools",
    "fasteners",
    "frames",
    "procedures",
    "steps",
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
NUMBERED = ["springs", "parts"]
BYTEWISE = sa.String().with_variant(sa.String(collation="C"), "postgresql")


def upgrade() -> None:
    op.execute("ALTER TABLE findings RENAME COLUMN mend TO fix")
    for table in TABLES:
        op.add_column(table, sa.Column("as_printed", BYTEWISE, nullable=True))
    for table in NUMBERED:
        op.create_index(
            op.f(f"ix_{table}_part_number_revision_to"), table, ["part_number", "revision_to"], unique=False
        )


def downgrade() -> None:
    op.execute("ALTER TABLE findings RENAME COLUMN fix TO mend")
    for table in NUMBERED:
        op.drop_index(op.f(f"ix_{table}_part_number_revision_to"), table_name=table)
    for table in TABLES:
        op.drop_column(table, "as_printed")
