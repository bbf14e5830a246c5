"""Which statements apply to a question: all that may, except those an exception overrules; agreeing sources are merged.

Pure functions on loaded rows. The brute-force reading in the tests enumerates every configuration instead.
"""

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from math import inf
from typing import Any, Generic, TypeVar

from app.catalogue.agreement import agree
from app.catalogue.scopes import Scope, contains
from app.catalogue.tables import Source, Statement
from app.questions.configuration.region import Region

S = TypeVar("S", bound=Statement)


@dataclass(slots=True)
class Applicable(Generic[S]):
    """A statement that may apply. `surely` if it applies to the whole question; `also_in` lists agreeing sources,
    `narrows` the statements it is an exception to."""

    statement: S
    scope: Scope
    open_in: list[str]
    also_in: list[S] = field(default_factory=list)
    narrows: list[S] = field(default_factory=list)

    @property
    def surely(self) -> bool:
        """Whether it applies whatever is still open."""
        return not self.open_in


def prevailing(
    statements: Iterable[tuple[S, Scope]],
    asked: Region,
    subject: Callable[[S], Hashable],
    sources: Mapping[str, Source],
) -> list[Applicable[S]]:
    """The statements of the answer, in order of the first appearance of their subject; then those that surely
    apply, then the newest.
    """
    groups: dict[Hashable, list[tuple[S, Scope]]] = {}
    for each in statements:
        groups.setdefault(subject(each[0]), []).append(each)
    shown: list[Applicable[S]] = []
    for group in groups.values():
        if len(group) == 1:  # the usual case: nothing to compare with
            ((statement, scope),) = group
            shown.append(Applicable(statement, scope, asked.open_in(scope)))
        else:
            shown += _of_one_subject(group, asked, sources)
    return shown


def _of_one_subject(
    group: Sequence[tuple[S, Scope]], asked: Region, sources: Mapping[str, Source]
) -> list[Applicable[S]]:
    overruled, narrows = _overruled(group, asked)
    overruled |= _replaced(group, sources)
    candidates = [
        Applicable(statement, scope, asked.open_in(scope), narrows=narrows.get(statement.id, []))
        for statement, scope in group
        if statement.id not in overruled
    ]
    candidates.sort(key=lambda each: newest_first(each.statement, sources))
    candidates.sort(key=lambda each: not each.surely)
    kept: list[Applicable[S]] = []
    for candidate in candidates:
        same = next((one for one in kept if one.surely and agree(one.statement, candidate.statement)), None)
        if same is None:
            kept.append(candidate)
        else:
            same.also_in.append(candidate.statement)
            same.narrows += [each for each in candidate.narrows if each not in same.narrows]
    return kept


def newest_first(statement: Statement, sources: Mapping[str, Source]) -> tuple[object, ...]:
    """Sort key: by publication date, edition and id of the source, the newest first, then by the statement's id."""
    source = sources.get(statement.source) if statement.source else None
    if source is None:
        return (_descending(""), _descending(""), _descending(""), statement.id)
    return (
        _descending(source.published_on or ""),
        _descending(source.edition or ""),
        _descending(source.id),
        statement.id,
    )


@lru_cache(maxsize=4096)
def _descending(text: str) -> tuple[float, ...]:
    """Sorts texts bytewise in reverse: a longer text comes before its prefix."""
    return (*(-ord(character) for character in text), inf)


def _overruled(group: Sequence[tuple[S, Scope]], asked: Region) -> tuple[set[str], dict[str, list[S]]]:
    """Ids that an exception overrules in every configuration they could apply to, and the statements each
    exception narrows.
    """
    by_id = {statement.id: (statement, scope) for statement, scope in group}
    overruled: set[str] = set()
    narrows: dict[str, list[S]] = {}
    for exception, scope in group:
        named = by_id.get(exception.exception_to) if exception.exception_to else None
        if named is None:
            continue
        for wider, wider_scope in group:
            related = wider.id == named[0].id or (
                wider.id != exception.id and contains(wider_scope, scope) and agree(wider, named[0])
            )
            if not related or agree(wider, exception):
                continue
            narrows.setdefault(exception.id, []).append(wider)
            if not asked.within(wider_scope).open_in(scope):
                overruled.add(wider.id)
    return overruled, narrows


def _replaced(group: Sequence[tuple[S, Scope]], sources: Mapping[str, Source]) -> set[str]:
    """Ids of the statements for which a document that supersedes their source has one of the same scope."""
    named = {
        (old, scope)
        for statement, scope in group
        if (source := sources.get(statement.source or "")) is not None
        for old in source.supersedes or ()
    }
    return {statement.id for statement, scope in group if (statement.source, scope) in named} if named else set()


def undecided(
    shown: Iterable[Applicable[Any]], asked: Region, choices: Mapping[str, Sequence[str | int | float]]
) -> dict[str, list[str | int | float]]:
    """Each parameter that would decide between the alternatives, with its possible values.

    A value of `fitted_part` includes the parts that were given, because the parameter takes several. `choices` are the
    chassis's values of a dimension; for years the whole numbers of the region. For serials these are the ranges that
    statements name, in words.
    """
    deciding: dict[str, set[str | int | float]] = {}
    for each in shown:
        for parameter in each.open_in:
            deciding.setdefault(parameter, set()).update(_named(each.scope, parameter))
    result: dict[str, list[str | int | float]] = {}
    for parameter, named in deciding.items():
        values = list(choices.get(parameter, ()))
        if parameter == "model_year" and not values:
            values = _whole_years(asked, named)
        if parameter == "fitted_part":
            values = [";".join([*(each.part for each in asked.fitted), str(id)]) for id in sorted(named, key=str)]
        result[parameter] = values or sorted(named, key=str)
    return result


def _whole_years(asked: Region, named: set[str | int | float]) -> list[str | int | float]:
    """The years of the region, or if it has no end the years at which statements begin and end."""
    low, high = asked.years
    if low > -inf and high < inf:
        return list(range(int(low), int(high) + 1))
    return sorted(int(year) for year in named if isinstance(year, (int, float)))


def _named(scope: Scope, parameter: str) -> set[str | int | float]:
    if parameter == "model_year":
        return {int(year) for year in (scope.year_from, scope.year_to) if abs(year) < inf}
    if parameter == "travel":
        return {travel for travel in (scope.travel_from, scope.travel_to) if abs(travel) < inf}
    if parameter == "serial":
        return set() if scope.serials is None else {scope.serials.text}
    if parameter == "fitted_part":
        return set() if scope.fitted_part is None else {scope.fitted_part.part}
    value = getattr(scope, parameter)
    return set() if value is None else set(value) if isinstance(value, frozenset) else {value}
