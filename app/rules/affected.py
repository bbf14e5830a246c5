"""Which shapes a change touches: everything that sees a changed row, or no longer sees a withdrawn one."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from app.catalogue.rows import Rows
from app.catalogue.tables import (
    STATEMENTS,
    Chassis,
    Fastener,
    Fluid,
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
    is_row_of,
)
from app.rules.identity import alike
from app.rules.view import Change, referring

# Columns for people: no rule compares them across rows, so a change of these alone touches no family.
SPOKEN = frozenset({"name", "title", "page", "part_number", "colour_mark", "model_code", "note", "source", "marks"})

# Columns for people that also distinguish the choices of one fork.
TOLD_APART_BY: dict[type[Row], frozenset[str]] = {Spring: frozenset({"name", "colour_mark"})}

# Columns that families read of things that very many of them name; any other change in these touches no family.
READ: dict[type[Row], frozenset[str]] = {
    Maker: frozenset(),
    Tool: frozenset(),
    Fluid: frozenset({"maker", "kind", "seal_safe"}),
    Part: frozenset({"maker", "kind", "superseded_by"}),
    Source: frozenset({"maker", "kind", "published_on", "supersedes"}),
    Spacer: frozenset({"volume_ml", "as_printed"}),
}

# The tables that make up a family, with the column that names the chassis.
FAMILY_OF: dict[type[Row], str] = {
    Chassis: "id", Variant: "chassis", Fastener: "chassis", **dict.fromkeys(STATEMENTS, "chassis"),
}  # fmt: skip


Tables = frozenset[type[Row]] | None


class _Chassis:
    """The changed chassis, each with the tables in which statements changed; None means all."""

    def __init__(self) -> None:
        self.tables: dict[str, Tables] = {}

    def add(self, id: str, table: type[Row] | None) -> None:
        self.tables[id] = _both(self.tables.get(id, frozenset()), None if table is None else frozenset({table}))


def _both(some: Tables, others: Tables) -> Tables:
    return None if some is None or others is None else some | others


@dataclass(slots=True)
class Affected:
    """Shapes by their keys: entity rows by table, families by maker and name, ids of missing chassis, ids of
    statements, and groups of rows that could be the same thing.

    For a family, the tables in which statements changed; the rest is as before. None means all of it.
    """

    rows: dict[type[Row], set[str]] = field(default_factory=lambda: defaultdict(set))
    families: dict[tuple[str, str], Tables] = field(default_factory=dict)
    orphans: set[str] = field(default_factory=set)
    ids: set[str] = field(default_factory=set)
    alike: list[list[Row]] = field(default_factory=list)


def affected(after: Rows, before: Rows, changes: Sequence[Change]) -> Affected:
    """The shapes of the catalogue `after` that the changes touch."""
    shapes = Affected()
    chassis = _Chassis()
    for change in changes:
        _own(shapes, chassis, change, after, before)
        gone = change.after is None
        if change.before is None or not (gone or _heard(change)) or (change.table is Chassis and not gone):
            continue
        for table, column in referring(change.table):
            if gone or FAMILY_OF.get(table):
                _named_by(shapes, chassis, change.table, after.where(table, column, change.id), gone)
    _families(shapes, chassis, after)
    _alike(shapes, changes, after)
    return shapes


def _alike(shapes: Affected, changes: Sequence[Change], after: Rows) -> None:
    """Rows that could be the same thing as a changed row, before or after the change."""
    versions: dict[type[Row], list[Row]] = defaultdict(list)
    for change in changes:
        if change.table.role == "entity":
            versions[change.table] += [row for row in (change.before, change.after) if row is not None]
    for table, of_table in versions.items():
        groups = alike(after, table, of_table)
        shapes.alike += groups
        shapes.rows[table].update(row.id for group in groups for row in group)


def _own(shapes: Affected, chassis: _Chassis, change: Change, after: Rows, before: Rows) -> None:
    """The shapes that the row itself belongs to, before and after."""
    versions = [row for row in (change.before, change.after) if row is not None]
    if change.table.role == "statement":
        shapes.ids.add(change.id)
        for row in versions:
            chassis.add(row["chassis"], change.table)
        return
    if change.after is not None:
        shapes.rows[change.table].add(change.id)
    for row in versions:
        if is_row_of(row, Chassis):
            chassis.add(row.id, None)
            shapes.families[row.maker, row.name] = None
        elif is_row_of(row, Step):
            shapes.rows[Procedure].add(row.procedure)
        elif is_row_of(row, Tool) and row.drive is not None:
            shapes.rows[Fastener].update(each.id for each in after.where(Fastener, "drives", row.drive))
        elif is_row_of(row, SpringChamber):
            shapes.rows[Spring].add(row.spring)
            for table, column in referring(Spring):
                if FAMILY_OF.get(table):
                    _named_by(shapes, chassis, Spring, after.where(table, column, row.spring), gone=False)
        elif is_row_of(row, Spring) or is_row_of(row, Part):
            _numbered(shapes, row, after)
        elif (own := getattr(row, "chassis", None)) is not None:
            chassis.add(own, None)


def _numbered(shapes: Affected, row: Spring | Part, after: Rows) -> None:
    """The rows that share the part number of a row, and those that it replaces."""
    alike: list[Row] = [] if row.part_number is None else [*after.where(row.model, "part_number", row.part_number)]
    alike += after.where(row.model, "superseded_by", row.id)
    shapes.rows[row.model].update(each.id for each in alike)


def _heard(change: Change) -> bool:
    """True if something changed that a shape other than the row itself can see."""
    if change.before is None or change.after is None:
        return True
    before, after = change.before, change.after
    read = READ.get(change.table)
    columns = before.model.columns().keys()
    heard = columns - SPOKEN | TOLD_APART_BY.get(change.table, frozenset()) if read is None else read
    return any(before[name] != after[name] for name in heard)


def _named_by(shapes: Affected, chassis: _Chassis, changed: type[Row], rows: Iterable[Row], gone: bool) -> None:
    """The shapes of rows that name a changed row; as rows they see only whether it exists."""
    for row in rows:
        table = row.model
        if gone and table.role == "entity":
            shapes.rows[table].add(row.id)
        own = getattr(row, FAMILY_OF.get(table, ""), None)
        if own is not None:
            chassis.add(own, table if changed.role == "statement" else None)


def _families(shapes: Affected, chassis: _Chassis, after: Rows) -> None:
    present = after.many(Chassis, chassis.tables)
    for row in present.values():
        key = row.maker, row.name
        shapes.families[key] = _both(shapes.families.get(key, frozenset()), chassis.tables[row.id])
    shapes.orphans.update(chassis.tables.keys() - present.keys())
