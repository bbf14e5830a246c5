"""Reads the sheets of an xlsx workbook as a reader sees them: numbers as their format shows them, merged cells filled.

Before openpyxl opens it, the zip is measured: how much it unpacks to, and how many rows and cells its sheets have.
"""

import re
import warnings
import zipfile
import zlib
from datetime import date, datetime, time, timedelta
from pathlib import Path
from xml.etree.ElementTree import ParseError

import openpyxl
from openpyxl.cell.cell import Cell, MergedCell
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.utils import range_boundaries
from openpyxl.worksheet.worksheet import Worksheet

from app.drafts.grid import GridCell, Grids, trimmed
from app.drafts.number_formats import shown
from app.exchange.shown import shortened
from app.foreign import ForeignFault, escaped, open_zip

MOST_PACKED = 20_000_000
MOST_MEMBERS = 2_000
MOST_UNPACKED = 100_000_000
"""Bytes of a workbook and of all its members unpacked."""
MOST_ROWS = 10_000
MOST_CELLS = 100_000
MOST_COLUMNS = 500
MOST_AREA = 500_000
"""Rows times columns of a sheet: empty cells between the others count here."""

_SHEET = re.compile(r"xl/worksheets/[^/]+\.xml")
_PART = re.compile(
    rb"<(?:\w+:)?(row|c)[\s>/]|<!(DOCTYPE|ENTITY)|<(?:\w+:)?mergeCell\s[^>]*?ref=[\"']([A-Z]+[0-9]+:[A-Z]+[0-9]+)"
)
_CHUNK = 1_000_000
_RAISED = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")


def read_workbook(path: Path) -> Grids:
    """The grids of the visible sheets. Raises ForeignFault in a sentence that says what to do."""
    try:
        remarks = _measured(path)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of features that are not read, such as data validation
            values = openpyxl.load_workbook(path, data_only=True, keep_links=False, rich_text=True)
            formulas = openpyxl.load_workbook(path, keep_links=False)
    except ForeignFault:
        raise
    except (zipfile.BadZipFile, zlib.error, EOFError, KeyError, ValueError, TypeError, ParseError, OSError) as error:
        raise ForeignFault(f"it cannot be read as a workbook: {escaped(str(error))[:200]}") from error
    except Exception as error:
        # openpyxl raises whatever its descriptors raise for XML of another shape
        raise ForeignFault(f"it cannot be read as a workbook ({type(error).__name__})") from error
    grids = Grids(remarks=remarks)
    for sheet in values.worksheets:
        if sheet.sheet_state != "visible":
            grids.remarks.append(f"The sheet {shortened(sheet.title)} is hidden and not read.")
            grids.hidden.append(sheet.title)
            continue
        rows, numbers, columns, has_hidden = _cells(sheet, formulas[sheet.title])
        if has_hidden:
            grids.remarks.append(f"Hidden rows and columns of {shortened(sheet.title)} are not read.")
            grids.hidden.append(sheet.title)
        grid = trimmed(sheet.title, rows, numbers, columns)
        if grid is not None:
            grids.grids.append(grid)
    if not grids.grids:
        raise ForeignFault("no visible sheet has a cell with something in it")
    return grids


def _measured(path: Path) -> list[str]:
    """Remarks about the members of the zip. Raises ForeignFault if it is no workbook, or too large for one."""
    if path.stat().st_size > MOST_PACKED:
        raise ForeignFault(f"it has {path.stat().st_size:,} bytes; at most {MOST_PACKED:,} of a workbook are read")
    with open_zip(path) as archive:
        names = {each.filename for each in archive.infolist()}
        if "xl/workbook.xml" not in names:
            raise ForeignFault(_other_zip(archive, names))
        if len(names) > MOST_MEMBERS or len(names) < len(archive.infolist()):
            raise ForeignFault("it has too many members, or a member twice")
        if any(each.flag_bits & 1 for each in archive.infolist()):
            raise ForeignFault("it is protected with a password; remove the password and save it again")
        if (unpacked := sum(each.file_size for each in archive.infolist())) > MOST_UNPACKED:
            raise ForeignFault(f"it unpacks to {unpacked:,} bytes; at most {MOST_UNPACKED:,} are read")
        if any(name.startswith("xl/externalLinks/") for name in names):
            raise ForeignFault(
                "it takes values from other files; break the links (in Excel: Data, Edit Links, Break Link) and save it"
            )
        cells = 0
        for name in sorted(names):
            if name.endswith((".xml", ".rels")):
                rows, more = _counted(archive, name)
                cells += more if _SHEET.fullmatch(name) else 0
                if _SHEET.fullmatch(name) and rows > MOST_ROWS:
                    raise ForeignFault(
                        f"{name} has {rows:,} rows, at most {MOST_ROWS:,} are read; "
                        "delete the empty rows below the table and save it again"
                    )
        if cells > MOST_CELLS:
            raise ForeignFault(
                f"it has {cells:,} cells, at most {MOST_CELLS:,} are read; copy the table to a workbook of its own"
            )
    pictures = any(name.startswith(("xl/media/", "xl/drawings/drawing", "xl/charts/")) for name in names)
    return ["Pictures and drawings are not read."] if pictures else []


def _other_zip(archive: zipfile.ZipFile, names: set[str]) -> str:
    is_short = "mimetype" in names and archive.getinfo("mimetype").file_size < 200
    if is_short and b"opendocument" in archive.read("mimetype"):
        return "it is an OpenDocument file; save it as xlsx"
    if "word/document.xml" in names:
        return "it is a Word document; copy the table into a spreadsheet and save it as xlsx"
    return "it is a zip, but not a workbook; a package of CSV files goes to legwork load"


