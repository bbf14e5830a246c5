"""Connections to one database: readers that cannot write, and one writer at a time. Independent of its tables.

SQLite: one read-only connection serves all reads of a worker; a writer takes the write lock at once (BEGIN IMMEDIATE)
and waits at most `WRITER_WAIT_S`. PostgreSQL: pooled connections; the writer holds an advisory transaction lock.
"""

import os
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.pool import NullPool, Pool, StaticPool
from sqlmodel import Session

from app.database.interrupting import STEPS, nobody_waits, to_be_interrupted
from app.errors import NoRoom, Unavailable

WRITER_WAIT_S = 5
TELL_AFTER_S = 2.0
"""Seconds that a writer waits for another before it calls `notify`."""
WRITER_LOCK = 0x4C454757  # the advisory lock of PostgreSQL writers
LOST = {
    "connect_timeout": 5, "tcp_user_timeout": 10_000, "keepalives_idle": 10, "keepalives_interval": 3,
    "keepalives_count": 3,
}  # fmt: skip
"""When libpq gives up a PostgreSQL server that does not respond (s, ms, s, s, times); the default would be 15 min."""
LOOK_S = 0.25
"""Seconds for which the open SQLite file is assumed to be the one at its path without checking."""
LOOKED_THROUGH_FIRST = 64 * 2**20
"""SQLite files up to this many bytes are checked for damage before the start, larger ones while serving."""


