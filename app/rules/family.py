"""A family as the rules see it: all chassis of one maker and name with their statements. Read only."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from functools import cache, cached_property
from operator import attrgetter
from typing import Any, NamedTuple, TypeVar

from app.catalogue.agreement import Subject, pascals, subject
from app.catalogue.scopes import Scope, overlap, resolve
from app.catalogue.tables import (
    SCOPE,
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
    SpringChamber,
    Statement,
    Torque,
    Variant,
)
from app.catalogue.tables.row import ScopedRow
from app.rules.bands import figure, first_known
from app.rules.batches import FamiliesBatch, JudgeScope, read, values

R = TypeVar("R", bound=Row)
S = TypeVar("S", bound=Statement)
# A fork for children; common practice, no source.
LARGEST_SMALL_WHEEL_MM = 520  # 24 inches are 507 mm, or 520 mm of an older tyre
THIN_MM = 30
SHORT_MM = 80
NOMINAL = ("value", "max", "min")  # the first one given represents a statement


class GuideFigures(NamedTuple):
    """One line of a guide: pressure in kPa, both ends of the mass in kg; None if not given or in an unknown unit."""

    pressure: float | None
    lightest: float | None
    heaviest: float | None


@cache
def _scoped(table: type[Row]) -> Callable[[Row], tuple[Any, ...]]:
    """Returns the values of a row that make up its scope."""
    return attrgetter("chassis", *(name for name in SCOPE if name in table.columns()))


class FamilyRows:
    """The parsed rows of some families, with the things they name; each family takes its own from it."""

    def __init__(self, part: FamiliesBatch) -> None:
        self.absent = part.absent
        self._part = part
        self._given: dict[tuple[type[Row], tuple[str, ...]], list[str]] = {}
        self._own: dict[type[Row], dict[str, list[Row]]] = {}
        for table, rows in part.own.items():
            grouped: dict[str, list[Row]] = defaultdict(list)
            about = attrgetter("id" if table is Chassis else "chassis")
            for row in read(table, rows):
                grouped[about(row)].append(row)
            self._own[table] = grouped
        self._named = {table: {row.id: row for row in read(table, rows)} for table, rows in part.named.items()}
        self.chambers: dict[str, list[SpringChamber]] = defaultdict(list)
        """The air chambers by spring."""
        for chamber in self._named[SpringChamber].values():
            self.chambers[chamber["spring"]].append(chamber)  # type: ignore[arg-type]
        for table in (Variant, Fastener):
            own = self._own.get(table, {})
            self._named[table].update((row.id, row) for rows in own.values() for row in rows)

    def about(self, table: type[R], chassis: str) -> list[R]:
        """The rows of a table about one chassis, by id."""
        return self._own[table].get(chassis, [])  # type: ignore[return-value]

    def given(self, table: type[Row], columns: tuple[str, ...]) -> list[str]:
        """Those of some columns in which any row of the families has a value."""
        found = self._given.get((table, columns))
        if found is None:
            rows = self._part.own[table]
            found = self._given[table, columns] = [
                column
                for column in columns
                if column in table.columns() and not {None}.issuperset(values(table, rows, column))
            ]
        return found

    def named(self, table: type[R]) -> dict[str, R]:
        """The things of a table that any of the families names or owns."""
        return self._named[table]  # type: ignore[return-value]


class Family:
    """All chassis of one maker and name, their statements, variants and fasteners, and every entity those name."""

    def __init__(self, shelf: FamilyRows, chassis: Sequence[str], span: JudgeScope | None = None) -> None:
        """With a `span`, only the tables it judges and reads are loaded; asking for other statements is an error."""
        self.chassis: dict[str, Chassis] = {id: row for id in chassis for row in shelf.about(Chassis, id)}
        first = self.chassis[chassis[0]]
        self.maker, self.name = first.maker, first.name
        self.variants: dict[str, Variant] = {row.id: row for id in chassis for row in shelf.about(Variant, id)}
        self.judged = tuple(table for table in STATEMENTS if span is None or table in span.judged)
        self.statements: dict[type[Statement], list[Statement]] = {
            table: [row for id in chassis for row in shelf.about(table, id)]
            for table in STATEMENTS
            if span is None or table in span.read
        }
        self.own_fasteners: dict[str, Fastener] = {}
        if span is None or Fastener in span.read:
            self.own_fasteners.update((row.id, row) for id in chassis for row in shelf.about(Fastener, id))
        self.absent = shelf.absent
        self._shelf = shelf
        # Look-ups by id. They include things of other families, so do not iterate over them.
        self.all_variants = shelf.named(Variant)
        self.fasteners = shelf.named(Fastener)
        self.springs = shelf.named(Spring)
        self.chambers = shelf.chambers
        self.dampers = shelf.named(Damper)
        self.spacers = shelf.named(Spacer)
        self.parts = shelf.named(Part)
        self.fluids = shelf.named(Fluid)
        self.sources = shelf.named(Source)
        self.notes: dict[str, Any] = {}  # results shared by several rules of one run
        self._scopes: dict[tuple[Any, ...], Scope] = {}
        self._equal: dict[Scope, Scope] = {}
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

    def same_table(self, row: Statement) -> dict[str, Statement]:
        """The statements of the same table as a row, by id."""
        return self.by_id(next(table for table in STATEMENTS if table is row.model))

    def everything(self) -> Iterator[Statement]:
        """All statements that are judged."""
        for table in self.judged:
            yield from self.statements[table]

    def scope(self, row: ScopedRow) -> Scope:
        """The resolved scope of a statement of this family; equal scopes are one object."""
        key = _scoped(row.model)(row)
        scope = self._scopes.get(key)
        if scope is None:
            scope = resolve(row, self.chassis.get(row["chassis"]), self.all_variants, self.parts)
            scope = self._scopes[key] = self._equal.setdefault(scope, scope)
        return scope

    @cached_property
    def fits_of_chassis(self) -> dict[str, list[Fit]]:
        """The fits by chassis."""
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
        """The fits of air springs with their scopes, by chassis and spring."""
        grouped: dict[tuple[str, str], list[tuple[Fit, Spring, Scope]]] = defaultdict(list)
        for chassis, found in self.air_fits.items():
            for each in found:
                grouped[chassis, each[1].id].append(each)
        return grouped

    def air_fits_of(self, guide: Guide) -> list[tuple[Fit, Spring]]:
        """The air fits that a guide can be about: its scope overlaps theirs and includes their travel."""
        scope = self.scope(guide)
        low, high = scope.travel_from, scope.travel_to
        if guide.spring is None:
            possible = self.air_fits.get(guide.chassis, [])
        else:
            possible = self.air_fits_by_spring.get((guide.chassis, guide.spring), [])
        return [(fit, spring) for fit, spring, own in possible if low <= fit.travel_mm <= high and overlap(scope, own)]

    @cached_property
    def tightened(self) -> list[tuple[Torque, Fastener, str, float]]:
        """The torques with their fasteners, the column of the figure that represents each, and that figure in N·m."""
        found: list[tuple[Torque, Fastener, str, float]] = []
        for row in self.of(Torque):
            fastener = self.fasteners.get(row.fastener)
            if fastener is not None and (known := first_known(row, NOMINAL, "unit", "torque", "N·m")) is not None:
                found.append((row, fastener, *known))
        return found

    @cached_property
    def guide_groups(self) -> list[list[Guide]]:
        """The lines of each guide: of one chassis, chamber, scope, source and kind of riding."""
        grouped: dict[tuple[object, ...], list[Guide]] = defaultdict(list)
        for row in self.of(Guide):
            grouped[row.chassis, row.chamber, id(self.scope(row)), row.source, getattr(row, "riding", None)].append(row)
        return list(grouped.values())

    @cached_property
    def guide_figures(self) -> dict[str, GuideFigures]:
        """The figures of each line of a guide by its id, computed once for all rules."""
        return {
            row.id: GuideFigures(
                figure(row.pressure, row.pressure_unit, "pressure", "kPa"),
                figure(row.rider_mass_from, row.mass_unit, "mass", "kg"),
                figure(row.rider_mass_to, row.mass_unit, "mass", "kg"),
            )
            for row in self.of(Guide)
        }

    @cached_property
    def last_passes(self) -> dict[tuple[str, str], int]:
        """The number of the last pass of each fastener of a chassis that is tightened in several passes."""
        last: dict[tuple[str, str], int] = {}
        for row in self.of(Torque):
            key = row.chassis, row.fastener
            last[key] = max(row.stage or 1, last.get(key, 1))
        return last

    def is_not_last_pass(self, row: Torque) -> bool:
        """True if a later pass follows, so this figure is not the final torque of the fastener."""
        return (row.stage or 1) < self.last_passes[row.chassis, row.fastener]

    def given(self, *columns: str) -> list[Statement]:
        """The judged statements that have a value in one of these columns, table by table."""
        found = self._given.get(columns)
        if found is None:
            found = self._given[columns] = []
            for table in self.judged:
                there = self._shelf.given(table, columns)
                if len(there) == 1:
                    (only,) = there
                    found += [row for row in self.statements[table] if getattr(row, only) is not None]
                elif there:
                    found += [
                        row for row in self.statements[table] if any(getattr(row, each) is not None for each in there)
                    ]
        return found

    @cached_property
    def least_limit(self) -> dict[str, float]:
        """The lowest fill pressure limit of a chassis's air fits, in pascals; left out if one of them states none."""
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

    def is_small(self, chassis: str) -> bool:
        """True for a children's fork: small wheels, or thin stanchions and very little travel."""
        row = self.chassis[chassis]
        if row.wheel_sizes is not None:
            return min(row.wheel_sizes) <= LARGEST_SMALL_WHEEL_MM
        thin = row.stanchion_diameter_mm is not None and row.stanchion_diameter_mm <= THIN_MM
        return thin and row.travel_max_mm is not None and row.travel_max_mm <= SHORT_MM

    def dampers_of(self, row: Statement) -> tuple[str, ...]:
        """The dampers a statement can be about: its own, else all dampers of the chassis."""
        if row.damper is not None:
            return row.damper
        return self.chassis[row.chassis].dampers or ()

    @cached_property
    def shared_subjects(self) -> list[list[tuple[Statement, Scope]]]:
        """The judged statements of one table and subject with their scopes, if there are several."""
        found: list[list[tuple[Statement, Scope]]] = []
        for table in self.judged:
            grouped: dict[Subject, list[Statement]] = defaultdict(list)
            for row in self.statements[table]:
                grouped[subject(row, self.parts)].append(row)
            found += [[(row, self.scope(row)) for row in group] for group in grouped.values() if len(group) > 1]
        return found
