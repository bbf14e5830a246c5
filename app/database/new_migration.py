"""`python -m app.database.new_migration catalogue|shop "the reason"`: writes a migration from the table classes.

Alembic compares the tables with an empty database that was migrated to the newest version. Review the result, then set
the new number in `HEADS` of `app.database.migrating`.
"""

import sys
import tempfile
from pathlib import Path

from alembic import command
from alembic.script import ScriptDirectory

from app.database.connections import Database
from app.database.migrating import HEADS, alembic_config, migrate


def write_migration(which: str, reason: str) -> Path:
    """Write the next migration of a chain and return its path. Raises KeyError for an unknown chain."""
    number = f"{int(HEADS[which]) + 1:04d}"
    with tempfile.TemporaryDirectory() as folder:
        database = Database(f"sqlite:///{folder}/empty.db")
        migrate(database, which)
        config = alembic_config(which)
        with database.write() as connection:
            config.attributes["connection"] = connection
            made = command.revision(config, reason, autogenerate=True, rev_id=number)
        database.close()
    script = made if not isinstance(made, list) else made[0]
    if script is None:
        raise RuntimeError(f"Alembic wrote no migration; the chain ends at {_head(which)}")
    return Path(script.path)


def _head(which: str) -> str | None:
    return ScriptDirectory.from_config(alembic_config(which)).get_current_head()


if __name__ == "__main__":
    if len(sys.argv) != 3 or sys.argv[1] not in HEADS:
        sys.exit('usage: python -m app.database.new_migration catalogue|shop "the reason"')
    print(write_migration(sys.argv[1], sys.argv[2]))
