"""Runs the shop database's migrations: bench log, keys, audit. The catalogue has its own."""

from alembic import context

import app.bench.stored
import app.drafts.stored  # noqa: F401 - puts the tables of bench log and drafts beside keys and audit
from app.access.stored import SHOP
from app.database.migrating import run_in_context

run_in_context(context, SHOP)
