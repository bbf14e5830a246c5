"""Runs the catalogue's migrations on the connection that app.catalogue.migrating hands over."""

from alembic import context

from app.catalogue.migrating import run_in_context
from app.catalogue.stored import CATALOGUE

run_in_context(context, CATALOGUE)
