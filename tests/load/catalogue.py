"""Large catalogues to ask: invented forks whose fits and torques are stated anew by a manual for each model year.

Stored without judging: what is timed is asking. 20,000 chassis have 1,000,000 fits and as many torques.
"""

from collections.abc import Iterator
from itertools import groupby, islice
from pathlib import Path
from typing import Any

from sqlalchemy import insert

from app.catalogue.stored import OPEN, REVISIONS, SQL
from app.catalogue.tables import TABLES, from_cells
from app.database.connections import Database
from app.database.migrating import migrate
from tests.catalogue_generator import cells

YEARS = range(2016, 2024)
EACH = 50
"""Fits of a chassis, and torques."""
_BATCH = 20_000


def write(path: Path, chassis: int, seed: int = 1) -> int:
    """A SQLite catalogue at revision 1; returns its number of rows."""
    database = Database(f"sqlite:///{path}")
    migrate(database, "catalogue")
    count = 0
    with database.write() as connection:
        rows = _by_year(cells(chassis, seed))
        while batch := list(islice(rows, _BATCH)):
            batch.sort(key=lambda row: row[0])
            for name, group in groupby(batch, key=lambda row: row[0]):
                connection.execute(insert(SQL[TABLES[name]]), [values for _, values in group])
            count += len(batch)
        revision = {"recorded_at": "2026-01-01T00:00:00Z", "reason": "a bench", "who": "bench"}
        connection.execute(insert(REVISIONS).values(number=1, added=count, changed=0, withdrawn=0, **revision))
    with database.write() as connection:
        connection.exec_driver_sql("ANALYZE")
    database.close()
    return count


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
    return {**table.of_read(fields).stored(), "revision_from": 1, "revision_to": OPEN}
