"""A grid: the cells of one table as somebody gave them, with what its file says about each of them."""

from dataclasses import dataclass, field
from typing import Literal

from app.exchange.shown import letter
from app.json_types import JsonObject

LISTS = "lists"
"""The hidden sheet of a template workbook, which holds what its drop-down lists offer."""

CellType = Literal["empty", "text", "number", "truth", "date", "error"]


@dataclass(frozen=True, slots=True)
class GridCell:
    """One cell: its text as a reader sees it, the type it has in its file, and what makes it doubtful.

    `remark` is something to tell that changes nothing, such as that a formula gave the value. A cell of a merged area
    has the area's text.
    """

    text: str = ""
    kind: CellType = "empty"
    doubt: str | None = None
    remark: str | None = None
    merged: bool = False


@dataclass(frozen=True, slots=True)
class TableGrid:
    """A rectangle of cells. `name` is that of the sheet or file; `row_numbers` count as the file does."""

    name: str
    rows: list[list[GridCell]]
    row_numbers: list[int]
    column_numbers: list[int]

    def place(self, row: int, column: int) -> str:
        """Where a cell is, as a spreadsheet names it: `Torques!B7`."""
        return f"{self.name}!{letter(self.column_numbers[column])}{self.row_numbers[row]}"


@dataclass(slots=True)
class Grids:
    """The grids of one file, and what its reader says about the file. `hidden` are the sheets with hidden parts."""

    grids: list[TableGrid] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    hidden: list[str] = field(default_factory=list)


def trimmed(
    name: str, rows: list[list[GridCell]], row_numbers: list[int], column_numbers: list[int]
) -> TableGrid | None:
    """The grid without empty rows and columns; None if nothing is in it."""
    kept = [at for at, row in enumerate(rows) if any(cell.text for cell in row)]
    columns = [at for at in range(len(column_numbers)) if any(rows[row][at].text for row in kept)]
    if not kept:
        return None
    return TableGrid(
        name,
        [[rows[row][column] for column in columns] for row in kept],
        [row_numbers[row] for row in kept],
        [column_numbers[column] for column in columns],
    )


def as_json(grids: Grids) -> JsonObject:
    """The grids as a JSON object; a cell is a list, without what it does not have."""
    return {
        "remarks": grids.remarks,
        "hidden": grids.hidden,
        "grids": [
            {
                "name": grid.name,
                "rows": [[_cell(cell) for cell in row] for row in grid.rows],
                "row_numbers": grid.row_numbers,
                "column_numbers": grid.column_numbers,
            }
            for grid in grids.grids
        ],
    }


def _cell(cell: GridCell) -> list[str | bool | None]:
    return [] if cell == GridCell() else [cell.text, cell.kind, cell.doubt, cell.remark, cell.merged]


def from_json(value: JsonObject) -> Grids:
    """The grids of `as_json`."""
    grids = [
        TableGrid(
            each["name"],
            [[GridCell(*cell) for cell in row] for row in each["rows"]],
            each["row_numbers"],
            each["column_numbers"],
        )
        for each in value["grids"]
    ]
    return Grids(grids, value["remarks"], value["hidden"])
