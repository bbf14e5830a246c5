"""when a session was last used, the latest revision the catalogue is known to have had, writes within a rate"""

from alembic import op
import sqlalchemy as sa


revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

TEXT = sa.String().with_variant(sa.String(collation="C"), "postgresql")


def upgrade() -> None:
    with op.batch_alter_table("sessions") as sessions:
        sessions.add_column(sa.Column("used_at", TEXT, nullable=True))
    op.execute("UPDATE sessions SET used_at = created_at")
    with op.batch_alter_table("sessions") as sessions:
        sessions.alter_column("used_at", existing_type=TEXT, nullable=False)
    op.create_table(
        "catalogue_seen",
        sa.Column("one", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("audited", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("one", name="pk_catalogue_seen"),
    )
    op.create_table(
        "write_hits",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("client", TEXT, nullable=False),
        sa.Column("at", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_write_hits"),
    )
    op.create_index("ix_write_hits_client", "write_hits", ["client"])


def downgrade() -> None:
    op.drop_table("write_hits")
    op.drop_table("catalogue_seen")
    with op.batch_alter_table("sessions") as sessions:
        sessions.drop_column("used_at")
