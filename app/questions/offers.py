"""What the fits of a chassis offer, without reading them whole: a chassis has dozens, one for each year and source.

A question reads the few that may hold in its years, and of the rest those that are shown as near.
"""

from math import inf
from typing import NamedTuple

from sqlalchemy import bindparam, or_

from app.catalogue.at import holding
from app.catalogue.rows import At
from app.catalogue.stored import SQL
from app.catalogue.tables import Fit

_STORED = SQL[Fit]
_ALL = holding(Fit).where(_STORED.c.chassis == bindparam("chassis")).order_by(_STORED.c.id)
_OFFERS = _ALL.with_only_columns(_STORED.c.id, _STORED.c.spring, _STORED.c.travel_mm)
_IN_YEARS = _ALL.where(
    or_(_STORED.c.model_year_from.is_(None), _STORED.c.model_year_from <= bindparam("last")),
    or_(_STORED.c.model_year_to.is_(None), _STORED.c.model_year_to >= bindparam("first")),
)
_ANY_YEAR = (-(2**31) + 1, 2**31 - 1)  # whole numbers that both engines hold


class Offer(NamedTuple):
    """A fit by what it gives: a spring and a travel in mm."""

    id: str
    spring: str
    travel_mm: float


def offers(at: At, chassis: str) -> list[Offer]:
    """Every fit of a chassis, by id."""
    return [Offer(*row) for row in at.fetch(_OFFERS, chassis=chassis)]


def in_years(at: At, chassis: str, years: tuple[float, float]) -> list[Fit]:
    """The fits of a chassis whose own years meet these, by id; what chassis or variant narrows is not looked at."""
    first, last = (int(year) if abs(year) < inf else widest for year, widest in zip(years, _ANY_YEAR, strict=True))
    return Fit.all_trusted(at.fetch(_IN_YEARS, chassis=chassis, first=first, last=last))
