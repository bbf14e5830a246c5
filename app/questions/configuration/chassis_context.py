"""The start of every question about a chassis: its maker, its variants and the entities that statements name."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import inf
from typing import TypeVar

from rapidfuzz import process

from app.catalogue.agreement import subject
from app.catalogue.offers import Offer
from app.catalogue.present import present
from app.catalogue.rows import Snapshot
from app.catalogue.scopes import EVERYWHERE, Scope, fitted_part, resolve
from app.catalogue.serials import SerialRange, has_serial, is_known, made_serials, serial_range
from app.catalogue.tables import (
    STATEMENTS,
    Chassis,
    Fit,
    Maker,
    Part,
    Procedure,
    Row,
    Source,
    Statement,
    Variant,
)
from app.catalogue.tables.row import ScopedRow
from app.errors import Invalid
from app.questions.configuration.cited_sources import CitedSources
from app.questions.configuration.prevailing import Applicable, prevailing
from app.questions.configuration.region import Given, Region, region

S = TypeVar("S", bound=Statement)
R = TypeVar("R", bound=Row)
Q = TypeVar("Q", bound=ScopedRow)


@dataclass
class ChassisContext:
    """One chassis at one revision. Entities are fetched once, by id, when an answer needs them."""

    snapshot: Snapshot
    chassis: Chassis
    maker: Maker | None
    variants: dict[str, Variant]
    sources: CitedSources = field(init=False)
    parts: dict[str, Part] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.sources = CitedSources(self.snapshot)

    def scoped(self, statements: Iterable[Q]) -> list[tuple[Q, Scope]]:
        """Statements or procedures of this chassis with their resolved scopes."""
        rows = list(statements)
        self.with_parts(row.fitted_part for row in rows if row.fitted_part is not None)
        return [(row, resolve(row, self.chassis, self.variants, self.parts)) for row in rows]

    def with_parts(self, ids: Iterable[str]) -> None:
        """Fetch parts that are not loaded yet."""
        wanted = set(ids) - self.parts.keys()
        if wanted:
            self.parts.update(self.snapshot.many(Part, wanted))

    def with_sources(self, rows: Iterable[Row]) -> None:
        """Fetch the sources that rows name, if they are not loaded yet."""
        wanted = {row["source"] for row in rows} - self.sources.keys() - {None}
        if wanted:
            self.sources.update(self.snapshot.many(Source, wanted))

    def prevailing(self, statements: Iterable[S], asked: Region) -> list[Applicable[S]]:
        """Those of the statements that apply to the question."""
        return self.prevailing_of(self.scoped(statements), asked)

    def prevailing_of(self, scoped: Iterable[tuple[S, Scope]], asked: Region) -> list[Applicable[S]]:
        """Like `prevailing`, for statements whose scope is already resolved."""
        candidates = [(row, scope) for row, scope in scoped if asked.may_hold(scope)]
        self.with_sources(row for row, _ in candidates)
        return prevailing(candidates, asked, lambda row: subject(row, self.parts), self.sources)

    def region(self, asked: Given, fits: Sequence[Fit | Offer]) -> Region:
        """The region that the question leaves open, given the fits of this chassis."""
        self.with_parts(asked.fitted_parts)
        unknown = [id for id in asked.fitted_parts if id not in self.parts]
        if unknown:
            raise self._no_part(unknown[0])
        return region(
            self.chassis,
            self.variants,
            asked,
            travels={fit.travel_mm for fit in fits},
            springs={fit.spring for fit in fits},
            serial=None if asked.serial is None or not self._knows(asked.serial) else asked.serial,
            fitted=tuple(fitted_part(id, self.parts) for id in asked.fitted_parts),
        )

    def _no_part(self, id: str) -> Invalid:
        named = sorted({row.fitted_part for row in self._scoped_rows if row.fitted_part is not None})
        best = process.extractOne(id, named)
        listed = (
            f"parts that figures of {self.chassis.name} depend on: {', '.join(named)}"
            if named
            else (f"no figure of {self.chassis.name} depends on a part: leave fitted_part out")
        )
        text = f"there is no part {id}; {listed}"
        return Invalid.one("fitted-part-outside", text, parameter="fitted_part", suggestion=best[0] if best else None)

    def serial_is_unread(self, asked: Given) -> bool:
        """Whether a serial was given that has the shape of none here, although something depends on serials."""
        return asked.serial is not None and self._depends_on_serials and not self._knows(asked.serial)

    def _knows(self, serial: str) -> bool:
        return is_known(serial, self.variants.values(), self._serial_ranges)

    @property
    def _depends_on_serials(self) -> bool:
        stated = (each.serial_pattern or each.serial_from or each.serial_to for each in self.variants.values())
        return bool(self._serial_ranges) or any(stated)

    @cached_property
    def _serial_ranges(self) -> list[SerialRange]:
        """The ranges of serials in the scopes of this chassis, read only if a serial is given."""
        found = (serial_range(row.serial_from, row.serial_to) for row in self._scoped_rows)
        return [each for each in found if each is not None]

    @cached_property
    def _scoped_rows(self) -> list[ScopedRow]:
        tables: tuple[type[ScopedRow], ...] = (*STATEMENTS, Procedure)
        return [row for table in tables for row in self.snapshot.where(table, "chassis", self.chassis.id)]

    def choices(self, asked: Region, fits: Sequence[Fit | Offer]) -> Mapping[str, Sequence[str | int | float]]:
        """The possible values of each dimension, for `undecided`, without values that the other answers exclude.

        A value is left if some fit applies with it and with everything given. A chassis without fits excludes nothing.
        """
        possible = self._possible(asked, fits)
        years: list[int] = []
        if asked.years[0] > -inf and asked.years[1] < inf:
            years = list(range(int(asked.years[0]), int(asked.years[1]) + 1))
        found: dict[str, Sequence[str | int | float]] = {
            "variant": _left(sorted(self.variants), lambda id: self._of_variant(asked, id), possible),
            "damper": _left(sorted(asked.dampers or ()), lambda id: replace(asked, dampers=frozenset({id})), possible),
            "wheel_size": _left(
                sorted(asked.wheel_sizes or ()), lambda size: replace(asked, wheel_sizes=frozenset({size})), possible
            ),
            "model_year": _left(years, lambda year: replace(asked, years=(year, year)), possible),
            "spring": sorted({fit.spring for fit, _ in possible} or (asked.springs or ())),
            "travel": sorted({fit.travel_mm for fit, _ in possible} or {fit.travel_mm for fit in fits}),
        }
        return found

    def _possible(self, asked: Region, fits: Sequence[Fit | Offer]) -> list[tuple[Fit | Offer, Scope]]:
        """The fits that may still apply, each with its scope; an offer applies wherever its chassis does."""
        low, high = asked.travel
        mine = [
            fit for fit in fits
            if low <= fit.travel_mm <= high and (asked.springs is None or fit.spring in asked.springs)
        ]  # fmt: skip
        self.with_parts(fit.fitted_part for fit in mine if isinstance(fit, Fit) and fit.fitted_part is not None)
        scoped = [
            (
                fit,
                resolve(fit, self.chassis, self.variants, self.parts)._replace(spring=None)
                if isinstance(fit, Fit)
                else EVERYWHERE,
            )
            for fit in mine
        ]
        return [(fit, scope) for fit, scope in scoped if asked.may_hold(scope)]

    def _of_variant(self, asked: Region, id: str) -> Region | None:
        """The region if the fork is that variant, or None if it was not made in these years or has other serials."""
        variant = self.variants[id]
        first = -inf if variant.model_year_from is None else variant.model_year_from
        last = inf if variant.model_year_to is None else variant.model_year_to
        years = (max(first, asked.years[0]), min(last, asked.years[1]))
        serial = asked.serials
        if years[0] > years[1] or (serial is not None and has_serial(variant, serial.first) is False):
            return None
        return replace(asked, variants=frozenset({id}), years=years, serials=serial or made_serials(variant))


V = TypeVar("V", str, int)


def _left(
    values: Sequence[V], narrowed: Callable[[V], Region | None], possible: Sequence[tuple[Fit | Offer, Scope]]
) -> Sequence[V]:
    """The values with which some fit still applies; every value if there is no fit to go by."""
    if len(values) < 2:
        return values
    regions = {value: narrowed(value) for value in values}
    there = [value for value in values if regions[value] is not None]
    kept = [value for value in there if any(_holds(regions[value], scope) for _, scope in possible)]
    return kept or there


def _holds(region: Region | None, scope: Scope) -> bool:
    return region is not None and region.may_hold(scope)


def load_chassis(snapshot: Snapshot, id: str) -> ChassisContext:
    """Load a chassis. Raises NotFound with similar ids, Gone if it was withdrawn."""
    chassis = present(snapshot, Chassis, id)
    variants = {variant.id: variant for variant in snapshot.where(Variant, "chassis", id)}
    context = ChassisContext(snapshot, chassis, snapshot.one(Maker, chassis.maker), variants)
    context.with_sources([chassis])
    return context
