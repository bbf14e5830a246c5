"""The start of every question about a chassis: its maker, its variants and the entities that statements name."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from app.catalogue.agreement import subject
from app.catalogue.offers import Offer
from app.catalogue.present import present
from app.catalogue.rows import Snapshot
from app.catalogue.scopes import Scope, resolve
from app.catalogue.tables import Chassis, Fit, Maker, Part, Row, Source, Statement, Variant
from app.questions.configuration.prevailing import Applicable, prevailing
from app.questions.configuration.region import Given, Region, region

S = TypeVar("S", bound=Statement)
R = TypeVar("R", bound=Row)


@dataclass(slots=True)
class ChassisContext:
    """One chassis at one revision. Entities are fetched once, by id, when an answer needs them."""

    snapshot: Snapshot
    chassis: Chassis
    maker: Maker | None
    variants: dict[str, Variant]
    sources: dict[str, Source] = field(default_factory=dict)
    parts: dict[str, Part] = field(default_factory=dict)

    def scoped(self, statements: Iterable[S]) -> list[tuple[S, Scope]]:
        """Statements of this chassis with their resolved scopes."""
        return [(statement, resolve(statement, self.chassis, self.variants)) for statement in statements]

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
        return region(
            self.chassis,
            self.variants,
            asked,
            travels={fit.travel_mm for fit in fits},
            springs={fit.spring for fit in fits},
        )

    def choices(self, asked: Region, fits: Sequence[Fit | Offer]) -> Mapping[str, Sequence[str | int | float]]:
        """The possible values of each dimension, for `undecided`."""
        return {
            "variant": sorted(self.variants),
            "damper": sorted(asked.dampers or ()),
            "wheel_size": sorted(asked.wheel_sizes or ()),
            "spring": sorted(asked.springs or ()),
            "travel": sorted({fit.travel_mm for fit in fits}),
        }


def load_chassis(snapshot: Snapshot, id: str) -> ChassisContext:
    """Load a chassis. Raises NotFound with similar ids, Gone if it was withdrawn."""
    chassis = present(snapshot, Chassis, id)
    variants = {variant.id: variant for variant in snapshot.where(Variant, "chassis", id)}
    context = ChassisContext(snapshot, chassis, snapshot.one(Maker, chassis.maker), variants)
    context.with_sources([chassis])
    return context
