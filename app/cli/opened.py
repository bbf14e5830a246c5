"""Opens the settings and databases for a command, and upgrades a schema first if the command needs that."""

import os
import sys
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from app.environment import PREFIX, misnamed
from app.errors import Unavailable
from app.settings import Settings

if TYPE_CHECKING:
    from app.database.connections import Database


def settings_of(**given: Any) -> Settings:
    """Read the settings from the environment, overridden by those `given` that are not None.

    Raises Unavailable, naming the variable, for an unusable value and for a name that is almost the name of a setting,
    so that nobody relies on a setting that has no effect. Other unknown LEGWORK_ variables are listed on standard
    error.
    """
    from pydantic import ValidationError

    _check_names()
    try:
        return Settings(**{name: value for name, value in given.items() if value is not None})
    except ValidationError as wrong:
        raise Unavailable("; ".join(map(_sentence, wrong.errors(include_url=False)))) from wrong


def _sentence(error: Any) -> str:
    """Describe what is wrong with one setting, on one line."""
    why = " ".join(str(error["msg"]).removeprefix("Value error, ").split())
    if not error["loc"]:
        return why
    return f"the setting {PREFIX}{str(error['loc'][0]).upper()} is wrong: {why}"


@cache
def _check_names() -> None:
    """Check the environment once. Raises Unavailable for a name that is almost the name of a setting."""
    slips, unknown = misnamed(os.environ, [PREFIX + name.upper() for name in Settings.model_fields])
    if slips:
        meant = ", ".join(f"{variable} (did you mean {name}?)" for variable, name in sorted(slips.items()))
        raise Unavailable(f"unknown setting: {meant}. Rename or unset it; legwork settings lists all")
    if unknown:
        print(f"Ignored, because no setting has this name: {', '.join(unknown)}.", file=sys.stderr, flush=True)


def url_of(database: str | None) -> str | None:
    """The URL of a database; `database` may be the path of a SQLite file."""
    return database if database is None or "://" in database else f"sqlite:///{Path(database).absolute()}"


def opened(settings: Settings, bring_up: bool = False) -> "Database":
    """Open the catalogue database. On SQLite, or with `bring_up`, its schema is migrated first."""
    from app.database.connections import Database

    stored = Database(settings.database_url, settings.read_url)
    there = stored.path is not None and stored.path.exists()
    if there and not bring_up and _is_current(stored, "catalogue"):  # no lock taken: an export may not hinder a writer
        return stored
    if stored.is_sqlite or bring_up:
        _bring_up(stored, "catalogue")
        shop = Database(settings.shop_database_url)
        _bring_up(shop, "shop")
        shop.close()
        return stored
    make_current(stored, "catalogue")
    return stored


def make_current(database: "Database", which: str) -> None:
    """Migrate a SQLite database to this build; only `legwork migrate` migrates a shared one.

    A large SQLite file whose schema is current is not checked first: `look_through_soon` checks it while the service
    runs.
    """
    from app.database.migrating import state

    if database.is_sqlite:
        if not (database.is_large() and _is_current(database, which)):
            _bring_up(database, which)
        return
    with database.read() as connection:
        found = state(connection, which)
    if found != "current":
        raise Unavailable(f"the schema of the {which} database is {found}; run: legwork migrate")


def _bring_up(database: "Database", which: str) -> None:
    """Migrate to the schema of this build; says so on standard error if another process keeps it waiting."""
    from app.database.migrating import migrate

    migrate(database, which, lambda what: print(what, file=sys.stderr, flush=True))


def _is_current(database: "Database", which: str) -> bool:
    """Whether the schema is that of this build; False if it cannot be read, which the migration then reports."""
    from app.database.migrating import state

    try:
        with database.read() as connection:
            return state(connection, which) == "current"
    except Unavailable:
        return False


def opened_shop() -> "Database":
    """Open the shop database, migrated if necessary."""
    from app.database.connections import Database

    shop = Database(settings_of().shop_database_url)
    _bring_up(shop, "shop")
    return shop


def opened_if_there(settings: Settings) -> "Database | None":
    """Open the catalogue database if it exists; creates nothing."""
    from app.database.connections import Database

    stored = Database(settings.database_url, settings.read_url)
    return None if stored.path is not None and not stored.path.exists() else stored
