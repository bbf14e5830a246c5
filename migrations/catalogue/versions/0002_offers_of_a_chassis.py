"""a family, what the fits of a chassis offer, and what is an exception to a statement are found by an index alone: other
indexes, nothing else is touched"""

from alembic import op
import sqlalchemy as sa


revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

OFFERS = ["chassis", "spring", "travel_mm", "model_year_from", "model_year_to", "revision_from", "revision_to"]
EXCEPTIONS = ["fills", "fits", "greases", "guides", "intervals", "limits", "readings", "torques", "uses"]
GIVEN = sa.text("exception_to IS NOT NULL")


def upgrade() -> None:
    for table in EXCEPTIONS:
        op.create_index(
            f"ix_{table}_exceptions",
            table,
            ["exception_to", "revision_to"],
            unique=False,
            sqlite_where=GIVEN,
            postgresql_where=GIVEN,
        )
    op.create_index("ix_fits_offers", "fits", OFFERS, unique=False)
    op.drop_index(op.f("ix_fits_chassis_revision_to"), table_name="fits")
    op.create_index("ix_chassis_family", "chassis", ["maker", "name", "revision_to"], unique=False)
    op.drop_index(op.f("ix_chassis_maker_revision_to"), table_name="chassis")


def downgrade() -> None:
    for table in EXCEPTIONS:
        op.drop_index(f"ix_{table}_exceptions", table_name=table)
    op.create_index(op.f("ix_chassis_maker_revision_to"), "chassis", ["maker", "revision_to"], unique=False)
    op.drop_index("ix_chassis_family", table_name="chassis")
    op.create_index(op.f("ix_fits_chassis_revision_to"), "fits", ["chassis", "revision_to"], unique=False)
    op.drop_index("ix_fits_offers", table_name="fits")
