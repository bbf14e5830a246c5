"""Restores a backup. Every byte is checked, and the content hash computed, before anything is replaced.

On PostgreSQL the hash is computed after `pg_restore`, which is all or nothing by itself.
"""

import os
import shutil
import sqlite3
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from app.database.connections import Database
from app.database.migrating import HEADS, knows, migrate, state
from app.database.private_folder import make_private
from app.errors import Conflict, Malformed, Unavailable
from app.operating.backup import hashed
from app.operating.dumping import refill
from app.operating.manifest import HASHED_ALIKE, Copied, Manifest, checked, unpacked
from app.operating.sqlite_file import SIDECARS, as_one_file, put, synced, wrong_in


@dataclass(frozen=True, slots=True)
class Restored:
    """The result of a restore. `content_hash` is None if it cannot be compared; then only the sums of the backup were
    checked.
    """

    manifest: Manifest
    content_hash: str | None


def restore(path: Path, catalogue: Database, shop: Database, *, replace: bool = False) -> Restored:
    """Replace the databases that the two URLs name with those of a backup, and migrate an older schema to this build.

    Raises Malformed for a damaged or foreign backup, Unavailable for one from a newer build or another engine or while
    a database is in use, and Conflict if a database exists and `replace` is false.
    """
    room = (catalogue.path or Path.cwd() / "-").parent
    with unpacked(path, room) as folder:
        manifest = checked(folder, path)
        parts = ((manifest.catalogue, catalogue, "catalogue"), (manifest.shop, shop, "shop"))
        for copied, target, which in parts:
            _may_be_put(copied, target, which, path, replace=replace)
        found: str | None = None
        with ExitStack() as undone:
            ready: list[tuple[Path, Path]] = []
            for copied, target, which in parts:
                if target.path is None:
                    refill(target, folder / copied.file, replace=replace)
                    migrate(target, which)
                    beside = target
                else:
                    new = target.path.with_name(f".{target.path.name}.{os.getpid()}.part")
                    for ending in ("", *SIDECARS):
                        undone.callback(new.with_name(new.name + ending).unlink, missing_ok=True)
                    _prepare(folder / copied.file, new, which)
                    ready.append((new, target.path))
                    beside = Database(f"sqlite:///{new}")
                if which == "catalogue":
                    found = _compared(beside, manifest, path)
                if beside is not target:
                    beside.close()
            for new, place in ready:
                _settle(new)
                put(new, place)
    return Restored(manifest, found)


def _may_be_put(copied: Copied, target: Database, which: str, path: Path, *, replace: bool) -> None:
    if not knows(which, copied.schema_version):
        raise Unavailable(f"the backup {path} was made by a newer build; nothing was restored")
    engine = "sqlite" if target.is_sqlite else "postgresql"
    if engine != copied.engine:
        raise Unavailable(
            f"the {which} was backed up from {copied.engine} and cannot be restored to {engine}; nothing was restored"
        )
    if replace:
        return
    if target.path is not None:
        there = target.path.exists()
    else:
        with target.read() as connection:
            there = state(connection, which) != "empty"
    if there:
        shown = target.path or target.url.render_as_string()
        raise Conflict(f"a database already exists: {shown}; use --replace to replace it with the backup")


def _prepare(source: Path, new: Path, which: str) -> None:
    """The new file next to its final place, undamaged and with the schema of this build."""
    make_private(new.parent)
    shutil.copyfile(source, new)
    new.chmod(0o600)
    if wrong := wrong_in(new):
        raise Malformed(f"the {which} of this backup is damaged: {wrong}; nothing was restored")
    database = Database(f"sqlite:///{new}")
    try:
        migrate(database, which)
    finally:
        database.close()


def _settle(new: Path) -> None:
    try:
        as_one_file(new)
    except sqlite3.Error as error:
        raise Unavailable(f"{new} cannot be written: {error}; nothing was restored") from error
    synced(new)


def _compared(database: Database, manifest: Manifest, path: Path) -> str | None:
    expected = manifest.catalogue.content_hash
    if expected is None or manifest.format_version < HASHED_ALIKE:
        return None
    found = hashed(database, manifest.catalogue.revision)
    if found == expected:
        return found
    if manifest.catalogue.schema_version != HEADS["catalogue"]:
        return None  # a migration may have renamed a column
    raise Malformed(f"the catalogue in the backup {path} is damaged: its content hash differs from the manifest")
