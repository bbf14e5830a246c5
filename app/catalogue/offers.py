"""What the fits of a chassis offer, without reading them: a chassis has dozens, one for each year and source.

A question reads the few that may hold in its years, and of the rest those that are shown as near.
"""

from collections.abc import Collection
from math import inf
from typing import NamedTuple

from sqlalchemy import bindparam, or_

from app.catalogue.rows import Snapshot
from app.catalogue.snapshot import holding
from app.catalogue.stored import SQL
from app.catalogue.tables import Chassis, Fit

_STORED = SQL[Fit]
_FAMILY = (
    holding(Chassis)
    .with_only_columns(SQL[Chassis].c.id)
    .where(SQL[Chassis].c.maker == bindparam("maker"), SQL[Chassis].c.name == bindparam("name"))
)
_OFFERS = (
    holding(Fit)
    .with_only_columns(_STORED.c.chassis, _STORED.c.spring, _STORED.c.travel_mm)
    .where(_STORED.c.chassis.in_(_FAMILY))
    .distinct()
    .order_by(_STORED.c.chassis, _STORED.c.spring, _STORED.c.travel_mm)
)
_OF_CHASSIS = holding(Fit).where(_STORED.c.chassis == bindparam("chassis")).order_by(_STORED.c.id)
_IN_YEARS = _OF_CHASSIS.where(
    or_(_STORED.c.model_year_from.is_(None), _STORED.c.model_year_from <= bindparam("last")),
    or_(_STORED.c.model_year_to.is_(None), _STORED.c.model_year_to >= bindparam("first")),
)
_PAIR = [list(Fit.columns()).index(name) for name in ("spring", "travel_mm")]
_ANY_YEAR = (-(2**31) + 1, 2**31 - 1)  # whole numbers that both engines hold


class Offer(NamedTuple):
    """What a chassis can be built to: a spring and a travel in mm."""

    spring: str
    travel_mm: float


def offers(snapshot: Snapshot, chassis: Chassis) -> dict[str, list[Offer]]:
    """What each chassis of the family of this one offers, by id; of this one a list that may be empty."""
    offered: dict[str, list[Offer]] = {chassis.id: []}
    for id, spring, travel_mm in snapshot.fetch(_OFFERS, maker=chassis.maker, name=chassis.name):
        offered.setdefault(id, []).append(Offer(spring, travel_mm))
    return offered


def in_years(snapshot: Snapshot, chassis: str, years: tuple[float, float]) -> list[Fit]:
    """The fits of a chassis whose own years meet these, by id; what chassis or variant narrows is not looked at."""
    first, last = (int(year) if abs(year) < inf else widest for year, widest in zip(years, _ANY_YEAR, strict=True))
    return Fit.all_from_database(snapshot.fetch(_IN_YEARS, chassis=chassis, first=first, last=last))


def giving(snapshot: Snapshot, chassis: str, offered: Collection[Offer]) -> list[Fit]:
    """The fits of a chassis that give one of these, by id."""
    if not offered:
        return []
    spring, travel_mm = _PAIR
    rows = snapshot.fetch(_OF_CHASSIS, chassis=chassis)
    return Fit.all_from_database([row for row in rows if (row[spring], row[travel_mm]) in offered])
