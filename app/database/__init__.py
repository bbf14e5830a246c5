"""Databases, independent of their content: connections, the single writer, migrations. Used by catalogue and shop."""
