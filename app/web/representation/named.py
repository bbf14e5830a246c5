"""Adds names to the ids and wheel sizes of an answer, for pages. A value with a name is otherwise unchanged.

The names are looked up before the page is rendered, in the thread in which the answer was looked up.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from app.catalogue.catalogue import Catalogue
from app.catalogue.names import NAMED, names
from app.catalogue.snapshot import Snapshot
from app.units.measure import wheel_called
from app.web.representation.answer import Answer
from app.web.representation.words import TABLE_OF, NamedId, WheelSize, is_slug

_TABLE = {member: table for member, table in TABLE_OF.items() if table in NAMED}
_WHEELS = frozenset(("wheel_size", "wheel_sizes"))

Names = Mapping[tuple[str, str], str]


async def named(answer: Any, catalogue: Catalogue) -> Any:
    """A copy of an answer in which ids have the names that the catalogue lists at the revision of the answer.

    Raises Unavailable if the catalogue cannot be read.
    """
    ids: dict[str, set[str]] = {}
    for table, id in _ids(answer):
        ids.setdefault(table, set()).add(id)
    if not ids:
        return _with_names(answer, {})
    return _with_names(answer, await catalogue.ask(lambda snapshot: names(as_answered(snapshot, answer), ids)))


def as_answered(snapshot: Snapshot, answer: Answer) -> Snapshot:
    """The catalogue at the revision of an answer, or as far as a replica has come that lags behind it."""
    revision = answer.get("revision")
    return (
        Snapshot(snapshot.connection, revision)
        if isinstance(revision, int) and revision < snapshot.revision
        else snapshot
    )


def _ids(value: Any) -> Iterator[tuple[str, str]]:
    if isinstance(value, list):
        for inner in value:
            if isinstance(inner, dict | list):
                yield from _ids(inner)
    elif "ucum" not in value:  # a quantity names nothing
        for member, inner in value.items():
            if isinstance(inner, dict):
                yield from _ids(inner)
            elif isinstance(inner, str | list):
                if table := _TABLE.get(member) or (member == "id" and _table_of_link(value)):
                    several = inner if isinstance(inner, list) else (inner,)
                    yield from ((table, id) for id in several if isinstance(id, str) and is_slug(id))
                if isinstance(inner, list):
                    yield from _ids(inner)


def _table_of_link(link: Answer) -> str | None:
    """The table of the row that a link leads to, if its rows have names."""
    href = link.get("href")
    table = href.split("/")[2] if isinstance(href, str) and href.startswith("/v1/") else None
    return table if table in NAMED else None


def _with_names(value: Any, found: Names) -> Any:
    if isinstance(value, list):
        return [_with_names(inner, found) if isinstance(inner, dict | list) else inner for inner in value]
    if "ucum" in value:
        return value
    return {member: _member(value, member, inner, found) for member, inner in value.items()}


def _member(owner: Answer, member: str, value: object, found: Names) -> object:
    if isinstance(value, dict):
        return _with_names(value, found)
    if isinstance(value, list):
        if member in _TABLE or member in _WHEELS:
            return [_member(owner, member, each, found) for each in value]
        return _with_names(value, found)
    if member in _WHEELS and isinstance(value, int):
        return WheelSize(value, wheel_called(value))
    if isinstance(value, str) and (table := _TABLE.get(member) or (member == "id" and _table_of_link(owner))):
        name = found.get((table, value))
        return value if name is None else NamedId(value, name)
    return value
