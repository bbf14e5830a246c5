"""The choices that forms offer, from what the catalogue lists for a chassis."""

from collections.abc import Iterable
from typing import NamedTuple

from app.catalogue.present import present
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Chassis, Damper, Fit, Maker, Spring, Variant
from app.questions.job.bench_fork import operations, ridings
from app.questions.job.parameters import JOB_WORDS
from app.questions.setup.riding import OTHER_RIDING
from app.units.measure import wheel_called

JobChoice = tuple[str, str]
"""The value that is sent, and its name."""


class Choices(NamedTuple):
    """The choices for one chassis. If the catalogue lists none, the list is empty and the value is typed in."""

    chassis: str
    jobs: list[str]
    spring: list[JobChoice]
    damper: list[JobChoice]
    variant: list[JobChoice]
    wheel_size: list[JobChoice]
    riding: list[JobChoice]
    clicks_from: str  # the ends that the makers of its dampers count clicks from, in words


def choices(snapshot: Snapshot, id: str) -> Choices:
    """Raises NotFound with similar ids, Gone."""
    chassis = present(snapshot, Chassis, id)
    maker = snapshot.one(Maker, chassis.maker)
    springs = snapshot.many(Spring, {fit.spring for fit in snapshot.where(Fit, "chassis", id)})
    dampers = snapshot.many(Damper, chassis.dampers or ())
    return Choices(
        f"{maker.name} {chassis.name}" if maker is not None else chassis.name,
        [*JOB_WORDS, *sorted(operations(snapshot, id) - JOB_WORDS.keys())],
        sorted(((spring.id, spring.name) for spring in springs.values()), key=lambda choice: choice[1]),
        sorted(((damper.id, damper.name) for damper in dampers.values()), key=lambda choice: choice[1]),
        [(variant.id, variant.name) for variant in snapshot.where(Variant, "chassis", id)],
        [(str(size), wheel_called(size)) for size in chassis.wheel_sizes or ()],
        [(riding, riding) for riding in (*ridings(snapshot, id), OTHER_RIDING)],
        _clicks_from(dampers.values()),
    )


def _clicks_from(dampers: Iterable[Damper]) -> str:
    """The end that each maker counts from; if all dampers share it, it is given once."""
    ends = {damper.name: damper.clicks_from or "not stated" for damper in dampers}
    if len(set(ends.values())) == 1:
        return f"the maker counts from {next(iter(ends.values()))}" if "not stated" not in ends.values() else ""
    return ", ".join(f"{name}: {end}" for name, end in sorted(ends.items()))
