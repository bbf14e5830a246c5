"""What forms offer to choose from, by what the catalogue has for a chassis."""

from typing import NamedTuple

from app.catalogue.present import present
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Chassis, Damper, Fit, Maker, Spring, Variant
from app.questions.job.bench_fork import operations
from app.questions.job.parameters import JOB_WORDS
from app.units.measure import wheel_called

JobChoice = tuple[str, str]
"""What is sent, and what it is called."""


class Choices(NamedTuple):
    """The choices of one chassis; what the catalogue does not say is an empty list, and is typed."""

    chassis: str
    jobs: list[str]
    spring: list[JobChoice]
    damper: list[JobChoice]
    variant: list[JobChoice]
    wheel_size: list[JobChoice]


def choices(snapshot: Snapshot, id: str) -> Choices:
    """Raises NotFound with near ids, Gone."""
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
    )
