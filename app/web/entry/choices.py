"""The rows that a form offers for a reference, by name, and how a typed name is resolved."""

from collections.abc import Iterable, Mapping, Sequence

from app.catalogue import lists
from app.catalogue.columns import Column
from app.catalogue.names import NAMED, names
from app.catalogue.rows import Snapshot
from app.catalogue.search import SEARCHED, found
from app.catalogue.tables import TABLES, Chassis, Damper, Fastener, Fit, Maker, Row, Spring, is_row_of
from app.errors import Fault
from app.questions.job.choices import JobChoice

MOST_OFFERED = 200  # rows in one pick list; of a longer table the name is typed
MOST_SIMILAR = 20


def offered(snapshot: Snapshot, table: type[Row], column: Column, typed: Mapping[str, str]) -> list[JobChoice] | None:
    """The rows that a column may refer to, by name; None if there are too many to list.

    `typed` are the values of the form so far: of a chassis, only its own variants and fasteners are offered, and as the
    scope of a statement only its springs and dampers.
    """
    chassis = typed.get("chassis") or (typed.get("id") if table is Chassis else None)
    if column.name == "exception_to":
        return [] if not chassis else _named(snapshot, table, snapshot.where(table, "chassis", chassis))
    target = TABLES[str(column.refers_to)]
    if chassis and table.role == "statement" and table is not Fit and column.name in ("spring", "damper"):
        own = set(_springs(snapshot, chassis) if target is Spring else _dampers(snapshot, chassis))
        own |= {typed[column.name]} if typed.get(column.name) else set()
        return _named(snapshot, target, snapshot.many(target, own).values())
    if target is Fastener and chassis:
        return _named(snapshot, target, _fasteners(snapshot, chassis))
    if "chassis" in target.columns() and chassis and target.columns()["chassis"].required:
        return _named(snapshot, target, snapshot.where(target, "chassis", chassis))
    rows = lists.page(snapshot, target, {}, None, MOST_OFFERED + 1)
    if len(rows) > MOST_OFFERED:
        return None
    given = [id for id in typed.get(column.name, "").split(";") if id and id not in {row.id for row in rows}]
    return _named(snapshot, target, [*rows, *snapshot.many(target, given).values()])


def resolved(snapshot: Snapshot, column: Column, text: str) -> str | Fault:
    """The id of the row that a typed name means, or the fault that it means none or several."""
    table = TABLES[str(column.refers_to)]
    if snapshot.one(table, text) is not None:
        return text
    hits = found(snapshot, table, text)[:MOST_SIMILAR] if table.table in SEARCHED else []
    near = _named(snapshot, table, snapshot.many(table, [hit.id for hit in hits]).values())
    same = [id for id, name in near if name.casefold() == text.casefold()]
    if len(same) == 1:
        return same[0]
    if not near:
        return Fault("not-in-the-list", "Nothing in the catalogue has a name like this.")
    known = "; ".join(f"{name} ({id})" for id, name in near)
    return Fault("not-in-the-list", f"Write one of these names, or the id in brackets: {known}.")


def name_of(snapshot: Snapshot, table: type[Row], id: str) -> str:
    """The name of a row; its id if it has none."""
    row = snapshot.one(table, id)
    return id if row is None else dict(_named(snapshot, table, [row]))[id]


def maker_of(snapshot: Snapshot, chassis: str) -> str:
    """The id of the maker of a chassis, or an empty text."""
    row = snapshot.one(Chassis, chassis)
    return "" if row is None or snapshot.one(Maker, row.maker) is None else row.maker


def _fasteners(snapshot: Snapshot, chassis: str) -> Sequence[Fastener]:
    """The fasteners of a chassis, and of its springs and dampers."""
    springs, dampers = _springs(snapshot, chassis), _dampers(snapshot, chassis)
    return [
        *snapshot.where(Fastener, "chassis", chassis),
        *(snapshot.among(Fastener, "spring", springs) if springs else ()),
        *(snapshot.among(Fastener, "damper", dampers) if dampers else ()),
    ]


def _springs(snapshot: Snapshot, chassis: str) -> list[str]:
    return sorted({fit.spring for fit in snapshot.where(Fit, "chassis", chassis)})


def _dampers(snapshot: Snapshot, chassis: str) -> list[str]:
    row = snapshot.one(Chassis, chassis)
    return [] if row is None else list(row.dampers or ())


def _named(snapshot: Snapshot, table: type[Row], rows: Iterable[Row]) -> list[JobChoice]:
    listed = list(rows)
    if table is Fastener:
        pairs = [(row.id, _place(snapshot, row)) for row in listed if is_row_of(row, Fastener)]
    elif table.table in NAMED:
        known = names(snapshot, {table.table: [row.id for row in listed]})
        pairs = [(row.id, known.get((table.table, row.id), row.id)) for row in listed]
    else:
        pairs = [(row.id, str(row.values().get("name") or row.id)) for row in listed]
    return sorted(dict(pairs).items(), key=lambda pair: (pair[1].casefold(), pair[0]))


def _place(snapshot: Snapshot, fastener: Fastener) -> str:
    """Where a fastener is: `foot bolt, damper side`."""
    part = (Spring, fastener.spring) if fastener.spring is not None else (Damper, fastener.damper)
    of = [name_of(snapshot, part[0], part[1])] if part[1] is not None else []
    side = [fastener.side] if fastener.side is not None else []
    return ", ".join([fastener.position, *side, *of])
