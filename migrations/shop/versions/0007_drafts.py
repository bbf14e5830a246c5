"""drafts: what was given to be entered, until it is loaded into the catalogue"""

from alembic import op
import sqlalchemy as sa


revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

TEXT = sa.String().with_variant(sa.String(collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "drafts",
        sa.Column("id", TEXT, nullable=False),
        sa.Column("shop", TEXT, nullable=False),
        sa.Column("title", TEXT, nullable=False),
        sa.Column("grids", TEXT, nullable=False),
        sa.Column("content", TEXT, nullable=False),
        sa.Column("bytes", sa.Integer(), nullable=False),
        sa.Column("opened_at", TEXT, nullable=False),
        sa.Column("opened_by", TEXT, nullable=False),
        sa.Column("changed_at", TEXT, nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("loading_at", TEXT, nullable=True),
        sa.Column("loaded", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_drafts"),
    )
    op.create_index("ix_drafts_shop", "drafts", ["shop"])


def downgrade() -> None:
    op.drop_table("drafts")
