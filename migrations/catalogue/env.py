"""Runs the catalogue's migrations on the connection that app.database.migrating hands over."""

from alembic import context

from app.catalogue.stored import CATALOGUE
from app.database.migrating import run_in_context

run_in_context(context, CATALOGUE)