def _counted(archive: zipfile.ZipFile, name: str) -> tuple[int, int]:
    """The rows of a member, and its cells with those of merged areas. Raises ForeignFault if it defines entities."""
    rows = cells = 0
    last = b""
    with archive.open(name) as stream:
        while chunk := stream.read(_CHUNK):
            part = last + chunk
            for found in _PART.finditer(part):
                if found[2]:
                    raise ForeignFault(f"{escaped(name)} defines entities; no spreadsheet writes that")
                rows += found[1] == b"row"
                cells += found[1] == b"c"
                cells += 0 if found[3] is None else _area(found[3].decode())
            last = _torn(part)
    return rows, cells


def _area(reference: str) -> int:
    left, top, right, bottom = (number or 0 for number in range_boundaries(reference))
    return (right - left + 1) * (bottom - top + 1)


def _torn(part: bytes) -> bytes:
    """The end of a part in which a tag may begin that the next part completes."""
    start = part.rfind(b"<", max(0, len(part) - 80))
    return part[start:] if start >= 0 and b">" not in part[start:] and not _PART.match(part, start) else b""


def _cells(sheet: Worksheet, formulas: Worksheet) -> tuple[list[list[GridCell]], list[int], list[int], bool]:
    """The cells of the rows and columns that are shown, their numbers, and whether there are hidden ones."""
    if sheet.max_column > MOST_COLUMNS:
        raise ForeignFault(f"{shortened(sheet.title)} has {sheet.max_column} columns; at most {MOST_COLUMNS} are read")
    if sheet.max_row > MOST_ROWS:
        raise ForeignFault(
            f"{shortened(sheet.title)} reaches down to row {sheet.max_row:,}, at most {MOST_ROWS:,} are read; "
            "delete the stray cells below the table and save it again"
        )
    if sheet.max_row * sheet.max_column > MOST_AREA:
        raise ForeignFault(
            f"the cells of {shortened(sheet.title)} are spread over {sheet.max_row:,} rows and {sheet.max_column} "
            "columns; copy the table to a sheet of its own"
        )
    hidden = {number for number, row in sheet.row_dimensions.items() if row.hidden}
    hidden_columns = _hidden_columns(sheet)
    rows = [number for number in range(sheet.min_row, sheet.max_row + 1) if number not in hidden]
    columns = [number for number in range(sheet.min_column, sheet.max_column + 1) if number not in hidden_columns]
    found = {
        (row, column): _cell(sheet.cell(row, column), formulas.cell(row, column)) for row in rows for column in columns
    }
    for area in sheet.merged_cells.ranges:
        first = found.get((area.min_row, area.min_col))
        if first is None:
            first = _cell(sheet.cell(area.min_row, area.min_col), formulas.cell(area.min_row, area.min_col))
        filled = GridCell(first.text, first.kind, first.doubt, first.remark, True)
        for row in range(area.min_row, area.max_row + 1):
            for column in range(area.min_col, area.max_col + 1):
                if (row, column) in found:
                    found[row, column] = filled
    has_hidden = any(sheet.min_row <= number <= sheet.max_row for number in hidden) or any(
        sheet.min_column <= number <= sheet.max_column for number in hidden_columns
    )
    cells = [[found[row, column] for column in columns] for row in rows]
    return cells, rows, [number - 1 for number in columns], has_hidden


def _hidden_columns(sheet: Worksheet) -> set[int]:
    hidden: set[int] = set()
    for each in sheet.column_dimensions.values():
        if each.hidden and each.min is not None and each.max is not None:
            hidden.update(range(each.min, min(each.max, MOST_COLUMNS) + 1))
    return hidden


def _cell(cell: Cell | MergedCell, formula: Cell | MergedCell) -> GridCell:
    made_by_formula = formula.data_type == "f"
    value = cell.value
    if value is None:
        if made_by_formula:
            return GridCell("(formula)", "error", "the formula has no stored value; open and save the workbook again")
        return GridCell()
    remark = "the value is what a formula gave when the workbook was saved" if made_by_formula else None
    doubt = "the cell is struck through" if cell.font is not None and cell.font.strike else None
    return _typed(value, cell, doubt, remark)


def _typed(value: object, cell: Cell | MergedCell, doubt: str | None, remark: str | None) -> GridCell:
    if isinstance(value, bool):
        return GridCell(str(value).upper(), "truth", doubt, remark)
    if isinstance(value, int | float):
        number = shown(value, cell.number_format)
        return GridCell(number.text, "number", doubt or number.doubt, remark)
    if isinstance(value, datetime | date | time | timedelta):
        text = value.date().isoformat() if isinstance(value, datetime) and value.time() == time() else str(value)
        why = f"the spreadsheet holds the date {text}; the page may say something like 1-2 or 1/2"
        return GridCell(text, "date", doubt or why, remark)
    if isinstance(value, CellRichText):
        text, struck = _rich(value)
        return GridCell(text, "text", doubt or struck, remark) if text else GridCell()
    text = str(value).strip()
    if cell.data_type == "e":
        return GridCell(text, "error", None if text == "#N/A" else f"the formula failed ({text})", remark)
    return GridCell(text, "text", doubt, remark) if text else GridCell()


def _rich(value: CellRichText) -> tuple[str, str | None]:
    """The text of a cell with several fonts: raised digits as such, so that a footnote mark is no digit."""
    text, struck = "", None
    for part in value:
        if isinstance(part, TextBlock):
            if part.font.strike:
                struck = "a part of the cell is struck through"
            raised = part.font.vertAlign == "superscript"
            text += part.text.translate(_RAISED) if raised else part.text
        else:
            text += part
    return text.strip(), struck
