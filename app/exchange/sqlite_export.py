"""Writes the catalogue at one revision as a SQLite file for queries: tables, and a view for each question.

Numbers are stored as numbers, so that they compare as such; `…_text` next to one holds the figure with its digits as
published. There is no history. The file cannot be served: load the package for that.
"""

import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path

from sqlalchemy import bindparam, select

from app.catalogue.columns import PUBLISHED_KIND, Column
from app.catalogue.history import Recorded, recorded
from app.catalogue.names import NAMED
from app.catalogue.rows import Snapshot
from app.catalogue.stored import FINDINGS
from app.catalogue.tables import TABLES, Row, Step
from app.catalogue.writing import BATCH
from app.database.connections import plain
from app.database.migrating import EXPORT_ID
from app.errors import Conflict

FORMAT = 2
"""In `user_version`. Version 1 had the schema of the service itself, with published figures as text."""

QUESTIONS = {
    "fits": "which_springs_fit",
    "torques": "how_tight",
    "fills": "how_much_oil",
    "greases": "where_to_grease",
    "uses": "which_parts",
    "limits": "what_not_to_exceed",
    "intervals": "when_to_service",
    "guides": "which_start_pressure",
    "adjustments": "what_to_add",
    "readings": "what_a_gauge_shows",
    "steps": "in_which_order",
}
"""The views, by the table that they show with names beside ids."""

_TYPES = {"integer": "INTEGER", "number": "REAL", "boolean": "INTEGER"}
_STANDING = select(
    *(FINDINGS.c[name] for name in ("rule", "severity", "in_table", "row_id", "in_column", "value", "text", "fix"))
).where(FINDINGS.c.revision_from <= bindparam("n"), FINDINGS.c.revision_to > bindparam("n"))


def write(snapshot: Snapshot, path: Path) -> int:
    """Write the file, complete or not at all; return the number of rows of the catalogue.

    Raises Conflict if it already exists, NoRoom if the disk is full, Unavailable if it cannot be written.
    """
    if path.exists():
        raise Conflict(f"{path} already exists; give another path")
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with closing(sqlite3.connect(beside)) as file:
            count = _written(file, snapshot)
        beside.rename(path)
    except sqlite3.Error as error:
        raise plain(error) from error
    finally:
        beside.unlink(missing_ok=True)
    return count


def _written(file: sqlite3.Connection, snapshot: Snapshot) -> int:
    file.execute(f"PRAGMA application_id = {EXPORT_ID}")
    file.execute(f"PRAGMA user_version = {FORMAT}")
    count = 0
    with file:
        _put(file, "revisions", Recorded._fields, recorded(snapshot, [snapshot.revision]).values())
        _put(file, "findings", _STANDING.selected_columns.keys(), snapshot.fetch(_STANDING))
        for table in TABLES.values():
            count += _put(file, table.table, _declared(table), (_values(row) for row in snapshot.all(table)))
            file.execute(f'CREATE UNIQUE INDEX "{table.table}_id" ON "{table.table}" ("id")')
        for name, question in QUESTIONS.items():
            file.execute(f'CREATE VIEW "{question}" AS {_named(TABLES[name])}')
    return count


def _put(file: sqlite3.Connection, table: str, columns: Iterable[str], rows: Iterable[Iterable[object]]) -> int:
    declared = list(columns)
    file.execute(f'CREATE TABLE "{table}" ({", ".join(declared)})')
    insertion = f'INSERT INTO "{table}" VALUES ({", ".join("?" for _ in declared)})'
    count, coming = 0, iter(rows)
    while part := [tuple(row) for row in islice(coming, BATCH)]:
        file.executemany(insertion, part)
        count += len(part)
    return count


def _declared(table: type[Row]) -> Iterator[str]:
    for name, described in table.columns().items():
        yield f'"{name}" {_TYPES.get(described.kind.field_type, "TEXT")}'
        if described.kind is PUBLISHED_KIND:
            yield f'"{name}_text" TEXT'


def _values(row: Row) -> Iterator[object]:
    columns, given = row.model.columns(), row.values()
    for name, described in columns.items():
        value = given[name]
        if value is None or described.kind.field_type in ("integer", "boolean"):
            yield value
        elif described.kind.field_type == "number":
            yield float(value)
        else:
            yield described.kind.write(value)
        if described.kind is PUBLISHED_KIND:
            yield None if value is None else described.kind.write(value)


def _named(table: type[Row]) -> str:
    """The SELECT of a table with the name of each thing that it refers to."""
    shown, joined = ["it.*"], [f'"{table.table}" AS it']
    if table is Step:
        shown.append("procedure_.job, procedure_.chassis")
        joined.append('LEFT JOIN procedures AS procedure_ ON procedure_.id = it."procedure"')
    for name, described in table.columns().items():
        if described.refers_to in NAMED and described.kind.items is None:
            shown.append(f'{_name_of(name, described)} AS "{name}_name"')
            joined.append(f'LEFT JOIN "{described.refers_to}" AS "{name}_" ON "{name}_".id = it."{name}"')
    return f"SELECT {', '.join(shown)} FROM {' '.join(joined)}"


def _name_of(name: str, described: Column) -> str:
    if described.refers_to == "sources":
        return f'"{name}_".title'
    if described.refers_to == "chassis":
        return f'(SELECT m.name FROM makers AS m WHERE m.id = "{name}_".maker) || \' \' || "{name}_".name'
    return f'"{name}_".name'
