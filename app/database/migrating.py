"""Migrates a database's schema to this build under a lock. Refuses a database that is newer, foreign or damaged."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, MetaData, inspect, text

from app.database.connections import Database
from app.database.private_folder import make_private
from app.errors import Unavailable

if TYPE_CHECKING:
    from alembic.config import Config

MIGRATIONS = Path(__file__).parents[2] / "migrations"
WAIT_S = 600
"""Seconds that a migration waits for one in another process."""
EXPORT_ID = int.from_bytes(b"LgwQ")
"""`application_id` of a SQLite export, by which `file` and other programs know the format."""
HEADS = {"catalogue": "0008", "shop": "0007"}
"""The schema version of this build: the last of each chain, written here so that a start need not read the chain."""


def alembic_config(which: str) -> "Config":
    """The Alembic configuration of a chain: `catalogue` or `shop`."""
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS / which).replace("%", "%%"))
    return config


def schema_of(connection: Connection) -> str | None:
    """The schema version recorded in a database; None if there is none."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found: str | None = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return found


def state(connection: Connection, which: str) -> str:
    """`current`, `empty`, `foreign`, `older` or `newer`, compared with this build."""
    present = schema_of(connection)
    if present is None:
        others = set(inspect(connection).get_table_names()) - {"alembic_version"}
        return "foreign" if others else "empty"
    if present == HEADS[which]:
        return "current"
    return "older" if knows(which, present) else "newer"


def knows(which: str, version: str) -> bool:
    """Whether this build knows that schema version."""
    return version in _known(which)


@cache
def _known(which: str) -> frozenset[str]:
    from alembic.script import ScriptDirectory

    return frozenset(script.revision for script in ScriptDirectory.from_config(alembic_config(which)).walk_revisions())


def migrate(database: Database, which: str, notify: Callable[[str], None] | None = None) -> None:
    """Create or migrate the schema. If several processes start at once, one does it and the others wait.

    `notify` is called with a sentence about the wait if it takes more than a moment. Raises Unavailable with one plain
    sentence if it fails.
    """
    if database.path is not None:
        _made(database.path)
    waiting = (
        f"the database {database.url.render_as_string()} is being changed by another process; waiting up to {WAIT_S} s"
    )
    on_wait = None if notify is None else partial(notify, waiting)
    with _naming(database), database.write(WAIT_S, on_wait) as connection:
        if database.is_sqlite:
            verdict = connection.execute(text("PRAGMA quick_check(1)")).scalar()
            if verdict != "ok":
                raise Unavailable(f"the database {database.path} is damaged: {verdict}; restore a backup")
        found = state(connection, which)
        if found == "current":
            return
        if found in ("newer", "foreign"):
            what = "made by a newer build" if found == "newer" else _origin_of(connection)
            raise Unavailable(f"the database {database.url.render_as_string()} is {what}; nothing was changed")
        from alembic import command  # not at a start with a current schema

        config = alembic_config(which)
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def _origin_of(connection: Connection) -> str:
    if connection.dialect.name == "sqlite" and connection.execute(text("PRAGMA application_id")).scalar() == EXPORT_ID:
        return "an export for queries: to serve from it, export a package and load that"
    return "from another program"


def bring_down(database: Database, which: str, version: str) -> None:
    """Undo migrations down to a schema version, or to `base` (no tables). Data that only newer tables hold is lost."""
    from alembic import command

    with _naming(database), database.write() as connection:
        config = alembic_config(which)
        config.attributes["connection"] = connection
        command.downgrade(config, version)


def _made(path: Path) -> None:
    """Create an empty file if there is none.

    No other connection creates files, so a lost file is not taken for an empty one.
    """
    try:
        make_private(path.parent)
        if not path.exists():
            path.touch(mode=0o600)
            path.chmod(0o600)
    except OSError as error:
        raise Unavailable(f"the database {path} cannot be created: {error.strerror}") from error


@contextmanager
def _naming(database: Database) -> Iterator[None]:
    """Name the database that cannot be used, with the message of SQLite or PostgreSQL."""
    try:
        yield
    except Unavailable as refused:
        cause = getattr(refused.__cause__, "orig", None) or refused.__cause__
        if cause is None:
            raise
        said = str(cause).strip().splitlines()[0]
        raise Unavailable(f"the database {database.url.render_as_string()} cannot be used: {said}") from refused


def run_in_context(context: Any, metadata: MetaData) -> None:
    """Run by an Alembic env.py: uses the open connection, or the URL given with `-x url=…`."""
    connection: Connection | None = context.config.attributes.get("connection")
    if connection is None:
        database = Database(context.get_x_argument(as_dictionary=True)["url"])
        with database.write() as connection:
            _run(context, metadata, connection)
    else:
        _run(context, metadata, connection)


def _run(context: Any, metadata: MetaData, connection: Connection) -> None:
    context.configure(connection=connection, target_metadata=metadata, compare_type=True)
    context.run_migrations()
