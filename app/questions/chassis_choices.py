"""What forms offer to choose from, by what the catalogue has for a chassis."""

from typing import NamedTuple

from app.catalogue.rows import At
from app.catalogue.tables import Chassis, Damper, Fit, Maker, Spring, Variant
from app.questions.job.asked import JOB_WORDS
from app.questions.on_the_bench import operations
from app.questions.present import present
from app.units.measure import wheel_called

Choice = tuple[str, str]
"""What is sent, and what it is called."""


class Choices(NamedTuple):
    """The choices of one chassis; what the catalogue does not say is an empty list, and is typed."""

    chassis: str
    jobs: list[str]
    spring: list[Choice]
    damper: list[Choice]
    variant: list[Choice]
    wheel_size: list[Choice]


def choices(at: At, id: str) -> Choices:
    """Raises NotFound with near ids, Gone."""
    chassis = present(at, Chassis, id)
    maker = at.one(Maker, chassis.maker)
    springs = at.many(Spring, {fit.spring for fit in at.where(Fit, "chassis", id)})
    dampers = at.many(Damper, chassis.dampers or ())
    return Choices(
        f"{maker.name} {chassis.name}" if maker is not None else chassis.name,
        [*JOB_WORDS, *sorted(operations(at, id) - JOB_WORDS.keys())],
        sorted(((spring.id, spring.name) for spring in springs.values()), key=lambda choice: choice[1]),
        sorted(((damper.id, damper.name) for damper in dampers.values()), key=lambda choice: choice[1]),
        [(variant.id, variant.name) for variant in at.where(Variant, "chassis", id)],
        [(str(size), wheel_called(size)) for size in chassis.wheel_sizes or ()],
    )
