"""springs list their air chambers; a fill says what it is for, may be weighed, and has hard limits of its level"""

from alembic import op
import sqlalchemy as sa


revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

BYTEWISE = sa.String().with_variant(sa.String(collation="C"), "postgresql")
OF_FILLS = [
    "condition",
    "amount",
    "mass_g",
    "mass_min_g",
    "mass_max_g",
    "level_limit_min_mm",
    "level_limit_max_mm",
]


def upgrade() -> None:
    op.create_table(
        "chambers",
        sa.Column("id", BYTEWISE, nullable=False),
        sa.Column("spring", BYTEWISE, nullable=False),
        sa.Column("chamber", BYTEWISE, nullable=False),
        sa.Column("valve", BYTEWISE, nullable=True),
        sa.Column("order", sa.Integer(), nullable=True),
        sa.Column("maximum", BYTEWISE, nullable=True),
        sa.Column("unit", BYTEWISE, nullable=True),
        sa.Column("relative_to", BYTEWISE, nullable=True),
        sa.Column("offset", BYTEWISE, nullable=True),
        sa.Column("factor_min", BYTEWISE, nullable=True),
        sa.Column("source", BYTEWISE, nullable=True),
        sa.Column("page", BYTEWISE, nullable=True),
        sa.Column("as_printed", BYTEWISE, nullable=True),
        sa.Column("revision_from", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("revision_to", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", "revision_from"),
        sa.UniqueConstraint("id", "revision_to", name=op.f("uq_chambers_id_revision_to")),
    )
    op.create_index(op.f("ix_chambers_revision_from_id"), "chambers", ["revision_from", "id"], unique=False)
    op.create_index(op.f("ix_chambers_revision_to_id"), "chambers", ["revision_to", "id"], unique=False)
    op.create_index(op.f("ix_chambers_source_revision_to"), "chambers", ["source", "revision_to"], unique=False)
    op.create_index(op.f("ix_chambers_spring_revision_to"), "chambers", ["spring", "revision_to"], unique=False)
    for name in OF_FILLS:
        op.add_column("fills", sa.Column(name, BYTEWISE, nullable=True))
    op.add_column("greases", sa.Column("mass_g", BYTEWISE, nullable=True))


def downgrade() -> None:
    op.drop_column("greases", "mass_g")
    for name in reversed(OF_FILLS):
        op.drop_column("fills", name)
    op.drop_table("chambers")
