"""A family as the rules see it: all chassis of one maker and name with what is said of them. Read only."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from functools import cached_property
from typing import Any, NamedTuple, TypeVar

from app.catalogue.agreement import Key, pascals, subject
from app.catalogue.rows import Rows
from app.catalogue.scopes import Scope, overlap, resolve
from app.catalogue.tables import (
    STATEMENTS,
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
from app.rules.view import Entities, named

R = TypeVar("R", bound=Row)
S = TypeVar("S", bound=Statement)


class GuideFigures(NamedTuple):
    """One line of a guide: pressure in kPa, both ends of the mass in kg; None where not given or in no known unit."""

    pressure: float | None
    lightest: float | None
    heaviest: float | None


class Span(NamedTuple):
    """What is judged of a family: the tables whose rows are, and those that are read for it."""

    judged: frozenset[type[Row]]
    read: frozenset[type[Row]]


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
