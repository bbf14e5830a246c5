"""The rows of a draft, derived each time it is viewed: from its grids and answers, or by undoing a revision.

A stored row that the catalogue has changed since the draft first saw it is merged cell by cell: what only one side
changed is kept, and what both changed is a question.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from app.catalogue.columns import Unreadable
from app.catalogue.ids import id_for
from app.catalogue.rows import Snapshot
from app.catalogue.tables import TABLES, Row
from app.catalogue.tables.row import from_cells
from app.drafts.content import DraftContent, content_digest, given_cells
from app.drafts.derive import derive
from app.drafts.desk import LEAVE_OUT, Desk, Question, Remark
from app.drafts.grid import GridCell, Grids, TableGrid
from app.drafts.meaning import Meaning
from app.drafts.proposals import propose
from app.drafts.rows import DerivedRow, DerivedRows, about_of
from app.drafts.undoing import undone
from app.errors import Fault
from app.exchange.read_edits import Edit, valid_row

RowEffect = Literal["add", "change", "same", "withdraw"]
AGAIN = "enter it again"
_ADDRESS = re.compile(r"([A-Z]+)([0-9]+)")


@dataclass(frozen=True, slots=True)
class DraftRow:
    """One row of a draft: as it will be (None if it is withdrawn), as it is stored, and the cells it came from."""

    table: type[Row]
    id: str
    row: Row | None
    stored: Row | None
    places: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """The row as ticks and findings name it."""
        return f"{self.table.table}/{self.id}"

    @property
    def effect(self) -> RowEffect:
        """The effect of loading the row."""
        if self.row is None:
            return "withdraw"
        if self.stored is None:
            return "add"
        return "same" if self.stored.cells() == self.row.cells() else "change"

    @property
    def digest(self) -> str:
        """The digest of its content."""
        return content_digest(self.row)


@dataclass(frozen=True, slots=True)
class DerivedDraft:
    """Everything that follows from a draft at one revision: rows in page order, open questions, remarks."""

    rows: list[DraftRow]
    questions: list[Question]
    remarks: list[Remark]
    meanings: Mapping[str, Meaning]

    def changing(self) -> list[DraftRow]:
        """The rows that loading would change."""
        return [each for each in self.rows if each.effect != "same"]

    def edits(self, faults: list[Fault]) -> list[Edit]:
        """The edits that load the draft. A row that lacks something is left out, with a fault that names it."""
        made = []
        for each in self.changing():
            row = each.row
            if row is not None:
                given = {name: value for name, value in row.values().items() if value is not None}
                row = valid_row(each.table, given, f"/{each.key}", faults)
            if row is not None or each.row is None:
                made.append(Edit(each.table, each.id, row, frozenset(each.table.columns())))
        return made


def derived(snapshot: Snapshot, grids: Grids, content: DraftContent) -> DerivedDraft:
    """The rows of a draft against the catalogue as it is now."""
    snapshot.require_thread()
    desk = Desk(content["answers"])
    if content["start"]["kind"] == "undo":
        found = undone(snapshot, content["start"].get("revision", 0), desk)
        rows = [DraftRow(each.table, each.id, each.after, each.now) for each in found]
        return DerivedDraft(rows, [*desk.questions.values()], desk.remarks, {})
    read = derive(_corrected(grids, content), snapshot, desk)
    propose(snapshot, content["start"], read)
    _set_columns(read, content)
    kept = [row for each in read.found.values() if (row := _settled(each, content["seen"], desk)) is not None]
    kept = _without_withdrawn(snapshot, kept, content["seen"], desk)
    order = [grid.name for grid in grids.grids]
    kept.sort(key=lambda each: _position(each.places, order))
    return DerivedDraft(kept, [*desk.questions.values()], desk.remarks, read.meanings)


def seen_cells(snapshot: Snapshot, grids: Grids, content: DraftContent) -> dict[str, dict[str, str]]:
    """The cells of each stored row that a draft is about, by row."""
    return {
        each.key: given_cells(each.stored)
        for each in derived(snapshot, grids, content).rows if each.stored is not None
    }  # fmt: skip


def _corrected(grids: Grids, content: DraftContent) -> Grids:
    """The grids with the texts that are to be read instead of what the cells say."""
    instead = {place: columns[""] for place, columns in content["corrections"].items() if "" in columns}
    if not instead:
        return grids
    return Grids([_with_texts(grid, instead) for grid in grids.grids], grids.remarks, grids.hidden)


def _with_texts(grid: TableGrid, instead: Mapping[str, str]) -> TableGrid:
    rows = [
        [
            GridCell(text, "text") if (text := instead.get(grid.place(number, at))) is not None else cell
            for at, cell in enumerate(row)
        ]
        for number, row in enumerate(grid.rows)
    ]
    return TableGrid(grid.name, rows, grid.row_numbers, grid.column_numbers)


def _set_columns(read: DerivedRows, content: DraftContent) -> None:
    """Set the columns that were corrected for the row of a cell, such as the words of the page."""
    for place, columns in content["corrections"].items():
        for each in (found for found in read.found.values() if place in found.places):
            for name, text in columns.items():
                _set_column(each, name, text, place, read.desk)


def _set_column(found: DerivedRow, name: str, text: str, place: str, desk: Desk) -> None:
    """Set one column (`torques.as_printed`) of a row, if the row is of that table."""
    table, _, column = name.partition(".")
    if found.row.table != table or column not in found.row.model.columns():
        return
    try:
        value = found.row.model.columns()[column].kind.read(text)
    except Unreadable as wrong:
        desk.remark(f"“{text}” cannot be read as {column}: {wrong}", place)
    else:
        found.row = found.row.replaced(**{column: value})


def _settled(found: DerivedRow, seen: Mapping[str, Mapping[str, str]], desk: Desk) -> DraftRow | None:
    """A row after the three-way merge by cell; None while a cell that both sides changed is open."""
    row, stored = found.row, found.stored
    first = seen.get(f"{row.table}/{row.id}")
    if stored is not None and first is not None:
        mine, theirs = row.cells(), stored.cells()
        followed: dict[str, object] = {}
        is_open = False
        for name, text in mine.items():
            was = first.get(name, "")
            if theirs[name] in (text, was):
                continue
            takes = text == was or _takes_theirs(row, name, (theirs[name], text), desk, found.places[0])
            if takes:
                followed[name] = stored[name]
            is_open |= takes is None
        if is_open:
            return None
        row = row.replaced(**followed)
    return DraftRow(row.model, row.id, row, stored, tuple(found.places))


def _takes_theirs(row: Row, name: str, either: tuple[str, str], desk: Desk, place: str) -> bool | None:
    """Whether a cell that both sides changed takes what the catalogue has, as answered; None while that is open."""
    offers = tuple(text or LEAVE_OUT for text in either)
    key = f"{row.table}/{row.id} {name} now"
    why = f"the catalogue was changed to {offers[0]} since this draft began, and the draft says {offers[1]}"
    answer = desk.answer(key, why, offers, place)
    if answer is not None and answer not in offers:
        desk.refuse(key, why, offers, place)
        return None
    return None if answer is None else answer == offers[0]


def _without_withdrawn(
    snapshot: Snapshot, rows: list[DraftRow], seen: Mapping[str, Mapping[str, str]], desk: Desk
) -> list[DraftRow]:
    """The rows without those whose stored row was withdrawn since, unless they are to be entered again."""
    for key, cells in seen.items():
        name, _, id = key.partition("/")
        table = TABLES[name]
        if snapshot.one(table, id) is not None:
            continue
        gone = table.from_parsed({**dict.fromkeys(table.columns()), **from_cells(table, cells)})
        again = next((each for each in rows if each.stored is None and _is_it(each, gone)), None)
        if again is None:
            continue
        why = "the catalogue has withdrawn this row since the draft began"
        answer = desk.answer(f"{key} withdrawn", why, (AGAIN, LEAVE_OUT), again.places[0])
        rows = [each for each in rows if each is not again]
        if answer == AGAIN and again.row is not None:
            own = id if table.role == "statement" else again.id
            rows.append(DraftRow(table, own, again.row.replaced(id=own), None, again.places))
    return rows


def _is_it(derived_row: DraftRow, gone: Row) -> bool:
    """Whether a row says the same as one that was withdrawn."""
    row = derived_row.row
    if row is None or row.model is not gone.model:
        return False
    if gone.model.role == "statement":
        return about_of(row) == about_of(gone)  # type: ignore[arg-type]
    return id_for(gone.model, row.values()) == id_for(gone.model, gone.values())


def _position(places: Iterable[str], order: list[str]) -> tuple[int, int, int, str]:
    """Where a row is on its page: number of the table, line, column. A row without a cell comes last, by its page."""
    place = next(iter(places), "")
    name, _, address = place.rpartition("!")
    found = _ADDRESS.fullmatch(address)
    if found is None or name not in order:
        return len(order), 0, 0, place
    return order.index(name), int(found[2]), len(found[1]), found[1]
