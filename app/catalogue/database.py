"""Moved: import from app.database.connections."""

from app.database.connections import Database as Database
