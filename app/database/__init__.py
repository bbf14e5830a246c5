"""Databases, apart from what is in them: connections, the one writer, migrations. The catalogue and the shop use it."""
