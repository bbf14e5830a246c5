"""The cells that a change clears, changes or fills: old → new, cleared ones first."""

from collections.abc import Iterable, Iterator
from typing import NotRequired

from typing_extensions import TypedDict

from app.catalogue.tables import Row
from app.rules.view import cell

MOST_LISTED = 1000  # cells listed in a report; all are counted


class CellChange(TypedDict):
    """One cell of a stored row that changes: `was` is absent if it was empty, `now` if it is cleared."""

    table: str
    id: str
    column: str
    was: NotRequired[str]
    now: NotRequired[str]


class CellCounts(TypedDict):
    """How many cells of stored rows are cleared, changed, and filled for the first time."""

    emptied: int
    changed: int
    filled: int


class ChangedCells:
    """Collects the changed cells of rows that were already stored. Memory is bounded: only MOST_LISTED are listed."""

    def __init__(self) -> None:
        self.counts = CellCounts(emptied=0, changed=0, filled=0)
        self._emptied: list[CellChange] = []
        self._others: list[CellChange] = []

    def note(self, pairs: Iterable[tuple[Row | None, Row | None]]) -> None:
        """Add rows as (before, after). New and withdrawn rows have no changed cells."""
        for before, after in pairs:
            if before is None or after is None:
                continue
            for change in cell_changes(before, after):
                if "now" not in change:
                    self._add("emptied", change, self._emptied)
                else:
                    self._add("changed" if "was" in change else "filled", change, self._others)

    def _add(self, kind: str, change: CellChange, listed: list[CellChange]) -> None:
        self.counts[kind] += 1  # type: ignore[literal-required]
        if len(listed) < MOST_LISTED:
            listed.append(change)

    def listed(self) -> list[CellChange]:
        """The changed cells, cleared ones first, at most MOST_LISTED."""
        return (self._emptied + self._others)[:MOST_LISTED]


def cell_changes(before: Row, after: Row) -> Iterator[CellChange]:
    """The cells in which two versions of a row differ, in exchange order."""
    old, new = before.values(), after.values()
    for name in after.model.columns():
        if old[name] is new[name]:
            continue
        was, now = cell(before, name), cell(after, name)
        if was == now:
            continue
        change = CellChange(table=after.table, id=after.id, column=name)
        if was is not None:
            change["was"] = was
        if now is not None:
            change["now"] = now
        yield change


def emptied_columns(before: Row, after: Row) -> list[str]:
    """The columns that have a value in `before` and none in `after`, in exchange order."""
    old, new = before.values(), after.values()
    return [name for name in after.model.columns() if old[name] is not None and new[name] is None]


def cells_as_text(cells: Iterable[CellChange], counts: CellCounts) -> list[str]:
    """The changed cells as lines for a person, cleared ones first."""
    lines = []
    shown = 0
    for change in cells:
        shown += 1
        place = f"{change['table']}/{change['id']} {change['column']}"
        was, now = change.get("was", "(empty)"), change.get("now", "(empty)")
        lines.append(f"{'emptied' if 'now' not in change else 'changed'}: {place}: {was} → {now}")
    total = counts["emptied"] + counts["changed"] + counts["filled"]
    if shown < total:
        lines.append(f"… and {total - shown} more changed cells")
    return lines
