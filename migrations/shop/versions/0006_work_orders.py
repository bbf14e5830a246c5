"""work orders: a job card frozen for one bike, and how far the work has come"""

from alembic import op
import sqlalchemy as sa


revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

TEXT = sa.String().with_variant(sa.String(collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "work_orders",
        sa.Column("id", TEXT, nullable=False),
        sa.Column("shop", TEXT, nullable=False),
        sa.Column("fork", TEXT, nullable=True),
        sa.Column("chassis", TEXT, nullable=False),
        sa.Column("job", TEXT, nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("asked", TEXT, nullable=False),
        sa.Column("card", TEXT, nullable=False),
        sa.Column("steps", sa.Integer(), nullable=False),
        sa.Column("fields", TEXT, nullable=False),
        sa.Column("progress", TEXT, nullable=False),
        sa.Column("service", sa.Integer(), nullable=True),
        sa.Column("opened_at", TEXT, nullable=False),
        sa.Column("changed_at", TEXT, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("erasing", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_work_orders"),
    )
    op.create_index("ix_work_orders_shop", "work_orders", ["shop"])
    op.create_index("ix_work_orders_fork", "work_orders", ["fork"])


def downgrade() -> None:
    op.drop_table("work_orders")
