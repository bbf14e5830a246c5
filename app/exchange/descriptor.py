"""The datapackage.json: Data Package version 2 with a Table Schema per table, derived from the table descriptions.

`python -m app.exchange.descriptor` rewrites the one in `seed_data/`.

Source: https://datapackage.org/standard/data-package/ and …/table-schema/ (version 2). Our own properties, which the
standard permits: `unit`, `unitIn` (the column that names the unit), `refersTo`, `measures`, `words` (the
closed list of a column, which also takes `own:` and a word of the shop's own); `revision` of an export.
"""

import hashlib
import json
from functools import cache
from pathlib import Path

from app.catalogue.columns import DAY, SLUG, Column
from app.catalogue.tables import Row
from app.catalogue.words import listed
from app.exchange.minimal import Wanted, columns_of, tables_of

PACKAGE_PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
RESOURCE_PROFILE = "https://datapackage.org/profiles/2.0/dataresource.json"
SCHEMA_PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"
TITLE = "Suspension catalogue"
DESCRIPTION = (
    "What sources state about suspension forks: which springs fit, torques, fills and more, each with its scope."
)
INVENTED = (
    "Demonstration data: every maker, product, document and figure in it is invented, and so is the bike "
    "park whose workshop uses it. Never use it on a real fork."
)
PATTERNS = {"id": SLUG.pattern, "date": DAY.pattern}


def descriptor(
    *, revision: int | None = None, invented: bool = False, wanted: Wanted | None = None
) -> dict[str, object]:
    """The descriptor of a package with all tables, or the wanted ones."""
    package: dict[str, object] = {
        "$schema": PACKAGE_PROFILE,
        "name": "legwork-catalogue",
        "title": TITLE,
        "description": f"{INVENTED} {DESCRIPTION}" if invented else DESCRIPTION,
    }
    if revision is not None:
        package["revision"] = revision
    package["resources"] = [resource(table, wanted) for table in tables_of(wanted)]
    return package


def written(package: dict[str, object]) -> bytes:
    """The bytes of a datapackage.json."""
    return (json.dumps(package, ensure_ascii=False, indent=2) + "\n").encode()


@cache
def format_tag() -> str:
    """A short digest of the descriptor, which changes whenever a table or a column does."""
    return hashlib.sha256(written(descriptor())).hexdigest()[:8]


def resource(table: type[Row], wanted: Wanted | None = None) -> dict[str, object]:
    """The Data Resource of one table."""
    return {
        "$schema": RESOURCE_PROFILE,
        "name": table.table,
        "path": f"{table.table}.csv",
        "type": "table",
        "description": table.meaning,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": schema(table, wanted),
    }


def schema(table: type[Row], wanted: Wanted | None = None) -> dict[str, object]:
    """The Table Schema of one table: a field per column in exchange order, its key and its references."""
    columns = columns_of(table, wanted).values()
    described: dict[str, object] = {"$schema": SCHEMA_PROFILE, "fields": [_field(column) for column in columns]}
    described["primaryKey"] = ["id"]
    references = [
        {"fields": [column.name], "reference": {"resource": target, "fields": ["id"]}}
        for column in columns
        if column.kind.items is None and (target := _target(table, column)) is not None
    ]
    if references:
        described["foreignKeys"] = references
    return described


def _target(table: type[Row], column: Column) -> str | None:
    target = table.table if column.name == "exception_to" else column.refers_to
    return "" if target == table.table else target  # the standard's way to name the resource's own table


def _field(column: Column) -> dict[str, object]:
    kind = column.kind
    field: dict[str, object] = {"name": column.name, "type": kind.field_type, "description": column.meaning}
    if kind.items is not None:
        field |= {"type": "list", "delimiter": ";", "itemType": kind.items.field_type}
    if column.unit is not None:
        field["unit"] = column.unit
    if column.unit_column is not None:
        field["unitIn"] = column.unit_column
    if column.measures is not None:
        field["measures"] = column.measures
    if column.refers_to is not None:
        field["refersTo"] = column.refers_to
    if column.kind.words is not None:
        field["words"] = list(listed(column.kind.words))
    if column.example is not None:
        field["example"] = column.example
    constraints = _constraints(column)
    if constraints:
        field["constraints"] = constraints
    return field


def _constraints(column: Column) -> dict[str, object]:
    constraints: dict[str, object] = {}
    if column.required:
        constraints["required"] = True
    if column.name == "id":
        constraints["unique"] = True
    if column.options:
        constraints["enum"] = list(column.options)
    if column.kind.name in PATTERNS:
        constraints["pattern"] = PATTERNS[column.kind.name]
    if column.kind.field_type in ("number", "integer") and column.kind.items is None and column.positive:
        constraints["exclusiveMinimum"] = 0
    return constraints


if __name__ == "__main__":
    Path(__file__).parents[2].joinpath("seed_data", "datapackage.json").write_bytes(
        written(descriptor(revision=1, invented=True))
    )
