"""Ids of new rows, made from what the row is, so that two shops that enter the same fork get the same ids.

An id consists of the values that identify the row (maker, name, years, place) and the parts of its scope, in ASCII. A
reference counts as the id it names, without what the id says already. Entry forms and printed tables use the same ids.
"""

import re
import unicodedata
from collections.abc import Iterator, Mapping

from app.catalogue.columns import write_number
from app.catalogue.history import versions
from app.catalogue.rows import Rows, Snapshot
from app.catalogue.tables import STATEMENTS, Row
from app.catalogue.tables.row import SCOPE

LONGEST = 80
_IDENTIFYING: Mapping[str, tuple[str, ...]] = {
    "makers": ("name",),
    "sources": ("title", "edition"),
    "chassis": ("maker", "name", "model_year_from"),
    "variants": ("chassis", "name"),
    "springs": ("maker", "name"),
    "chambers": ("spring", "chamber"),
    "dampers": ("maker", "name"),
    "spacers": ("name",),
    "parts": ("maker", "name"),
    "fluids": ("maker", "name"),
    "tools": ("name",),
    "fasteners": ("chassis", "spring", "damper", "model_year_from", "position", "side"),
    "frames": ("maker", "name", "size", "model_year_from"),
    "procedures": ("job", "chassis"),
    "steps": ("procedure", "order"),
    "fits": ("chassis", "spring", "travel_mm", "travel_spacers"),
    "torques": ("chassis", "fastener", "stage", "mating_material"),
    "fills": ("chassis", "chamber"),
    "greases": ("chassis", "place"),
    "uses": ("chassis", "job", "part", "position"),
    "limits": ("chassis", "subject"),
    "intervals": ("chassis", "operation", "riding"),
    "guides": ("chassis", "chamber", "rider_mass_from", "rider_mass_to", "mass_unit", "riding"),
    "adjustments": ("chassis", "target", "condition"),
    "readings": ("chassis", "state", "at_travel_mm", "pressure", "pressure_unit", "rider_mass", "mass_unit"),
}
_SPELT = str.maketrans({"ß": "ss", "ø": "o", "æ": "ae", "œ": "oe", "ł": "l", "đ": "d"})
"""Letters that Unicode does not decompose."""
_NOT_ASCII = re.compile(r"[^a-z0-9]+")
_KINDS = {table.table: table.table.removesuffix("s") for table in STATEMENTS}
"""The id of a statement begins with its kind: `torque-…`."""


def id_for(table: type[Row], values: Mapping[str, object]) -> str:
    """The id that these values give, whether or not it is used already."""
    parts: list[str] = []
    said: list[str] = []
    for name in _columns(table):
        value = values.get(name)
        if value is None or value == table.columns()[name].absent:
            continue
        slug = _slug(value)
        if "_to" in name:
            begin = values.get(name.replace("_to", "_from"))
            part = f"to-{slug}" if begin is None else "" if begin == value else slug
        else:
            part = _without_repeated(slug, said)
        parts += [part] if part else []
        said += [slug] if isinstance(value, str) else []
    kind = _KINDS.get(table.table)
    whole = "-".join([kind, *parts] if kind else parts) or table.table.removesuffix("s")
    return whole[:LONGEST].rstrip("-")


def free_ids(rows: Rows, table: type[Row], values: Mapping[str, object]) -> Iterator[str]:
    """The id that these values give, and the same with `-2`, `-3` …, without those that were ever used."""
    return (id for id in _numbered(id_for(table, values)) if not _was_used(rows, table, id))


def free_id(rows: Rows, table: type[Row], values: Mapping[str, object]) -> str:
    """The first of the free ids that these values give."""
    return next(free_ids(rows, table, values))


def _columns(table: type[Row]) -> tuple[str, ...]:
    own = _IDENTIFYING[table.table]
    return (
        *own,
        *(name for name in SCOPE if table.role == "statement" and name not in own and name in table.columns()),
    )


def _slug(value: object) -> str:
    if isinstance(value, tuple):
        return "-".join(map(_slug, value))
    text = write_number(value) if isinstance(value, float) else str(value)
    folded = unicodedata.normalize("NFKD", text.lower().translate(_SPELT)).encode("ascii", "ignore").decode("ascii")
    return _NOT_ASCII.sub("-", folded.lower()).strip("-")


def _without_repeated(slug: str, said: list[str]) -> str:
    """`our-maker-our-fork-foot-bolt` after `our-maker-our-fork` is `foot-bolt`."""
    if slug in said:
        return ""
    known = max((each for each in said if slug.startswith(f"{each}-")), key=len, default=None)
    return slug if known is None else slug[len(known) + 1 :]


def _numbered(id: str) -> Iterator[str]:
    yield id
    number = 2
    while True:
        suffix = f"-{number}"
        yield f"{id[: LONGEST - len(suffix)].rstrip('-')}{suffix}"
        number += 1


def _was_used(rows: Rows, table: type[Row], id: str) -> bool:
    """Whether a row has the id, or had it before it was withdrawn, which only a snapshot can tell."""
    tables = STATEMENTS if table.role == "statement" else (table,)
    if isinstance(rows, Snapshot):
        return any(versions(rows, each, id) for each in tables)
    return any(rows.one(each, id) is not None for each in tables)
