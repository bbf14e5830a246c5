"""idempotency keys of requests to the bench log: a table more, nothing else is touched"""

from alembic import op
import sqlalchemy as sa


revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "idempotency_keys",
        sa.Column("key", sa.String().with_variant(sa.String(collation="C"), "postgresql"), nullable=False),
        sa.Column("digest", sa.String().with_variant(sa.String(collation="C"), "postgresql"), nullable=False),
        sa.Column("made", sa.String().with_variant(sa.String(collation="C"), "postgresql"), nullable=False),
        sa.Column("used_at", sa.String().with_variant(sa.String(collation="C"), "postgresql"), nullable=False),
        sa.PrimaryKeyConstraint("key"),
    )
    op.create_index(op.f("ix_idempotency_keys_used_at"), "idempotency_keys", ["used_at"], unique=False)


def downgrade() -> None:
    op.drop_index(op.f("ix_idempotency_keys_used_at"), table_name="idempotency_keys")
    op.drop_table("idempotency_keys")
