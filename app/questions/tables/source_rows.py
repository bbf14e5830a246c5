"""The question `rows` of a source: what cites it, in page order, and what still cites an older edition of it."""

import re
from dataclasses import dataclass
from typing import Annotated, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.catalogue import Pin
from app.catalogue.present import present
from app.catalogue.rows import Snapshot
from app.catalogue.tables import TABLES, Row, Source
from app.json_types import JsonObject
from app.questions.answers.cautions import cautions
from app.questions.answers.cursors import Cursor, NextCursor
from app.questions.answers.views import Caution, SourceRef, source_view
from app.questions.configuration.cited_sources import is_older_edition, newer_than
from app.questions.tables.listing import Paged

CitingRow = Annotated[JsonObject, Field(description="The row as exchanged.")]
_NAME = "source-rows"


class CitingEntry(TypedDict):
    """A row that cites the source or, if `read_again`, an edition that is no longer the newest."""

    table: str
    id: str
    href: str
    source: str
    page: NotRequired[str]
    read_again: bool
    row: CitingRow


class SourceRowsAnswer(TypedDict):
    """A page of the rows, in the order of the pages they are from; `next` is absent on the last page."""

    revision: int
    source: SourceRef
    total: int
    to_read_again: int
    rows: list[CitingEntry]
    next: NotRequired[str]
    next_cursor: NotRequired[NextCursor]
    cautions: list[Caution]


SOURCE_ROWS = TypeAdapter(SourceRowsAnswer)


@dataclass(frozen=True, slots=True)
class SourceRows:
    """The requested rows of a source; `cursor` is the parsed cursor, if given."""

    source: str
    asked: Paged
    cursor: Cursor | None

    @property
    def pin(self) -> Pin:
        """The revision of the list."""
        return self.asked.pin_of(self.cursor)

    def answer(self, snapshot: Snapshot) -> SourceRowsAnswer:
        """The page at one revision. Raises NotFound, Gone."""
        snapshot.require_thread()
        source = present(snapshot, Source, self.source)
        editions = [] if source.series is None else snapshot.where(Source, "series", source.series)
        older = [each for each in editions if is_older_edition(each, source)]
        newer = newer_than(snapshot, [source])[source.id]
        rows = [
            _shown(row, newer.edition is not None or row["source"] != source.id)
            for each in (source, *sorted(older, key=lambda each: (each.published_on or "", each.id), reverse=True))
            for row in _citing(snapshot, each.id)
        ]
        at = 0 if self.cursor is None else int(self.cursor.place[0])
        end = at + self.asked.limit
        found: SourceRowsAnswer = {
            "revision": snapshot.revision,
            "source": source_view(source, None, newer),
            "total": len(rows),
            "to_read_again": sum(each["read_again"] for each in rows),
            "rows": rows[at:end],
            "cautions": cautions(sources=[source]),
        }
        if end < len(rows):
            found["next"] = self.asked.write_cursor(
                self._name, Cursor(snapshot.revision, len(rows), (end,), snapshot.head.lineage)
            )
        return found

    @property
    def _name(self) -> str:
        return f"{_NAME} {self.source}"


def source_rows(source: str, asked: Paged) -> SourceRows:
    """The requested rows. Raises Malformed for a cursor of another list."""
    return SourceRows(source, asked, asked.read_cursor(f"{_NAME} {source}", (int,)))


def _citing(snapshot: Snapshot, source: str) -> list[Row]:
    """The rows that cite a source, in the order of its pages; those without a page come last."""
    rows = [
        row
        for table in TABLES.values()
        if "source" in table.columns()
        for row in snapshot.where(table, "source", source)
    ]
    return sorted(rows, key=lambda row: (row["page"] is None, page_order(row["page"] or "")))


def page_order(page: str) -> list[tuple[bool, int, str]]:
    """Sort key of a page as printed: 9 comes before 14, and 14 before 14a."""
    return [(not part.isdecimal(), int(part) if part.isdecimal() else 0, part) for part in re.findall(r"\d+|\D+", page)]


def _shown(row: Row, read_again: bool) -> CitingEntry:
    shown: CitingEntry = {
        "table": row.table,
        "id": row.id,
        "href": f"/v1/{row.table}/{row.id}",
        "source": row["source"],
        "read_again": read_again,
        "row": row.exchanged(),
    }
    if row["page"] is not None:
        shown["page"] = row["page"]
    return shown
