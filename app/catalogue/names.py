"""The names for ids in an answer. Each table is looked up once."""

from collections import Counter
from collections.abc import Collection, Mapping

from app.catalogue.rows import Snapshot
from app.catalogue.tables import TABLES, Chassis, Maker, Row, Source, is_row_of

NAMED = frozenset(
    ("makers", "sources", "chassis", "variants", "springs", "dampers", "spacers", "parts", "fluids", "tools", "frames")
)
"""The tables whose rows have a name or a title."""

Ids = Mapping[str, Collection[str]]


def names(snapshot: Snapshot, ids: Ids) -> dict[tuple[str, str], str]:
    """Names by table and id; an unknown id has none. If two ids of a table share a name, the id is added."""
    found: dict[tuple[str, str], str] = {}
    for table, wanted in ids.items():
        rows = snapshot.many(TABLES[table], wanted)
        makers = snapshot.many(Maker, {row.maker for row in rows.values() if is_row_of(row, Chassis)})
        called = {id: _called(row, makers) for id, row in rows.items()}
        often = Counter(called.values())
        found.update(
            ((table, id), name if often[name] == 1 else f"{name} ({id})") for id, name in called.items() if name != id
        )
    return found


def _called(row: Row, makers: Mapping[str, Maker]) -> str:
    if is_row_of(row, Source):
        return row.title if row.edition is None else f"{row.title}, edition {row.edition}"
    name: str = row["name"]
    maker = makers.get(row.maker) if is_row_of(row, Chassis) else None
    return f"{maker.name} {name}" if maker is not None else name
