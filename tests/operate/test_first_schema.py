"""From the first released schema to this build's and back, on both engines, with nothing lost."""

from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Connection, inspect

import app.bench.stored
import app.drafts.stored  # noqa: F401 - puts the tables of bench log and drafts beside keys and audit
from app.access import keys
from app.access.stored import SHOP
from app.catalogue.stored import CATALOGUE
from app.database.connections import Database
from app.database.migrating import HEADS, bring_down, migrate, schema_of, state
from app.operating.backup import hashed
from app.operating.restore import restore
from tests.conftest import ENGINES
from tests.operate.first_schema import FIRST, HASHES

Two = tuple[Database, Database]


@pytest.fixture(params=ENGINES)
def bare(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Two]:
    """Two databases without tables."""
    if request.param == "sqlite":
        pair = Database(f"sqlite:///{tmp_path}/c.db"), Database(f"sqlite:///{tmp_path}/s.db")
        yield pair
    else:
        server = request.getfixturevalue("postgres")
        names = ("first_schema_c", "first_schema_s")
        with psycopg.connect(server.get_uri(), autocommit=True) as connection:
            for name in names:
                connection.execute(f"CREATE DATABASE {name}")
            urls = [str(server.get_uri(name)).replace("postgresql://", "postgresql+psycopg://") for name in names]
            pair = Database(urls[0]), Database(urls[1])
            yield pair
            for name in names:
                connection.execute(f"DROP DATABASE {name} WITH (FORCE)")
    for database in pair:
        database.close()


def test_a_backup_of_the_first_schema_is_brought_to_this_builds_and_back(bare: Two) -> None:
    catalogue, shop = bare
    restore(FIRST / f"{'sqlite' if catalogue.is_sqlite else 'postgresql'}.zip", catalogue, shop)
    for _ in range(2):
        for database, which in zip(bare, ("catalogue", "shop"), strict=True):
            with database.read() as connection:
                assert (state(connection, which), schema_of(connection)) == ("current", HEADS[which])
        assert {revision: hashed(catalogue, revision) for revision in HASHES} == HASHES
        assert [(key.id, key.shop) for key in keys.listed(shop)] == [("000000000001", "left")]
        for database, which in zip(bare, ("catalogue", "shop"), strict=True):
            bring_down(database, which, "0001")
            with database.read() as connection:
                assert schema_of(connection) == "0001"
            migrate(database, which)


def test_every_migration_can_be_undone_and_done_again(bare: Two) -> None:
    for database, which in zip(bare, ("catalogue", "shop"), strict=True):
        migrate(database, which)
        made = tables(database)
        assert len(made) > 4
        bring_down(database, which, "base")
        assert tables(database).keys() == {"alembic_version"}
        migrate(database, which)
        assert tables(database) == made


def test_the_migrations_make_what_the_tables_say(bare: Two) -> None:
    for database, which, described in zip(bare, ("catalogue", "shop"), (CATALOGUE, SHOP), strict=True):
        migrate(database, which)
        with database.write() as connection:
            assert compare_metadata(MigrationContext.configure(connection), described) == []
            connection.exec_driver_sql("DROP INDEX " + first_index(connection))
            assert compare_metadata(MigrationContext.configure(connection), described) != []


def first_index(connection: Connection) -> str:
    """An index by its name: the comparison must report it missing once it is dropped."""
    found = inspect(connection)
    return next(str(index["name"]) for table in found.get_table_names() for index in found.get_indexes(table))


def tables(database: Database) -> dict[str, tuple[list[str], list[str]]]:
    """Columns with their types, and indices, by table."""
    with database.write() as connection:
        found = inspect(connection)
        return {
            table: (
                [f"{column['name']} {column['type']}" for column in found.get_columns(table)],
                sorted(str(index["name"]) for index in found.get_indexes(table)),
            )
            for table in found.get_table_names()
        }
