"""guides give ranges, adjustments are rows, torques have an order across fasteners, lengths have a tolerance"""

from alembic import op
import sqlalchemy as sa


revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

BYTEWISE = sa.String().with_variant(sa.String(collation="C"), "postgresql")
GIVEN = sa.text("exception_to IS NOT NULL")
TEXTS = {
    "fasteners": ["group"],
    "torques": ["mating_material"],
    "guides": ["riding", "instruction"],
}
FIGURES = {
    "fits": ["axle_to_crown_tolerance_mm"],
    "springs": ["shaft_length_mm", "length_tolerance_mm"],
    "guides": ["sag_min_percent", "sag_max_percent", "preload_turns_min", "preload_turns_max"],
}
COUNTS = {
    "torques": ["order"],
    "guides": ["rebound_clicks_min", "rebound_clicks_max", "compression_clicks_min", "compression_clicks_max"],
}
NEW = ((TEXTS, BYTEWISE), (FIGURES, BYTEWISE), (COUNTS, sa.Integer()))
REFERENCES = ["chassis", "spring", "fitted_part", "source"]


def upgrade() -> None:
    for columns, kind in NEW:
        for table, names in columns.items():
            for name in names:
                op.add_column(table, sa.Column(name, kind, nullable=True))
    op.create_table(
        "adjustments",
        sa.Column("id", BYTEWISE, nullable=False),
        sa.Column("revision_from", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("revision_to", sa.Integer(), nullable=False),
        sa.Column("as_printed", BYTEWISE, nullable=True),
        sa.Column("variant", BYTEWISE, nullable=True),
        sa.Column("serial_from", BYTEWISE, nullable=True),
        sa.Column("serial_to", BYTEWISE, nullable=True),
        sa.Column("model_year_from", sa.Integer(), nullable=True),
        sa.Column("model_year_to", sa.Integer(), nullable=True),
        sa.Column("spring", BYTEWISE, nullable=True),
        sa.Column("damper", BYTEWISE, nullable=True),
        sa.Column("wheel_size", BYTEWISE, nullable=True),
        sa.Column("fitted_part", BYTEWISE, nullable=True),
        sa.Column("travel_from_mm", sa.Float(precision=53), nullable=True),
        sa.Column("travel_to_mm", sa.Float(precision=53), nullable=True),
        sa.Column("source", BYTEWISE, nullable=True),
        sa.Column("page", BYTEWISE, nullable=True),
        sa.Column("confirmed", sa.Boolean(), nullable=True),
        sa.Column("exception_to", BYTEWISE, nullable=True),
        sa.Column("note", BYTEWISE, nullable=True),
        sa.Column("chassis", BYTEWISE, nullable=False),
        sa.Column("target", BYTEWISE, nullable=False),
        sa.Column("condition", BYTEWISE, nullable=False),
        sa.Column("value", BYTEWISE, nullable=True),
        sa.Column("unit", BYTEWISE, nullable=True),
        sa.PrimaryKeyConstraint("id", "revision_from"),
        sa.UniqueConstraint("id", "revision_to", name=op.f("uq_adjustments_id_revision_to")),
    )
    for name in REFERENCES:
        op.create_index(op.f(f"ix_adjustments_{name}_revision_to"), "adjustments", [name, "revision_to"], unique=False)
    op.create_index(
        "ix_adjustments_exceptions",
        "adjustments",
        ["exception_to", "revision_to"],
        unique=False,
        sqlite_where=GIVEN,
        postgresql_where=GIVEN,
    )
    for end in ("revision_from", "revision_to"):
        op.create_index(op.f(f"ix_adjustments_{end}_id"), "adjustments", [end, "id"], unique=False)


def downgrade() -> None:
    op.drop_table("adjustments")
    for columns, _ in NEW:
        for table, names in columns.items():
            for name in reversed(names):
                op.drop_column(table, name)
