"""A spring that gives only one travel decides the travel; any other travel contradicts it and is refused."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from app.catalogue.columns import write_number
from app.catalogue.tables import Fit, Spring
from app.errors import Fault, Invalid
from app.questions.configuration.chassis_context import ChassisContext
from app.questions.configuration.region import Given
from app.units.measure import Measure, parse_measure


def travels_of(context: ChassisContext, offered: Sequence[Fit], wanted: Given) -> list[float]:
    """The travels that the wanted spring is listed to give in the rest of the configuration, in order."""
    where = context.region(replace(wanted, travel=None), offered)
    mine = [fit for fit in offered if fit.spring == wanted.spring]
    return sorted({fit.travel_mm for fit, scope in context.scoped(mine) if where.may_hold(scope)})


def with_travel_of_spring(context: ChassisContext, offered: Sequence[Fit], wanted: Given) -> Given:
    """The configuration with the travel that its spring decides.

    Raises Invalid `spring-gives-other-travel`, which names spring and travel, and whatever the region raises.
    """
    if wanted.spring is None or all(fit.spring != wanted.spring for fit in offered):
        return wanted
    travels = travels_of(context, offered, wanted)
    if wanted.travel is None:
        return replace(wanted, travel=_travel(travels[0])) if len(travels) == 1 else wanted
    travel_mm = context.region(wanted, offered).travel[0]
    if not travels or travel_mm in travels:
        return wanted
    spring = context.snapshot.one(Spring, wanted.spring)
    name = wanted.spring if spring is None else f"{spring.name} ({spring.id})"
    text = f"{name} gives {context.chassis.name} {' or '.join(map(write_number, travels))} mm, not "
    text += f"{write_number(travel_mm)} mm. Change the spring or the travel."
    suggestion = write_number(min(travels, key=lambda each: (abs(each - travel_mm), each)))
    raise Invalid(text, [Fault("spring-gives-other-travel", text, parameter="travel", suggestion=suggestion)])


def _travel(travel_mm: float) -> Measure:
    return parse_measure(
        write_number(travel_mm),
        kind="length",
        usual="mm",
        parameter="travel",
        minimum=Decimal(0),
        maximum=Decimal(1000),
    )
