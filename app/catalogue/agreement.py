"""Whether two statements can contradict each other, and whether they do. Pure.

A missing value agrees with everything, and so does a figure with an unknown unit (another rule refuses it). A figure
rounded to its last digit stands for an open interval, so 7.3 and 7.4 differ; stated limits are closed. The two ends of
a limit are separate figures: 203 mm and 180 mm are not a range.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache
from operator import attrgetter
from typing import Any, NamedTuple

from app.catalogue.columns import NUMBER_KIND, PUBLISHED_KIND, Column, write_number
from app.catalogue.tables import CLAIM, SCOPE, Limit, Part, Statement
from app.units.convert import half_last_digit, linear
from app.units.table import Unit, find

Subject = tuple[Any, ...]
_SubjectPart = Callable[[Statement, Mapping[str, Part]], Any]
_END = re.compile(r"(?:^|_)(min|max)(?=_|$)")


def subject(statement: Statement, parts: Mapping[str, Part]) -> Subject:
    """Equal for two statements of one table that can contradict each other; made from the columns of its `about`.

    A missing column counts as its described default (no travel spacers means 0, no stage means the first). A figure is
    compared in the base unit of its kind. A reference that is compared by a column of its target (a use is about the
    kind of its part) needs the target in `parts`; a missing target is compared by id.
    """
    plain, others = _subject_plan(statement.model)
    return plain(statement), *[part_of(statement, parts) for part_of in others]


@cache
def _subject_plan(table: type[Statement]) -> tuple[Callable[[Statement], object], tuple[_SubjectPart, ...]]:
    """The `about` columns that are compared as they are, and the value that each other one adds to the subject.

    The unit column of a figure adds nothing.
    """
    columns = table.columns()
    about = [columns[name] for name in table.about]
    units = {described.unit_column for described in about}
    compared = [described for described in about if described.name not in units]
    plain = [each.name for each in compared if (each.compared_by, each.unit_column, each.absent) == (None, None, None)]
    return attrgetter(*plain), tuple(_subject_part(each) for each in compared if each.name not in plain)


def _subject_part(described: Column) -> _SubjectPart:
    value_of, absent = attrgetter(described.name), described.absent
    if described.compared_by is not None:
        compared = attrgetter(described.compared_by)

        def of_the_thing_named(statement: Statement, parts: Mapping[str, Part]) -> object:
            named = parts.get(value_of(statement))
            return value_of(statement) if named is None else compared(named)

        return of_the_thing_named
    if described.unit_column is not None:
        unit_of_it, kind = attrgetter(described.unit_column), described.measures
        return lambda statement, parts: base_value(value_of(statement), unit_of_it(statement), kind)
    return lambda statement, parts: value_of(statement) or absent


@lru_cache(maxsize=8192)
def base_value(figure: Decimal | None, spelling: str | None, kind: str | None) -> float | None:
    """A figure in the base unit of its kind (a mass in kilograms), unchanged if the unit is unknown.

    The float is the one nearest to the exact value, so equality is exact to 17 digits, and equal figures in two units
    give the same float.
    """
    if figure is None:
        return None
    unit = None if spelling is None else unit_of(kind, spelling)
    return float(figure) if unit is None else float(Fraction(figure) * unit.factor)


def kilograms(mass: Decimal | None, spelling: str | None) -> float | None:
    """A mass in kilograms, unchanged if its unit is unknown."""
    return base_value(mass, spelling, "mass")


@lru_cache(maxsize=8192)
def pascals(pressure: Decimal | None, spelling: str | None) -> Fraction | None:
    """A gauge pressure in pascals, exact; None if it is missing or its unit is missing or unknown."""
    if pressure is None or spelling is None or (unit := unit_of("pressure", spelling)) is None:
        return None
    return Fraction(pressure) * unit.factor


def agree(a: Statement, b: Statement) -> bool:
    """True if no value of two statements about one subject differs by more than rounding."""
    return not differences(a, b)


def differences(a: Statement, b: Statement) -> list[str]:
    """The value columns in which two statements of one table and subject disagree, in exchange order. Symmetric."""
    texts, figures = _plan(a.model)
    found = []
    for name in texts:
        here, there = getattr(a, name), getattr(b, name)
        if here != there and here is not None and there is not None:
            found.append(name)
    for figure in figures:
        first, second = (_read(statement, figure) for statement in (a, b))
        if first != second and not _meet(first, second, figure.kind):
            found.append(next(name for name in (figure.value, figure.low, figure.high) if name is not None))
    return found


def same_figure(kind: str, one: tuple[Decimal | None, str | None], other: tuple[Decimal | None, str | None]) -> bool:
    """True when two figures with their units agree within the last digit that each of them is printed with.

    150 psi are 10.34 bar, so 150 psi and 10.3 bar are one figure. A figure that is not given agrees with any.
    """
    (here, here_unit), (there, there_unit) = one, other
    return _meet(_Read(here, None, None, here_unit), _Read(there, None, None, there_unit), kind)


@lru_cache(maxsize=4096)
def unit_of(kind: str | None, spelling: str) -> Unit | None:
    """The unit of that kind with this spelling, or None. For kind `any` or None, the first unit with the spelling."""
    for unit in find(spelling):
        if kind in (unit.kind, "any", None):
            return unit
    return None


@dataclass(frozen=True, slots=True)
class _Figure:
    """The columns of one figure: its value and limits, the column of its unit, and the `kind` of quantity."""

    value: str | None
    low: str | None
    high: str | None
    unit: str | None
    kind: str | None


class _Read(NamedTuple):
    value: Decimal | None
    low: Decimal | None
    high: Decimal | None
    unit: str | None


def value_columns(table: type[Statement]) -> list[str]:
    """The columns other than scope, claim and subject.

    The part of a use belongs to them, the kind of the part does not.
    """
    columns = table.columns()
    about = {name for name in table.about if columns[name].compared_by is None}
    return [name for name in columns if name not in {"id", *SCOPE, *CLAIM, *about}]


@cache
def _plan(table: type[Statement]) -> tuple[tuple[str, ...], tuple[_Figure, ...]]:
    """The columns compared as they are, and the figures."""
    texts: list[str] = []
    grouped: dict[str, dict[str, str]] = {}
    columns = table.columns()
    for name in value_columns(table):
        described = columns[name]
        if described.measures and described.unit_column is None:
            continue  # the unit of a figure, compared with the figure
        end = _END.search(name)
        stem = name if end is None or table is Limit else (_END.sub("", name).lstrip("_") or "value")
        if described.kind not in (PUBLISHED_KIND, NUMBER_KIND) and f"{stem}_min" not in columns:
            texts.append(name)
            continue
        grouped.setdefault(stem, {})["value" if end is None or table is Limit else end[1]] = name
    figures = []
    for group in grouped.values():
        described = columns[next(iter(group.values()))]
        ends = group.get("value"), group.get("min"), group.get("max")
        figures.append(_Figure(*ends, described.unit_column, described.measures))
    return tuple(texts), tuple(figures)


def _read(statement: Statement, figure: _Figure) -> _Read:
    value, low, high = (
        None if name is None else _exact(getattr(statement, name)) for name in (figure.value, figure.low, figure.high)
    )
    return _Read(value, low, high, None if figure.unit is None else getattr(statement, figure.unit))


def _exact(value: Decimal | float | None) -> Decimal | None:
    """A figure, a number or a count as a decimal."""
    return value if value is None or isinstance(value, Decimal) else Decimal(write_number(value))


def _meet(a: _Read, b: _Read, kind: str | None) -> bool:
    """True if the intervals of two figures intersect when compared in one unit."""
    if a[:3] == (None, None, None) or b[:3] == (None, None, None):
        return True
    here, there = _ends(a, b), _ends(b, a)
    if a.unit != b.unit:
        if a.unit is None or b.unit is None:
            return True
        factor = _common(kind, a.unit, b.unit)
        if factor is None:
            return unit_of(kind, a.unit) is None or unit_of(kind, b.unit) is None
        here = tuple((None if end is None else Fraction(end) * factor, closed) for end, closed in here)
        there = tuple((None if end is None else Fraction(end), closed) for end, closed in there)
    return _intersect(here, there)


@lru_cache(maxsize=4096)
def _common(kind: str | None, start: str, target: str) -> Fraction | None:
    """The factor between two unit spellings of one kind, which must have no offset; None if there is none."""
    for here in find(start):
        for there in find(target):
            if here.kind == there.kind and kind in (here.kind, "any", None):
                return linear(here, there)[0]
    return None


_Ends = tuple[tuple[Decimal | Fraction | None, bool], ...]


def _ends(read: _Read, other: _Read) -> _Ends:
    """Lower and upper end, each with whether it is included.

    A lone limit compared with the same lone limit is a figure.
    """
    value, low, high, _ = read
    if value is None and (low is None) != (high is None):
        same = other.value is None and (other.low is None) == (low is None) and (other.high is None) == (high is None)
        if same:
            value, low, high = (high if low is None else low), None, None
    half = Decimal(0) if value is None else half_last_digit(value)
    lower: tuple[Decimal | None, bool] = (
        (low, True) if low is not None else (None if value is None else value - half, False)
    )
    upper: tuple[Decimal | None, bool] = (
        (high, True) if high is not None else (None if value is None else value + half, False)
    )
    return lower, upper


def _intersect(a: _Ends, b: _Ends) -> bool:
    lows = [end for end in (a[0], b[0]) if end[0] is not None]
    highs = [end for end in (a[1], b[1]) if end[0] is not None]
    for low, low_closed in lows:
        for high, high_closed in highs:
            if low > high or (low == high and not (low_closed and high_closed)):  # type: ignore[operator]
                return False
    return True
