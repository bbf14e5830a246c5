"""Turns the grids of one file into rows, shape by shape. An unclear cell is a question, and its row waits."""

from collections.abc import Callable

from app.catalogue.rows import Rows
from app.drafts.cells import RecordReader
from app.drafts.desk import Desk
from app.drafts.figures import DecimalMarks, marks_of
from app.drafts.fluids import greases, oils
from app.drafts.grid import Grids, TableGrid
from app.drafts.meaning import records, understand
from app.drafts.pressures import pressures
from app.drafts.rows import DerivedRows
from app.drafts.shapes import GREASES, OILS, PRESSURES, SHAPES, SPACER_LIMITS, SPRINGS, TORQUES
from app.drafts.springs import spacer_limits, spring_rows
from app.drafts.torques import torques

BUILDERS: dict[str, Callable[[list[RecordReader], DerivedRows], None]] = {
    TORQUES.name: torques, OILS.name: oils, GREASES.name: greases, PRESSURES.name: pressures,
    SPRINGS.name: spring_rows, SPACER_LIMITS.name: spacer_limits,
}  # fmt: skip


def derive(grids: Grids, base: Rows, desk: Desk) -> DerivedRows:
    """The rows that the grids of one file say, with all questions and remarks on the desk.

    The shapes come in their order, because limits of spacers need the springs that another grid may bring.
    """
    rows = DerivedRows(base, desk)
    for remark in grids.remarks:
        desk.remark(remark)
    understood = [(grid, meaning) for grid in grids.grids if (meaning := understand(grid, desk)) is not None]
    rows.meanings = {grid.name: meaning for grid, meaning in understood}
    order = list(SHAPES)
    for grid, meaning in sorted(understood, key=lambda each: order.index(each[1].shape.name)):
        marks = _marks(grid)
        BUILDERS[meaning.shape.name]([RecordReader(each, desk, marks) for each in records(grid, meaning, desk)], rows)
    return rows


def _marks(grid: TableGrid) -> DecimalMarks:
    return marks_of(cell.text for row in grid.rows for cell in row if cell.kind == "text")
