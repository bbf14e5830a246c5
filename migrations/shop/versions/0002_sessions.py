"""sign-ins of browsers: a table more, nothing else is touched"""

from alembic import op
import sqlalchemy as sa
import sqlmodel


revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "sessions",
        sa.Column("digest", sa.String().with_variant(sa.String(collation="C"), "postgresql"), nullable=False),
        sa.Column("key", sa.String().with_variant(sa.String(collation="C"), "postgresql"), nullable=False),
        sa.Column("created_at", sa.String().with_variant(sa.String(collation="C"), "postgresql"), nullable=False),
        sa.Column("expires_at", sa.String().with_variant(sa.String(collation="C"), "postgresql"), nullable=False),
        sa.PrimaryKeyConstraint("digest"),
    )
    op.create_index(op.f("ix_sessions_key"), "sessions", ["key"], unique=False)


def downgrade() -> None:
    op.drop_index(op.f("ix_sessions_key"), table_name="sessions")
    op.drop_table("sessions")
