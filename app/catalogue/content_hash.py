"""One hash of the whole content of a revision, by which two catalogues, or a copy and its origin, are compared.

It covers the values that are given and nothing else: a build with more columns has the same hash for old content. Each
value is one line, the JSON array `["table","id","column","value"]` in UTF-8 without spaces, where the value is the text
of its CSV cell; the lines are sorted bytewise, and the hash is SHA-256 over them. An empty cell has no line. From an
unpacked export it is

    python3 -c 'import csv, glob, json
    for f in glob.glob("*.csv"):
        for row in csv.DictReader(open(f, newline="", encoding="utf-8")):
            for c, v in row.items():
                if v: print(json.dumps([f[:-4], row["id"], c, v], ensure_ascii=False, separators=(",", ":")))
    ' | LC_ALL=C sort | sha256sum
"""

import hashlib
from collections.abc import Callable
from functools import cache
from json.encoder import encode_basestring
from typing import Any

from app.catalogue.rows import Rows
from app.catalogue.tables import TABLES, Row

HASH_VERSION = 2
"""Version of this definition. Version 1 hashed whole CSV files, including empty columns."""


def content_hash(rows: Rows) -> str:
    """SHA-256 in hexadecimal of all given values, independent of revisions, times and reasons. Memory stays flat.

    Rows come ordered by id, and a quotation mark sorts before every character of a name or id, so no line is held for
    sorting.
    """
    found = hashlib.sha256()
    for name in sorted(TABLES):
        for row in rows.all(TABLES[name]):
            found.update("".join(lines_of(row)).encode())
    return found.hexdigest()


def digest_of(row: Row) -> str:
    """SHA-256 in hexadecimal of one row's lines; a column that a later build adds changes nothing."""
    return hashlib.sha256("".join(lines_of(row)).encode()).hexdigest()


def lines_of(row: Row) -> list[str]:
    """The lines of one row: one for each value that it gives."""
    fields = row.values()
    begin = f'["{row.model.table}","{row.id}","'
    return [
        f'{begin}{column}",{encode_basestring(write(value))}]\n'
        for column, write in _writers(row.model)
        if (value := fields[column]) is not None
    ]


@cache
def _writers(table: type[Row]) -> list[tuple[str, Callable[[Any], str]]]:
    return [(column, described.kind.write) for column, described in sorted(table.columns().items())]
