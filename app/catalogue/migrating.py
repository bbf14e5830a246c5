"""Moved: import from app.database.migrating."""

from app.database.migrating import head as head
from app.database.migrating import migrate as migrate
from app.database.migrating import state as state
