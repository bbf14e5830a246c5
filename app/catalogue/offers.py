"""The travels a chassis can be built to, without reading its fits: it has dozens, one for each year and source.

A lookup then reads only the few fits that may apply in its years, and those shown as near misses.
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
_ANY_YEAR = (-(2**31) + 1, 2**31 - 1)  # whole numbers that both engines can store


class Offer(NamedTuple):
    """A build that a chassis offers: a spring and a travel in mm."""

    spring: str
    travel_mm: float


def offers(snapshot: Snapshot, chassis: Chassis) -> dict[str, list[Offer]]:
    """The offers of every chassis in this one's family, by id. This chassis is always listed, even with no offers."""
    offered: dict[str, list[Offer]] = {chassis.id: []}
    for id, spring, travel_mm in snapshot.fetch(_OFFERS, maker=chassis.maker, name=chassis.name):
        offered.setdefault(id, []).append(Offer(spring, travel_mm))
    return offered


def in_years(snapshot: Snapshot, chassis: str, years: tuple[float, float]) -> list[Fit]:
    """The fits of a chassis whose own years overlap these, by id.

    Years limited by chassis or variant are not considered.
    """
    first, last = (int(year) if abs(year) < inf else widest for year, widest in zip(years, _ANY_YEAR, strict=True))
    return Fit.all_from_database(snapshot.fetch(_IN_YEARS, chassis=chassis, first=first, last=last))


def giving(snapshot: Snapshot, chassis: str, offered: Collection[Offer]) -> list[Fit]:
    """The fits of a chassis that give one of these offers, by id."""
    if not offered:
        return []
    spring, travel_mm = _PAIR
    rows = snapshot.fetch(_OF_CHASSIS, chassis=chassis)
    return Fit.all_from_database([row for row in rows if (row[spring], row[travel_mm]) in offered])
