"""A workbook whose sheets are tables of the catalogue, as `legwork template` writes it, becomes a package."""

import csv
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from app.catalogue.tables import TABLES
from app.drafts.child import read_grids
from app.drafts.grid import LISTS, TableGrid
from app.errors import Fault, Invalid
from app.exchange.shown import shortened

MOST_FAULTS = 50


@contextmanager
def as_package(path: Path) -> Iterator[Path]:
    """The path of a package: a workbook is unpacked into a temporary folder; anything else stays as it is.

    Raises Invalid, naming the cells, if a sheet is not a table or a cell does not hold what it shows.
    """
    if path.suffix.lower() != ".xlsx" or path.is_dir():
        yield path
        return
    found = read_grids(path)
    grids = found.grids
    hidden = [name for name in found.hidden if name != LISTS]
    faults = [Fault("cell-doubtful", f"{shortened(name)} is hidden, or parts of it; show all of it") for name in hidden]
    faults = [*faults, *(fault for grid in grids for fault in _faults(grid))][:MOST_FAULTS]
    if faults:
        raise Invalid("\n".join(f"{path.name}: {fault.text}" for fault in faults), faults)
    with tempfile.TemporaryDirectory(prefix="legwork-workbook-") as folder:
        for grid in grids:
            with (Path(folder) / f"{grid.name}.csv").open("w", encoding="utf-8", newline="") as stream:
                writer = csv.writer(stream, lineterminator="\n")
                writer.writerows(_rows(grid))
        yield Path(folder)


def _rows(grid: TableGrid) -> Iterator[list[str]]:
    for row in grid.rows:
        yield [cell.text.lower() if cell.kind == "truth" else cell.text for cell in row]


def _faults(grid: TableGrid) -> Iterator[Fault]:
    if grid.name not in TABLES:
        text = f"the sheet {shortened(grid.name)} is not a table; legwork read turns a printed table into rows"
        yield Fault("file-unknown", text)
        return
    for at, row in enumerate(grid.rows):
        for column, cell in enumerate(row):
            if cell.doubt is not None and cell.kind != "date":
                yield Fault("cell-doubtful", f"{grid.place(at, column)}: {cell.doubt}; write it as text")
            elif cell.merged:
                yield Fault("cell-doubtful", f"{grid.place(at, column)}: the cell is merged; unmerge it")
