"""The shapes a rule may see: a row, a family, an entity with its referrers, a change. Read only."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from functools import cache, cached_property
from typing import Any, Literal, NamedTuple, TypeVar

from app.catalogue.agreement import Key, pascals, subject
from app.catalogue.rows import Rows
from app.catalogue.scopes import Scope, overlap, resolve
from app.catalogue.tables import (
    STATEMENTS,
    TABLES,
    Chassis,
    Damper,
    Fastener,
    Fit,
    Fluid,
    Guide,
    Part,
    Row,
    Source,
    Spacer,
    Spring,
    Statement,
    Variant,
)
from app.rules.bands import figure

R = TypeVar("R", bound=Row)
S = TypeVar("S", bound=Statement)
Absent = frozenset[tuple[str, str]]
KEPT = 4096  # entities of one table kept between families


class RowView(NamedTuple):
    """One row, and which of the things it and its neighbours name are not there, as (table, id)."""

    row: Row
    absent: Absent


class Change(NamedTuple):
    """One row before and after; `before` is None where it is new, `after` where it is withdrawn."""

    table: type[Row]
    op: Literal["put", "withdraw"]
    id: str
    before: Row | None
    after: Row | None


class ChangeView(NamedTuple):
    """A change with the documents that the row named before and after."""

    change: Change
    source_before: Source | None
    source_after: Source | None


class EntityView(NamedTuple):
    """One row and the rows that refer to it (or, for an id, all that bear it), ordered by table and id."""

    row: Row
    referrers: tuple[Row, ...]


class GuideFigures(NamedTuple):
    """One line of a guide: pressure in kPa, both ends of the mass in kg; None where not given or in no known unit."""

    pressure: float | None
    lightest: float | None
    heaviest: float | None


class Span(NamedTuple):
    """What is judged of a family: the tables whose rows are, and those that are read for it."""

    judged: frozenset[type[Row]]
    read: frozenset[type[Row]]


class Reference(NamedTuple):
    """A column that names rows of another table; `many` where the cell is a list."""

    column: str
    table: type[Row]
    many: bool


@cache
def references(table: type[Row]) -> tuple[Reference, ...]:
    """The reference columns of a table; that of an exception is the table itself."""
    found = []
    for name, column in table.columns().items():
        if column.refers_to is not None:
            found.append(Reference(name, TABLES[column.refers_to], column.kind.items is not None))
        elif name == "exception_to":
            found.append(Reference(name, table, False))
    return tuple(found)


@cache
def referring(table: type[Row]) -> tuple[tuple[type[Row], str], ...]:
    """Every (table, column) that can name a row of `table`."""
    return tuple(
        (other, reference.column)
        for other in TABLES.values()
        for reference in references(other)
        if reference.table is table
    )


def named(rows: Iterable[Row], table: type[Row]) -> dict[type[Row], set[str]]:
    """The ids that rows of `table` name, by the table they are of."""
    found: dict[type[Row], set[str]] = defaultdict(set)
    held = [row.__dict__ for row in rows]
    for reference in references(table):
        column = reference.column
        if reference.many:
            found[reference.table].update(id for fields in held for id in fields[column] or ())
        else:
            ids = {fields[column] for fields in held}
            ids.discard(None)
            found[reference.table].update(ids)
    return found


class Entities:
    """Entities by id at one revision; the last few thousand of each table are kept, so that memory stays flat."""

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
        self._kept: dict[type[Row], dict[str, Row | None]] = defaultdict(dict)

    def get(self, table: type[R], ids: Collection[str]) -> dict[str, R]:
        """Those of the ids that are there."""
        kept = self._kept[table]
        unknown = [id for id in ids if id not in kept]
        if unknown:
            if len(kept) > KEPT:
                kept.clear()
                unknown = list(ids)
            found = self.rows.many(table, unknown)
            for id in unknown:
                kept[id] = found.get(id)
        return {id: row for id in ids if (row := kept[id]) is not None}  # type: ignore[misc]

    def absent(self, wanted: Mapping[type[Row], set[str]], known: Mapping[type[Row], Collection[str]]) -> Absent:
        """Those of the wanted ids that are neither known nor in the catalogue."""
        missing: set[tuple[str, str]] = set()
        for table, ids in wanted.items():
            unknown = ids.difference(known.get(table, ()))
            if unknown:
                there = self.get(table, unknown) if table.role == "entity" else self.rows.many(table, unknown)
                missing.update((table.table, id) for id in unknown if id not in there)
        return frozenset(missing)


class Neighbours:
    """The rows about some chassis, read together: one query per table for a few families, not for each."""

    def __init__(self, rows: Rows, chassis: Collection[str], tables: Iterable[type[Row]]) -> None:
        self._held: dict[type[Row], dict[str, list[Row]]] = {}
        for table in tables:
            grouped: dict[str, list[Row]] = defaultdict(list)
            for row in rows.among(table, "chassis", chassis):
                grouped[row.__dict__["chassis"]].append(row)
            self._held[table] = grouped

    def of(self, table: type[R], chassis: str) -> list[R]:
        """The rows of a table about one chassis, by id."""
        return self._held[table].get(chassis, [])  # type: ignore[return-value]


class Family:
    """All chassis of one maker and name, their statements, variants and fasteners, and every entity those name."""

    def __init__(
        self, near: "Neighbours", entities: Entities, chassis: Sequence[Chassis], span: Span | None = None
    ) -> None:
        """Of a `span` only what it judges and reads is there: other statements are an error to ask for."""
        self.maker = chassis[0].maker
        self.name = chassis[0].name
        self.chassis: dict[str, Chassis] = {row.id: row for row in chassis}
        self.variants: dict[str, Variant] = {row.id: row for id in self.chassis for row in near.of(Variant, id)}
        self.judged = tuple(table for table in STATEMENTS if span is None or table in span.judged)
        self.statements: dict[type[Statement], list[Statement]] = {
            table: [row for id in self.chassis for row in near.of(table, id)]
            for table in STATEMENTS
            if span is None or table in span.read
        }
        own: dict[str, Fastener] = {}
        if span is None or Fastener in span.read:
            own.update((row.id, row) for id in self.chassis for row in near.of(Fastener, id))
        self.own_fasteners = own
        wanted: dict[type[Row], set[str]] = defaultdict(set)
        held: dict[type[Row], Collection[Row]] = {
            **dict(self.statements.items()),
            Chassis: self.chassis.values(), Variant: self.variants.values(), Fastener: own.values(),
        }  # fmt: skip
        for naming, rows_held in held.items():
            for target, ids in named(rows_held, naming).items():
                wanted[target] |= ids
        known: dict[type[Row], Collection[str]] = {Chassis: self.chassis, Variant: self.variants, Fastener: own}
        for table in self.statements:
            if wanted[table]:
                known[table] = {row.id for row in self.statements[table]}
        self.absent = entities.absent(wanted, known)
        other_variants = entities.get(Variant, wanted[Variant] - self.variants.keys())
        self.all_variants: dict[str, Variant] = {**self.variants, **other_variants}
        self.fasteners: dict[str, Fastener] = {**own, **entities.get(Fastener, wanted[Fastener] - own.keys())}
        self.springs: dict[str, Spring] = entities.get(Spring, wanted[Spring])
        self.dampers: dict[str, Damper] = entities.get(Damper, wanted[Damper])
        self.spacers: dict[str, Spacer] = entities.get(Spacer, wanted[Spacer])
        self.parts: dict[str, Part] = entities.get(Part, wanted[Part])
        self.fluids: dict[str, Fluid] = entities.get(Fluid, wanted[Fluid])
        self.sources: dict[str, Source] = entities.get(Source, wanted[Source])
        self.notes: dict[str, Any] = {}  # what several rules of one run work out together
        self._scopes: dict[int, Scope] = {}
        self._given: dict[tuple[str, ...], list[Statement]] = {}
        self._by_id: dict[type[Statement], dict[str, Statement]] = {}

    def of(self, table: type[S]) -> list[S]:
        """The statements of one table, chassis by chassis, by id."""
        return self.statements[table]  # type: ignore[return-value]

    def by_id(self, table: type[S]) -> dict[str, S]:
        """The statements of one table by id."""
        found = self._by_id.get(table)
        if found is None:
            found = self._by_id[table] = {row.id: row for row in self.statements[table]}
        return found  # type: ignore[return-value]

    def everything(self) -> Iterator[Statement]:
        """All statements that are judged."""
        for table in self.judged:
            yield from self.statements[table]

    def scope(self, row: Row) -> Scope:
        """The resolved scope of a statement of this family."""
        key = id(row)  # a row lives as long as its family
        scope = self._scopes.get(key)
        if scope is None:
            scope = resolve(row, self.chassis.get(row.__dict__["chassis"]), self.all_variants)
            self._scopes[key] = scope
        return scope

    @cached_property
    def fits_of_chassis(self) -> dict[str, list[Fit]]:
        """The fits by the chassis they are about."""
        grouped: dict[str, list[Fit]] = defaultdict(list)
        for row in self.of(Fit):
            grouped[row.chassis].append(row)
        return grouped

    @cached_property
    def air_fits(self) -> dict[str, list[tuple[Fit, Spring, Scope]]]:
        """The fits of air springs with their scopes, by chassis."""
        return {
            chassis: [
                (fit, spring, self.scope(fit))
                for fit in fits
                if (spring := self.springs.get(fit.spring)) is not None and spring.kind == "air"
            ]
            for chassis, fits in self.fits_of_chassis.items()
        }

    @cached_property
    def air_fits_by_spring(self) -> dict[tuple[str, str], list[tuple[Fit, Spring, Scope]]]:
        """The same by chassis and spring."""
        grouped: dict[tuple[str, str], list[tuple[Fit, Spring, Scope]]] = defaultdict(list)
        for chassis, found in self.air_fits.items():
            for each in found:
                grouped[chassis, each[1].id].append(each)
        return grouped

    def air_fits_of(self, guide: Guide) -> list[tuple[Fit, Spring]]:
        """The air fits that a guide can be about: its scope overlaps theirs and holds their travel."""
        scope = self.scope(guide)
        low, high = scope.travel_from, scope.travel_to
        if guide.spring is None:
            possible = self.air_fits.get(guide.chassis, [])
        else:
            possible = self.air_fits_by_spring.get((guide.chassis, guide.spring), [])
        return [(fit, spring) for fit, spring, own in possible if low <= fit.travel_mm <= high and overlap(scope, own)]

    @cached_property
    def guide_groups(self) -> list[list[Guide]]:
        """The lines of each guide: of one chassis, chamber, scope and source."""
        grouped: dict[tuple[object, ...], list[Guide]] = defaultdict(list)
        for row in self.of(Guide):
            grouped[row.chassis, row.chamber, self.scope(row), row.source].append(row)
        return list(grouped.values())

    @cached_property
    def guide_figures(self) -> dict[str, GuideFigures]:
        """The figures of each line of a guide by its id, worked out once for all rules."""
        return {
            row.id: GuideFigures(
                figure(row.pressure, row.pressure_unit, "pressure", "kPa"),
                figure(row.rider_mass_from, row.mass_unit, "mass", "kg"),
                figure(row.rider_mass_to, row.mass_unit, "mass", "kg"),
            )
            for row in self.of(Guide)
        }

    def given(self, *columns: str) -> list[Statement]:
        """The statements judged that give a value in one of these columns of scope or claim, table by table."""
        found = self._given.get(columns)
        if found is None:
            found = self._given[columns] = []
            for table in self.judged:
                for row in self.statements[table]:
                    fields = row.__dict__
                    for column in columns:
                        if fields[column] is not None:
                            found.append(row)
                            break
        return found

    @cached_property
    def least_limit(self) -> dict[str, float]:
        """The lowest fill pressure limit of a chassis's air fits, in pascals; absent where one of them states none."""
        least: dict[str, float] = {}
        for chassis, fits in self.air_fits.items():
            limits = []
            for fit, spring, _ in fits:
                own = pascals(fit.pressure_limit, fit.pressure_unit)
                limits.append(own if own is not None else pascals(spring.pressure_limit, spring.pressure_unit))
            known = [limit for limit in limits if limit is not None]
            if known and len(known) == len(limits):
                least[chassis] = float(min(known))
        return least

    def dampers_of(self, row: Statement) -> tuple[str, ...]:
        """The dampers a statement can be about: its own, else all the chassis was made with."""
        if row.damper is not None:
            return (row.damper,)
        return self.chassis[row.chassis].dampers or ()

    @cached_property
    def shared_subjects(self) -> list[list[tuple[Statement, Scope]]]:
        """The statements judged of one table and subject with their scopes, where there are several."""
        found: list[list[tuple[Statement, Scope]]] = []
        for table in self.judged:
            grouped: dict[Key, list[Statement]] = defaultdict(list)
            for row in self.statements[table]:
                grouped[subject(row, self.parts)].append(row)
            found += [[(row, self.scope(row)) for row in group] for group in grouped.values() if len(group) > 1]
        return found


def cell(row: Row, column: str | None) -> str | None:
    """The text of one cell, None where it is empty."""
    if column is None or (value := row.__dict__.get(column)) is None:
        return None
    return type(row).columns()[column].kind.write(value)
