"""The list of a table: filtered by its columns, searched with `q`, in pages that together form the whole list.

A list is ordered by id, or by similarity if `q` is given. A cursor contains the revision its first page was read at.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal, NotRequired

from pydantic import BaseModel, Field, TypeAdapter

from app.catalogue import lists
from app.catalogue.catalogue import Pin
from app.catalogue.rows import Snapshot
from app.catalogue.search import SEARCHED, Hit, found
from app.catalogue.tables import Row, Source, is_row_of
from app.errors import Invalid
from app.json_types import JsonObject
from app.questions.answers import cursors
from app.questions.answers.cautions import cautions
from app.questions.answers.cursors import Cursor, NextCursor
from app.questions.answers.parameters import Pinned
from app.questions.answers.views import Caution
from app.questions.tables.row_views import filters, list_of, row_shape, shape

PAGE = 100
PAGE_MOST = 1000
Q_MOST = 200


class Paged(Pinned):
    """The parameters all lists share."""

    limit: int = Field(
        default=PAGE,
        ge=1,
        le=PAGE_MOST,
        description=(f"Rows per page, at most {PAGE_MOST:,}; `total` counts all rows."),
    )
    cursor: str | None = Field(
        default=None,
        max_length=cursors.LONGEST,
        description="Cursor from `next` of the previous page; it keeps the revision of the first page.",
    )

    def question(self) -> JsonObject:
        """Everything that identifies the list, except page size and format."""
        outside = {"limit", "cursor", "format", "min_revision", "units"}
        return {name: value for name, value in self if value is not None and name not in outside}

    def read_cursor(self, name: str, place: tuple[type, ...]) -> Cursor | None:
        """The given cursor of the list `name`, if there is one. Raises Malformed."""
        return None if self.cursor is None else cursors.read(self.cursor, {**self.question(), "": name}, place)

    def write_cursor(self, name: str, cursor: Cursor) -> str:
        """The cursor that continues the list `name`."""
        return cursors.written(cursor, {**self.question(), "": name})

    def pin_of(self, cursor: Cursor | None) -> Pin:
        """The revision to read at: the cursor's if there is one, in the history in which it began."""
        if cursor is None:
            return self.pin()
        return Pin(cursor.revision, min_revision=self.min_revision, lineage=cursor.lineage)


class Searched(Paged):
    """The parameters of the list of a table with names."""

    q: str | None = Field(
        default=None,
        max_length=Q_MOST,
        description="Search in names and part numbers, best match first; typing slips are tolerated.",
    )


@cache
def list_asked(table: type[Row]) -> type[Paged]:
    """The parameters of one table's list."""
    base: type[BaseModel] = Searched if table.table in SEARCHED else Paged
    return filters(table, base)  # type: ignore[return-value]


@cache
def list_shape(table: type[Row]) -> Any:
    """The answer of one table's list."""
    fields = {
        "revision": int,
        "table": Literal[table.table],
        "total": int,
        "rows": list_of(row_shape(table)),
        "next": NotRequired[str],
        "next_cursor": NotRequired[NextCursor],
        "cautions": list[Caution],
    }
    return shape(f"{table.__name__}List", f"A page of {table.table}; `next` is absent on the last page.", fields)


@cache
def list_adapter(table: type[Row]) -> TypeAdapter[Any]:
    """Writes the answer of one table's list."""
    return TypeAdapter(list_shape(table))


@dataclass(frozen=True, slots=True)
class Listing:
    """A requested list; `cursor` is the parsed cursor, if given."""

    table: type[Row]
    asked: Paged
    cursor: Cursor | None

    @property
    def pin(self) -> Pin:
        """The revision of the list."""
        return self.asked.pin_of(self.cursor)

    def answer(self, snapshot: Snapshot) -> JsonObject:
        """The page, with the next page's cursor under `next`. Raises Invalid for a blank `q`."""
        given = self.asked.question()
        conditions = {name: value for name, value in given.items() if name in self.table.columns()}
        found = (
            self._searched(snapshot, given["q"], conditions) if "q" in given else self._in_order(snapshot, conditions)
        )
        rows, total, place = found
        answer: JsonObject = {
            "revision": snapshot.revision,
            "table": self.table.table,
            "total": total,
            "rows": [row.exchanged() for row in rows],
        }
        if place is not None:
            answer["next"] = self.asked.write_cursor(
                self.table.table, Cursor(snapshot.revision, total, place, snapshot.head.lineage)
            )
        answer["cautions"] = cautions(sources=sources_of(snapshot, rows))
        return answer

    def _in_order(self, snapshot: Snapshot, conditions: Mapping[str, Any]) -> "_Page":
        after = None if self.cursor is None else str(self.cursor.place[0])
        limit = self.asked.limit
        rows = lists.page(snapshot, self.table, conditions, after, limit + 1)
        more = len(rows) > limit
        if self.cursor is not None:
            total = self.cursor.total
        else:
            total = lists.count(snapshot, self.table, conditions) if more else len(rows)
        return rows[:limit], total, (rows[limit - 1].id,) if more else None

    def _searched(self, snapshot: Snapshot, q: str, conditions: Mapping[str, Any]) -> "_Page":
        if not q.strip():
            raise Invalid.one("empty", "`q` has no value; leave it out to list everything.", parameter="q")
        hits = found(snapshot, self.table, q)
        if conditions:
            meeting = lists.meeting(snapshot, self.table, conditions, [hit.id for hit in hits])
            hits = [hit for hit in hits if hit.id in meeting]
        shown = hits if self.cursor is None else _after(hits, str(self.cursor.place[0]))
        page, rest = shown[: self.asked.limit], shown[self.asked.limit :]
        rows = snapshot.many(self.table, [hit.id for hit in page])
        return [rows[hit.id] for hit in page], len(hits), (page[-1].id,) if rest else None


_Page = tuple[Sequence[Row], int, tuple[str, ...] | None]


def listing(table: type[Row], asked: Paged) -> Listing:
    """The requested list. Raises Malformed for a cursor of another list."""
    return Listing(table, asked, asked.read_cursor(table.table, (str,)))


def _after(hits: list[Hit], id: str) -> list[Hit]:
    return hits[next((place for place, hit in enumerate(hits) if hit.id == id), len(hits)) + 1 :]


def sources_of(snapshot: Snapshot, rows: Sequence[Row]) -> list[Source]:
    """The sources of some rows; a source is its own."""
    named = {source for row in rows if (source := getattr(row, "source", None)) is not None}
    own = [row for row in rows if is_row_of(row, Source)]
    return [*own, *snapshot.many(Source, named).values()] if named else own
