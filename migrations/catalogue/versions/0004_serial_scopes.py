"""a statement or procedure may apply to a range of serial numbers only"""

from alembic import op
import sqlalchemy as sa


revision = "0004"
down_revision = "0003"
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
BYTEWISE = sa.String().with_variant(sa.String(collation="C"), "postgresql")


def upgrade() -> None:
    for table in TABLES:
        op.add_column(table, sa.Column("serial_from", BYTEWISE, nullable=True))
        op.add_column(table, sa.Column("serial_to", BYTEWISE, nullable=True))


def downgrade() -> None:
    for table in TABLES:
        op.drop_column(table, "serial_to")
        op.drop_column(table, "serial_from")
