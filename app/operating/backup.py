"""Backs up both databases while the service runs and writes. The backup is complete or does not exist.

SQLite is copied with VACUUM INTO, which gives the state of one moment without free pages and holds no lock that writers
would wait for. The shop database is copied first, so every revision its rows mention is in the catalogue, which is
copied after it.
"""

import errno
import os
import shutil
import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from sqlalchemy import Connection

from app.access.keys import now
from app.catalogue.catalogue import Catalogue, Pin
from app.catalogue.content_hash import content_hash
from app.catalogue.lineage import latest
from app.database.connections import Database, plain
from app.database.migrating import schema_of, state
from app.database.private_folder import make_private
from app.errors import Conflict, NoRoom, Unavailable
from app.operating.dumping import dump
from app.operating.manifest import Copied, CopiedCatalogue, Manifest, seal
from app.operating.sqlite_file import opened, synced


def take(catalogue: Database, shop: Database, path: Path) -> Manifest:
    """Write a backup to `path`: a zip if it ends in .zip, otherwise a folder. Only its owner may read it.

    Raises Conflict if `path` exists, NoRoom if the disk is full, Unavailable if a database cannot be copied.
    """
    if path.exists():
        raise Conflict(f"{path} already exists; give another path")
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    packed = beside.with_suffix(".zip")
    taken_at = now()
    try:
        with _plain_refusals(path):
            make_private(path.parent)
            beside.mkdir(mode=0o700)
            copied_shop = _copy(shop, "shop", beside)
            copied = _copy_catalogue(catalogue, beside)
            manifest = Manifest(taken_at=taken_at, catalogue=copied, shop=copied_shop)
            seal(beside, manifest)
            for file in beside.iterdir():
                file.chmod(0o600)
                synced(file)
            if path.suffix == ".zip":
                _pack(beside, packed)
                packed.rename(path)
            else:
                synced(beside)
                beside.rename(path)
            synced(path.parent)
    finally:
        shutil.rmtree(beside, ignore_errors=True)
        packed.unlink(missing_ok=True)
    return manifest


def _copy(database: Database, which: str, folder: Path) -> Copied:
    if database.path is not None:
        file = folder / f"{which}.db"
        _copy_sqlite(database.path, file)
        copy = Database(f"sqlite:///{file}")
        try:
            with copy.read() as connection:
                return Copied(file=file.name, engine="sqlite", schema_version=_schema(connection, which))
        finally:
            copy.close()
    with _one_moment(database) as connection:
        schema = _schema(connection, which)
        dump(database, connection, folder / f"{which}.dump")
    return Copied(file=f"{which}.dump", engine="postgresql", schema_version=schema)


def _copy_catalogue(database: Database, folder: Path) -> CopiedCatalogue:
    """Compute the hash from the copy on SQLite; on PostgreSQL, at the revision that was the latest in the dump."""
    if database.path is not None:
        copied = _copy(database, "catalogue", folder)
        copy = Database(f"sqlite:///{folder / copied.file}")
        try:
            with copy.read() as connection:
                number = latest(connection)
            return CopiedCatalogue(**copied.model_dump(), revision=number, content_hash=hashed(copy, number))
        finally:
            copy.close()
    with _one_moment(database) as connection:
        schema, number = _schema(connection, "catalogue"), latest(connection)
        dump(database, connection, folder / "catalogue.dump")
    return CopiedCatalogue(
        file="catalogue.dump", engine="postgresql", schema_version=schema, revision=number,
        content_hash=hashed(database, number),
    )  # fmt: skip


def hashed(database: Database, revision: int) -> str | None:
    """The content hash at a revision; None if the schema is older than that of this build, which cannot read it."""
    with database.read() as connection:
        if state(connection, "catalogue") != "current":
            return None
    with Catalogue(database).snapshot(Pin(revision)) as snapshot:
        return content_hash(snapshot)


def _copy_sqlite(source: Path, target: Path) -> None:
    if not source.exists():
        raise Unavailable(f"there is no database at {source}; nothing was backed up")
    with closing(opened(source, "ro")) as connection:
        connection.execute("VACUUM INTO ?", (str(target),))


@contextmanager
def _one_moment(database: Database) -> Iterator[Connection]:
    with (
        database.reader.connect() as connection,
        connection.execution_options(isolation_level="REPEATABLE READ").begin(),
    ):
        yield connection


def _schema(connection: Connection, which: str) -> str:
    found = state(connection, which)
    if found not in ("current", "older"):
        raise Unavailable(f"the {which} database is {found}; nothing was backed up")
    return str(schema_of(connection))


def _pack(folder: Path, target: Path) -> None:
    with (
        open(os.open(target, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file,
        zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as zipped,
    ):
        for part in sorted(folder.iterdir()):
            zipped.write(part, part.name)
    synced(target)


@contextmanager
def _plain_refusals(path: Path) -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as error:
        if isinstance(refusal := plain(error), NoRoom):
            raise NoRoom(f"the disk under {path} is full; nothing was backed up") from error
        if "malformed" in str(error) or "not a database" in str(error):
            raise Unavailable("a database is damaged and cannot be copied; run: legwork doctor") from error
        raise refusal from error
    except OSError as error:
        kind = NoRoom if error.errno in (errno.ENOSPC, errno.EDQUOT) else Unavailable
        raise kind(f"{path} cannot be written: {error.strerror}; nothing was backed up") from error