class Database:
    """One database by URL (`sqlite:///path` or `postgresql+psycopg://…`), and optionally a replica to read from."""

    def __init__(self, url: str, read_url: str | None = None) -> None:
        parsed = make_url(url)
        self.url = parsed
        self.is_sqlite = parsed.get_backend_name() == "sqlite"
        self.has_replica = read_url is not None and not self.is_sqlite
        self._held: Connection | None = None
        self._watch: Any = None
        self._file: tuple[int, int] | None = None
        self._files, self._looked = 0, 0.0
        self.writes = 0
        """The number of calls of `write` that have ended here; other processes are not counted."""
        self.damage: str | None = None
        """The damage that `integrity_check` found in the current file, which then accepts no writes."""
        if self.is_sqlite:
            if not parsed.database:
                raise Unavailable("a SQLite database needs a file: sqlite:///path/to/legwork.db")
            self.path: Path | None = Path(parsed.database).absolute()
            self.reader: Engine = _sqlite(self.path, "ro", StaticPool)
            self.fresh: Engine = _sqlite(self.path, "ro", NullPool)
            self.writer: Engine = _sqlite(self.path, "rw", NullPool)
        else:
            self.path = None
            self.reader = create_engine(
                read_url or url,
                pool_size=8,
                max_overflow=8,
                pool_timeout=5,
                pool_pre_ping=True,
                isolation_level="AUTOCOMMIT",
                hide_parameters=True,
                connect_args={**LOST, "options": "-c default_transaction_read_only=on"},
            )
            self.fresh = self.reader
            self.writer = create_engine(url, poolclass=NullPool, hide_parameters=True, connect_args={**LOST})

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A connection that cannot write; on SQLite always the same one, which threads do not share at once.

        Raises Unavailable if the database cannot be reached.
        """
        try:
            if self.is_sqlite:
                self._look()
                if self._held is None:
                    self._held = self.reader.connect()
                yield self._held
            else:
                with self.reader.connect() as connection, to_be_interrupted(connection):
                    yield connection
        except (DBAPIError, sqlite3.Error) as error:
            raise plain(error) from error

    @contextmanager
    def fresh_connection(self) -> Iterator[Connection]:
        """A new connection that cannot write, on SQLite too: only a new one notices a damaged file or a migrated
        schema. Raises Unavailable if the database cannot be reached.
        """
        try:
            with self.fresh.connect() as connection, to_be_interrupted(connection):
                yield connection
        except (DBAPIError, sqlite3.Error) as error:
            raise plain(error) from error

    def _look(self) -> None:
        """SQLite: close connections to a file that is no longer the one at the path, such as after a restore.

        Raises Unavailable if there is no file.
        """
        now = time.monotonic()
        if now - self._looked < LOOK_S or self.path is None:
            return
        try:
            found = os.stat(self.path)
        except OSError as error:
            raise Unavailable("the database is not where it should be", retry_after=5) from error
        if self._file not in (None, (found.st_dev, found.st_ino)):
            self.close()
            self._files += 1
            self.damage = None
        self._file, self._looked = (found.st_dev, found.st_ino), now

    def changes(self) -> int:
        """SQLite: a number that changes whenever another connection has committed or the file was replaced; about 6 µs.

        Raises Unavailable if the file cannot be read.
        """
        self._look()
        if self._watch is None:
            if self.path is None:
                raise ValueError("only a SQLite file counts its changes")
            try:
                self._watch = _connect(self.path, "ro")
            except sqlite3.Error as error:
                raise plain(error) from error
        try:
            (number,) = self._watch.execute("PRAGMA data_version").fetchone()
        except sqlite3.Error as error:
            raise plain(error) from error
        return int(number) + (self._files << 40)

    @contextmanager
    def write(self, wait_s: int | None = None, notify: Callable[[], None] | None = None) -> Iterator[Connection]:
        """The one write transaction: committed when the block ends, rolled back if it raises.

        `notify` is called in its own thread if another writer has held the lock for TELL_AFTER_S. Raises Unavailable if
        that writer holds it longer than `wait_s` (else WRITER_WAIT_S), if there is only a replica, or if the file is
        damaged; NoRoom if the disk is full.
        """
        if self.damage is not None:
            raise Unavailable("the database is damaged; restore a backup")
        try:
            with self.writer.connect() as connection:
                if self.is_sqlite and wait_s is not None:
                    connection.connection.cursor().execute(f"PRAGMA busy_timeout = {wait_s * 1000}")
                with _notified(notify):
                    transaction = connection.begin()
                    if not self.is_sqlite:
                        connection.execute(text(f"SET LOCAL lock_timeout = '{wait_s or WRITER_WAIT_S}s'"))
                        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": WRITER_LOCK})
                with transaction:
                    yield connection
        except (DBAPIError, sqlite3.Error) as error:
            raise plain(error) from error
        finally:
            self.writes += 1

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session on a connection that cannot write, for tables read row by row. Raises like `read`."""
        with self.read() as connection, Session(connection) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """A session in the one write transaction, committed when the block ends. Raises like `write`."""
        with self.write() as connection, Session(connection) as session:
            yield session
            session.flush()

    def is_large(self) -> bool:
        """Whether this is a SQLite file so large that checking it first would delay a start."""
        return self.path is not None and self.path.exists() and self.path.stat().st_size > LOOKED_THROUGH_FIRST

    def integrity_check(self) -> None:
        """Check a SQLite file for damage, about a second per gigabyte; the result is in `damage`.

        Raises Unavailable if the file cannot be read.
        """
        if self.path is None:
            return
        try:
            with closing(_connect(self.path, "ro")) as driver:
                (verdict,) = driver.execute("PRAGMA quick_check(1)").fetchone()
        except sqlite3.OperationalError as error:
            raise plain(error) from error
        except sqlite3.DatabaseError as error:
            verdict = str(error)
        self.damage = None if verdict == "ok" else verdict.splitlines()[-1]

    def takes_writes(self) -> bool:
        """Whether the database for writes can be reached and is not a replica; not checked on SQLite."""
        if self.is_sqlite:
            return True
        try:
            with self.writer.connect() as connection:
                return connection.execute(text("SELECT NOT pg_is_in_recovery()")).scalar() is True
        except DBAPIError:
            return False

    def rewrite(self, *tables: str) -> None:
        """Rewrite the database, so that nothing of an erased row is left in free space or, on SQLite, in the
        write-ahead log.

        On PostgreSQL only these tables are rewritten, and its log keeps the rows until the server reuses it. Raises
        Unavailable if others use the database longer than WRITER_WAIT_S, NoRoom if the disk is full.
        """
        try:
            if self.path is None:
                with self.writer.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
                    connection.execute(text(f"SET lock_timeout = '{WRITER_WAIT_S}s'"))
                    for table in tables:
                        connection.execute(text(f"VACUUM (FULL) {table}"))
                return
            with closing(_connect(self.path, "rw")) as driver:
                driver.execute("VACUUM")
                busy, *_ = driver.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        except (DBAPIError, sqlite3.Error) as error:
            raise plain(error) from error
        if busy:
            raise Unavailable("the database is being read and its log could not be emptied; try again", retry_after=2)

    def close(self) -> None:
        """Close all connections."""
        if self._held is not None:
            self._held.close()
            self._held = None
        if self._watch is not None:
            self._watch.close()
            self._watch = None
        self.reader.dispose()
        self.fresh.dispose()
        self.writer.dispose()


