"""a family, and what the fits of a chassis offer, are found by an index alone: other indexes, nothing else is touched"""

from alembic import op


revision = '0002'
down_revision = '0001'
branch_labels = None
depends_on = None

OFFERS = ['chassis', 'spring', 'travel_mm', 'model_year_from', 'model_year_to', 'revision_from', 'revision_to']


def upgrade() -> None:
    op.create_index('ix_fits_offers', 'fits', OFFERS, unique=False)
    op.drop_index(op.f('ix_fits_chassis_revision_to'), table_name='fits')
    op.create_index('ix_chassis_family', 'chassis', ['maker', 'name', 'revision_to'], unique=False)
    op.drop_index(op.f('ix_chassis_maker_revision_to'), table_name='chassis')


def downgrade() -> None:
    op.create_index(op.f('ix_chassis_maker_revision_to'), 'chassis', ['maker', 'revision_to'], unique=False)
    op.drop_index('ix_chassis_family', table_name='chassis')
    op.create_index(op.f('ix_fits_chassis_revision_to'), 'fits', ['chassis', 'revision_to'], unique=False)
    op.drop_index('ix_fits_offers', table_name='fits')
