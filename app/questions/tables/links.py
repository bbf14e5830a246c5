"""One row of a table with its links: rows it refers to, rows that refer to it, and the questions about it."""

from collections.abc import Collection, Iterator
from functools import cache
from typing import Any, Literal, NamedTuple, NotRequired

from pydantic import TypeAdapter
from sqlalchemy import bindparam, func, literal, select
from typing_extensions import TypedDict

from app.catalogue.history import Version, version
from app.catalogue.present import missing
from app.catalogue.rows import Snapshot
from app.catalogue.stored import SQL, Query
from app.catalogue.tables import TABLES, Chassis, Damper, Fit, Row, Statement, Variant, is_row_of
from app.json_types import JsonObject
from app.questions.answers.cautions import cautions
from app.questions.answers.views import Caution, Named, length, named
from app.questions.tables.listing import sources_of
from app.questions.tables.row_views import list_of, row_shape, shape
from app.units.preferences import System, choose
from app.units.quantity import Quantity


class Reference(TypedDict):
    """A row that this one refers to, and the column that does."""

    column: str
    table: str
    id: str
    href: str


class Referrers(TypedDict):
    """A list of the rows that refer to this one, and the column that does."""

    table: str
    column: str
    href: str


class QuestionLink(TypedDict):
    """A question that can be asked about this row."""

    name: str
    href: str


class Links(TypedDict):
    """The links of this row."""

    self: str
    history: NotRequired[str]
    questions: list[QuestionLink]
    refers_to: list[Reference]
    referred_by: list[Referrers]


@cache
def entry_shape(table: type[Row]) -> Any:
    """The answer about one row of a table."""
    fields: JsonObject = {
        "revision": int,
        "table": Literal[table.table],
        "revision_from": int,
        "row": row_shape(table),
        "links": Links,
        "cautions": list[Caution],
    }
    if table is Chassis:
        variants = list_of(row_shape(Variant))
        fields |= {"variants": variants, "travels": list[Quantity], "dampers": list[Named]}
    doc = f"One row of {table.table}, the revision since which it is valid, and its links."
    return shape(f"{table.__name__}Entry", doc, fields)


@cache
def entry_adapter(table: type[Row]) -> TypeAdapter[Any]:
    """Writes the answer about one row."""
    return TypeAdapter(entry_shape(table))


def entry(
    snapshot: Snapshot, table: type[Row], id: str, questions: Collection[str] = (), units: System = "published"
) -> JsonObject:
    """The row of that id; `questions` are the names of those that can be asked about such a row.

    Raises NotFound with similar ids, Gone with its last versions.
    """
    found = version(snapshot, table, id)
    if found is None:
        raise missing(snapshot, table, id)
    return shown(snapshot, found, questions, units)


def shown(
    snapshot: Snapshot, found: Version, questions: Collection[str] = (), units: System = "published"
) -> JsonObject:
    """The answer about a loaded row."""
    row = found.row
    answer: JsonObject = {
        "revision": snapshot.revision,
        "table": row.table,
        "revision_from": found.revision_from,
        "row": row.exchanged(),
        "links": _links(snapshot, row, questions),
    }
    if is_row_of(row, Chassis):
        answer |= _about_chassis(snapshot, row, units)
    answer["cautions"] = cautions(sources=sources_of(snapshot, [row]))
    return answer


def _about_chassis(snapshot: Snapshot, chassis: Chassis, units: System) -> dict[str, object]:
    to = choose(units)
    travels = sorted({fit.travel_mm for fit in snapshot.where(Fit, "chassis", chassis.id)})
    dampers = snapshot.many(Damper, chassis.dampers or ())
    return {
        "variants": [variant.exchanged() for variant in snapshot.where(Variant, "chassis", chassis.id)],
        "travels": [length(travel, to) for travel in travels],
        "dampers": [named(dampers[id]) if id in dampers else {"id": id, "name": id} for id in chassis.dampers or ()],
    }


def href(table: type[Row], id: str) -> str:
    """The address of a row."""
    return f"/v1/{table.table}/{id}"


def _links(snapshot: Snapshot, row: Row, questions: Collection[str]) -> Links:
    here = href(row.model, row.id)
    links: Links = {
        "self": here,
        "questions": [{"name": name, "href": f"{here}/{name}"} for name in questions],
        "refers_to": list(_references(row)),
        "referred_by": list(_referrers(snapshot, row)),
    }
    if is_row_of(row, Statement):
        links["history"] = f"/v1/statements/{row.id}/history"
    return links


def _references(row: Row) -> Iterator[Reference]:
    for name, column in row.model.columns().items():
        value = getattr(row, name)
        target = row.table if name == "exception_to" else column.refers_to
        if target is not None and value is not None:
            for id in value if isinstance(value, tuple) else (value,):
                yield {"column": name, "table": target, "id": id, "href": f"/v1/{target}/{id}"}


def _referrers(snapshot: Snapshot, row: Row) -> Iterator[Referrers]:
    naming = _naming(row.table)
    if naming:
        if any(each.in_list and each.table.role == "statement" for each in naming):
            snapshot.require_thread()  # no index finds an id inside a list
        values = {"n": snapshot.revision, "id": row.id, "held": f";{row.id};"}
        answers = snapshot.connection.execute(_is_named(row.table), values).one()
        for (table, column, _), there in zip(naming, answers, strict=True):
            if there is not None:
                yield {"table": table.table, "column": column, "href": f"/v1/{table.table}?{column}={row.id}"}


class _Naming(NamedTuple):
    table: type[Row]
    column: str
    in_list: bool


@cache
def _naming(target: str) -> list[_Naming]:
    """The columns that may refer to a row of a table."""
    found = []
    for table in TABLES.values():
        for name, column in table.columns().items():
            if column.refers_to == target or (name == "exception_to" and table.table == target):
                found.append(_Naming(table, name, column.kind.items is not None))
    return found


@cache
def _is_named(target: str) -> Query:
    """For each column that may refer to `:id`: 1 if a row at `:n` does so, else nothing."""
    answers = []
    for table, column, in_list in _naming(target):
        stored = SQL[table]
        inside = ";" + stored.c[column] + ";"
        names = (
            func.replace(inside, bindparam("held"), "") != inside if in_list else stored.c[column] == bindparam("id")
        )
        answers.append(
            select(literal(1))
            .select_from(stored)
            .where(names, stored.c.revision_from <= bindparam("n"), stored.c.revision_to > bindparam("n"))
            .limit(1)
            .scalar_subquery()
        )
    return select(*answers)