@contextmanager
def _notified(notify: Callable[[], None] | None) -> Iterator[None]:
    """Call `notify` if the block takes longer than TELL_AFTER_S."""
    if notify is None:
        yield
        return
    clock = threading.Timer(TELL_AFTER_S, notify)
    clock.start()
    try:
        yield
    finally:
        clock.cancel()


def _sqlite(path: Path, mode: str, pool: type[Pool]) -> Engine:
    engine = create_engine(
        "sqlite://",
        creator=lambda: _connect(path, mode),
        poolclass=pool,
        hide_parameters=True,  # stored data of a fork must never reach a log, whatever fails
    )
    if mode == "ro":
        return engine

    @event.listens_for(engine, "begin")
    def _take_the_lock(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


def address(path: Path, mode: str) -> str:
    """The URI that opens a SQLite file; mode is `ro` or `rw`."""
    quoted = str(path.absolute()).replace("%", "%25").replace("?", "%3f").replace("#", "%23")
    return f"file:{quoted}?mode={mode}"


def _connect(path: Path, mode: str) -> Any:
    connection = sqlite3.connect(
        address(path, mode), uri=True, timeout=WRITER_WAIT_S, isolation_level=None, check_same_thread=False,
        cached_statements=512,
    )  # fmt: skip
    if mode == "ro":
        connection.execute("PRAGMA query_only = on")
        connection.set_progress_handler(nobody_waits, STEPS)
    else:
        connection.execute("PRAGMA journal_mode = wal")
        connection.execute("PRAGMA synchronous = full")
        connection.execute("PRAGMA secure_delete = on")
    return connection


def plain(error: DBAPIError | sqlite3.Error) -> Exception:
    """The refusal for a driver's error; errors of our own code pass through."""
    cause = error.orig if isinstance(error, DBAPIError) else error
    message = str(cause).lower()
    if "disk is full" in message or "no space left" in message or "disk full" in message:
        return NoRoom("the disk under the database is full; nothing was stored")
    if "locked" in message or "lock timeout" in message or "busy" in message:
        return Unavailable("another change is being written; try again", retry_after=2)
    if message == "interrupted":
        return Unavailable("It took too long and was given up.", retry_after=5)
    if getattr(cause, "sqlstate", None) == "25006":  # read_only_sql_transaction
        return Unavailable("the database is currently a replica and takes no writes", retry_after=5)
    broken = (
        "unable to open",
        "malformed",
        "not a database",
        "disk i/o",
        "readonly",
        "no such table",
        "does not exist",
    )
    lost = isinstance(error, OperationalError) or getattr(error, "connection_invalidated", False)
    if lost or any(word in message for word in broken):
        return Unavailable("the database cannot be used at the moment", retry_after=5)
    return error
