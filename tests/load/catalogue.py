"""Large catalogues for load tests: invented forks whose manual repeats their fits and torques for each model year.

Stored without judging, because only lookups are timed. 20,000 chassis have 1,000,000 fits and as many torques. `python
-m tests.load.catalogue URL CHASSIS [COPIES]` writes one into SQLite or PostgreSQL. On PostgreSQL further copies with
other ids, sources and springs included, enlarge it at the server's speed."""

import sys
import time
from collections.abc import Iterator
from itertools import groupby, islice
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, insert

from app.catalogue.stored import OPEN, REVISIONS, SQL
from app.catalogue.tables import TABLES, from_cells
from app.database.connections import Database
from app.database.migrating import migrate
from tests.catalogue_generator import cells

YEARS = range(2016, 2024)
EACH = 50
"""Fits of a chassis, and torques."""
_BATCH = 20_000


def write(where: Path | str, chassis: int, seed: int = 1) -> int:
    """Writes a catalogue at revision 1 into a SQLite file or an empty database; returns its number of rows."""
    database = Database(where if isinstance(where, str) else f"sqlite:///{where}")
    migrate(database, "catalogue")
    put = _inserted if database.is_sqlite else _copied
    count = 0
    with database.write() as connection:
        rows = _by_year(cells(chassis, seed))
        while batch := list(islice(rows, _BATCH)):
            batch.sort(key=lambda row: row[0])
            for name, group in groupby(batch, key=lambda row: row[0]):
                put(connection, SQL[TABLES[name]], [values for _, values in group])
            count += len(batch)
        revision = {"recorded_at": "2026-01-01T00:00:00Z", "reason": "a bench", "who": "bench"}
        connection.execute(insert(REVISIONS).values(number=1, added=count, changed=0, withdrawn=0, **revision))
    with database.write() as connection:
        connection.exec_driver_sql("ANALYZE")
    database.close()
    return count


def _inserted(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    connection.execute(insert(table), rows)


def _copied(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    """COPY, with each value bound as the column's type binds it."""
    dialect = connection.dialect
    columns = [
        (column.name, column.type.dialect_impl(dialect).bind_processor(dialect) or (lambda value: value))
        for column in table.columns
    ]
    driver: Any = connection.connection.driver_connection
    names = ", ".join(f'"{name}"' for name, _ in columns)
    with driver.cursor().copy(f"COPY {table.name} ({names}) FROM STDIN") as stream:
        for row in rows:
            stream.write_row([bound(row[name]) for name, bound in columns])


def copy_within(url: str, number: int) -> None:
    """Adds one more copy of the original rows, on PostgreSQL: each id and reference is prefixed with
    `copy<number>-`."""
    database, before = Database(url), f"copy{number}-"
    with database.write() as connection:
        for name, table in TABLES.items():
            named = {"id", *(each.name for each in table.columns().values() if each.refers_to)}
            stored = [column.name for column in SQL[table].columns]
            values = [f"'{before}' || replace(\"{c}\", ';', ';{before}')" if c in named else f'"{c}"' for c in stored]
            columns = ", ".join(f'"{c}"' for c in stored)
            connection.exec_driver_sql(
                f"INSERT INTO {name} ({columns}) SELECT {', '.join(values)} FROM {name} WHERE id NOT LIKE 'copy%%'"
            )
    with database.write() as connection:
        connection.exec_driver_sql("ANALYZE")
    database.close()


def _by_year(generated: Iterator[tuple[str, dict[str, str]]]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every row as stored; fits and torques once for each model year, until a chassis has `EACH`."""
    given: dict[tuple[str, str], int] = {}
    for name, row in generated:
        values = _stored(name, row)
        if name in ("chassis", "variants"):
            values |= {"model_year_from": YEARS[0], "model_year_to": YEARS[-1]}
        if name not in ("fits", "torques"):
            yield name, values
            continue
        about = (name, row["chassis"])
        for year in YEARS:
            if given.get(about, 0) >= EACH:
                break
            given[about] = given.get(about, 0) + 1
            yield name, {**values, "id": f"{row['id']}-{year}", "model_year_from": year, "model_year_to": year}


def _stored(name: str, row: dict[str, str]) -> dict[str, Any]:
    table = TABLES[name]
    fields = dict.fromkeys(table.columns()) | from_cells(table, row)
    return {**table.from_parsed(fields).stored(), "revision_from": 1, "revision_to": OPEN}


if __name__ == "__main__":
    begun = time.monotonic()
    written = write(sys.argv[1], int(sys.argv[2]))
    copies = int((sys.argv[3:] or ["0"])[0])
    for copy in range(1, copies + 1):
        copy_within(sys.argv[1], copy)
    took = time.monotonic() - begun
    print(
        f"{written:,} rows, copied {copies} times, in {took:.0f} s, {time.process_time():.0f} s of processor time here"
    )
