"""The differences of two revisions of the catalogue, cell by cell."""

from collections.abc import Sequence
from typing import Literal, NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue import history
from app.catalogue.history import Place, valid_at
from app.catalogue.rows import Snapshot
from app.catalogue.tables import TABLES, Row
from app.errors import Fault, Invalid
from app.questions.answers.cautions import cautions
from app.questions.answers.cursors import Cursor, NextCursor
from app.questions.answers.parameters import RevisionNumber
from app.questions.answers.views import Caution
from app.questions.tables.listing import Paged, sources_of

MOST_COMPARED = 20_000
FIRST_ROWS = 100
"""Rows that a revision lists itself; the comparison has all of them."""


class ComparedCell(TypedDict):
    """A cell in both revisions, as text: `was` is absent if it was empty, `now` if it is."""

    column: str
    was: NotRequired[str]
    now: NotRequired[str]


class ComparedRow(TypedDict):
    """A row that differs, with the cells in which it does."""

    table: str
    id: str
    effect: Literal["add", "change", "withdraw"]
    cells: list[ComparedCell]


class CompareAnswer(TypedDict):
    """The rows that differ between two revisions, by table and id; `next` is absent on the last page."""

    revision: int
    from_revision: int
    to_revision: int
    total: int
    rows: list[ComparedRow]
    next: NotRequired[str]
    next_cursor: NotRequired[NextCursor]
    cautions: list[Caution]


COMPARED = TypeAdapter(CompareAnswer)


class CompareAsked(Paged):
    """The parameters of a comparison."""

    from_: RevisionNumber = Field(alias="from", description="The revision to compare with.")
    to: RevisionNumber | None = Field(None, description="The other revision; by default the latest.")


def comparison(snapshot: Snapshot, asked: CompareAsked, cursor: Cursor | None) -> CompareAnswer:
    """A page of the rows that differ. Raises Invalid for a revision that does not exist, or too many changes."""
    snapshot.require_thread()
    start, end = asked.from_, snapshot.revision if asked.to is None else asked.to
    for name, number in (("from", start), ("to", end)):
        if number > snapshot.revision:
            text = f"There is no revision {number}; the latest is {snapshot.revision}."
            raise Invalid(text, [Fault("revision-unknown", text, parameter=name)])
    differing = compared_rows(snapshot, start, end)
    after = ("", "") if cursor is None else (str(cursor.place[0]), str(cursor.place[1]))
    left = [each for each in differing if (each["table"], each["id"]) > after]
    shown_here = left[: asked.limit]
    answer = CompareAnswer(
        revision=snapshot.revision, from_revision=start, to_revision=end, total=len(differing), rows=shown_here,
        cautions=cautions(sources=sources_of(snapshot, _current(snapshot, shown_here))),
    )  # fmt: skip
    if len(left) > asked.limit:
        place = (shown_here[-1]["table"], shown_here[-1]["id"])
        answer["next"] = asked.write_cursor(
            "compare", Cursor(snapshot.revision, len(differing), place, snapshot.head.lineage)
        )
    return answer


def compared_rows(snapshot: Snapshot, start: int, end: int, most: int | None = None) -> list[ComparedRow]:
    """The rows that differ, ordered by table and id; with `most` only the first changed ones are looked at."""
    low, high = sorted((start, end))
    later = history.changes(snapshot, Place(low + 1), most or MOST_COMPARED + 1)
    found = [each for each in later if each.revision <= high]
    if most is None and len(found) > MOST_COMPARED:
        text = f"More than {MOST_COMPARED:,} rows changed between these revisions. Compare a smaller span."
        raise Invalid.one("too-many-rows", text, parameter="from")
    touched = sorted({(each.table, each.id) for each in found})
    return [row for table, id in touched if (row := _compared(snapshot, TABLES[table], id, start, end)) is not None]


def _compared(snapshot: Snapshot, table: type[Row], id: str, start: int, end: int) -> ComparedRow | None:
    found = history.versions(snapshot, table, id)
    before, after = (_filled_cells(valid_at(found, number)) for number in (start, end))
    names = [name for name in table.columns() if name != "id" and before.get(name) != after.get(name)]
    if not names:
        return None
    cells: list[ComparedCell] = []
    for name in names:
        cell = ComparedCell(column=name)
        if name in before:
            cell["was"] = before[name]
        if name in after:
            cell["now"] = after[name]
        cells.append(cell)
    effect: Literal["add", "change", "withdraw"] = "add" if not before else "change" if after else "withdraw"
    return ComparedRow(table=table.table, id=id, effect=effect, cells=cells)


def _filled_cells(row: Row | None) -> dict[str, str]:
    """The cells of a row that are not empty; none if there is no row."""
    return {} if row is None else {name: text for name, text in row.cells().items() if text}


def _current(snapshot: Snapshot, compared: Sequence[ComparedRow]) -> list[Row]:
    """The compared rows that are in the catalogue."""
    ids: dict[str, list[str]] = {}
    for each in compared:
        ids.setdefault(each["table"], []).append(each["id"])
    return [row for table, own in ids.items() for row in snapshot.many(TABLES[table], own).values()]
