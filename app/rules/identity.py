"""The identity of a thing: the columns that show whether two rows of one table are the same thing under two ids.

Texts are compared without case, spaces, hyphens and underscores: `Raddle 35` is `raddle-35`.
"""

import unicodedata
from array import array
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from functools import lru_cache, partial
from itertools import islice, pairwise
from typing import Any, NamedTuple

from app.catalogue.rows import Rows
from app.catalogue.tables import (
    ENTITIES,
    SCOPE,
    Chassis,
    Damper,
    Fastener,
    Fluid,
    Frame,
    Maker,
    Part,
    Procedure,
    Row,
    Source,
    Spacer,
    Spring,
    SpringChamber,
    Step,
    Tool,
    Variant,
)
from app.rules.batches import CHUNK, read, values

YEARS = ("model_year_from", "model_year_to")
_DROPPED = str.maketrans(dict.fromkeys(" -_\N{NO-BREAK SPACE}\N{HYPHEN}\N{NON-BREAKING HYPHEN}\N{EN DASH}"))

IdentityKey = tuple[Any, ...]


class Identity(NamedTuple):
    """Two rows of one thing agree in all `equal` columns. If both rows fill an `apart` column with different values,
    they are two things. Candidates are found by the first `by` column that a row fills, else in the whole table."""

    equal: tuple[str, ...]
    apart: tuple[str, ...] = ()
    by: tuple[str, ...] = ()


IDENTITIES: dict[type[Row], Identity] = {
    Maker: Identity(("name",)),
    Source: Identity(("maker", "title", "edition"), ("kind", "published_on"), ("maker",)),
    Chassis: Identity(("maker", "name", *YEARS), ("stanchion_diameter_mm", "crowns", "wheel_sizes"), ("maker",)),
    Variant: Identity(
        ("chassis", "name"),
        ("model_code", "serial_pattern", "serial_from", "serial_to", "produced_from", "produced_to", *YEARS),
        ("chassis",),
    ),
    Spring: Identity(
        ("maker", "name"), ("part_number", "kind", "rate", "stroke_max_mm", "bore_mm", "colour_mark"), ("maker",)
    ),
    SpringChamber: Identity(("spring", "chamber"), (), ("spring",)),
    Damper: Identity(("maker", "name"), ("kind", "adjuster_at", "travel_max_mm"), ("maker",)),
    Spacer: Identity(("name",), ("volume_ml", "source")),
    Part: Identity(("maker", "name"), ("part_number", "kind", "pack_count"), ("maker",)),
    Fluid: Identity(("maker", "name"), ("kind", "nlgi", "viscosity_40_cst"), ("maker",)),
    Tool: Identity(("name",), ("drive",)),
    Fastener: Identity(
        ("chassis", "spring", "damper", "position", "side"), ("kind", "thread", *YEARS), ("chassis", "spring", "damper")
    ),
    Frame: Identity(("maker", "name", "size"), YEARS, ("maker",)),
    Procedure: Identity(("job", "name", "chassis", *SCOPE), ("source",)),
    Step: Identity(("procedure", "order", "action", "text"), (), ("procedure",)),
}
"""Every table of things has one; a test checks this."""


def same_thing(row: Row, other: Row) -> bool:
    """True if two rows of one table with equal keys are the same thing: no column that both fill distinguishes them.

    Lists differ if they have nothing in common, dates if neither is the start of the other (2024, 2024-05).
    """
    columns, mine, theirs = row.model.columns(), row.values(), other.values()
    return not any(
        _differ(mine[name], theirs[name], is_date=columns[name].kind.name == "date")
        for name in IDENTITIES[row.model].apart
    )


def _differ(one: Any, other: Any, *, is_date: bool) -> bool:
    if one is None or other is None:
        return False
    if isinstance(one, tuple):
        return set(one).isdisjoint(other)
    if is_date:
        return not (one.startswith(other) or other.startswith(one))
    if isinstance(one, str):
        return folded(one) != folded(other)
    return bool(one != other)


@lru_cache(maxsize=8192)
def folded(text: str) -> str:
    """A text in the form used for comparison: NFKC, without case, spaces, hyphens and underscores."""
    return unicodedata.normalize("NFKC", text).casefold().translate(_DROPPED)


def _folded_list(cell: str | tuple[object, ...]) -> str:
    """A list, read or as its text, in the form used for comparison: its order says nothing."""
    items = cell.split(";") if isinstance(cell, str) else map(str, cell)
    return ";".join(sorted(map(folded, items)))


def _keys(table: type[Row], rows: Sequence[Any]) -> Iterator[IdentityKey]:
    """The keys of unconverted rows of one table: the columns that are equal in rows of one thing."""
    columns = []
    for name in IDENTITIES[table].equal:
        cells = values(table, rows, name)
        kind = table.columns()[name].kind
        if kind.items is not None:
            cells = [cell and _folded_list(cell) for cell in cells]
        elif kind.sql == "text":
            cells = [cell and folded(cell) for cell in cells]
        columns.append(cells)
    return zip(*columns, strict=True)


class Alike:
    """Finds duplicate things in a whole catalogue while its rows stream past, with eight bytes for each row."""

    def __init__(self) -> None:
        self._hashes: dict[type[Row], array[int]] = {table: array("q") for table in ENTITIES}

    def note(self, table: type[Row], rows: Sequence[Any]) -> None:
        """Take in unconverted rows of a table."""
        self._hashes[table].extend(map(hash, _keys(table, rows)))

    def groups(self, rows: Rows) -> Iterator[list[Row]]:
        """Groups of several rows with equal keys, table by table; a table is read again only if it has any."""
        for table, hashes in self._hashes.items():
            ordered = sorted(hashes)
            twice = {one for one, other in pairwise(ordered) if one == other}
            if twice:
                yield from _grouped(table, rows.raw_rows(table), partial(_hashed_in, twice))


def _hashed_in(hashes: Collection[int], key: IdentityKey) -> bool:
    return hash(key) in hashes


def alike(rows: Rows, table: type[Row], versions: Collection[Row]) -> list[list[Row]]:
    """The rows of one table with the same keys as these versions, grouped by key, including groups of one."""
    wanted = set(_keys(table, list(versions)))
    by: dict[str, list[Row]] = defaultdict(list)
    for row in versions:
        given = (name for name in IDENTITIES[table].by if row[name] is not None)
        by[next(given, "")].append(row)
    found: dict[str, list[Row]] = {}
    for name, of_column in by.items():
        if name:
            candidates = iter(rows.raw_rows_among(table, name, sorted({row[name] for row in of_column})))
        else:
            candidates = rows.raw_rows(table)
        for group in _grouped(table, candidates, wanted.__contains__):
            found[group[0].id] = group
    return list(found.values())


def _grouped(
    table: type[Row], candidates: Iterator[Any], is_wanted: Callable[[IdentityKey], bool]
) -> Iterable[list[Row]]:
    groups: dict[IdentityKey, list[Any]] = defaultdict(list)
    while chunk := list(islice(candidates, CHUNK)):
        for key, row in zip(_keys(table, chunk), chunk, strict=True):
            if is_wanted(key):
                groups[key].append(row)
    for group in groups.values():
        yield sorted(read(table, group), key=lambda row: row.id)
