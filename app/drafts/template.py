"""A workbook to fill in, one sheet for each table: help at the headers, drop-down lists, every cell as text."""

import os
from pathlib import Path

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from app.catalogue.columns import FLAG_KIND, Column
from app.catalogue.words import listed
from app.drafts.grid import LISTS
from app.errors import Conflict
from app.exchange.minimal import Wanted, columns_of, explained, tables_of
from app.units.table import KINDS, units_of

ROWS = 1000
"""Rows below the headers that have drop-down lists."""
TEXT = "@"
_WIDTH = 18


def write_template(path: Path, wanted: Wanted | None = None) -> None:
    """Write the workbook, with all columns or the wanted ones. Raises Conflict if something is already there."""
    if path.exists():
        raise Conflict(f"{path} already exists; give another path")
    book = Workbook()
    book.remove(book.worksheets[0])
    lists = _Lists()
    for table in tables_of(wanted):
        _fill(book.create_sheet(table.table), columns_of(table, wanted), lists)
    lists.write(book.create_sheet(LISTS))
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        book.save(beside)
        beside.rename(path)
    finally:
        beside.unlink(missing_ok=True)


class _Lists:
    """Columns of options on a sheet of their own: a list in a cell's rule has at most 255 characters."""

    def __init__(self) -> None:
        self.columns: dict[tuple[str, ...], str] = {}

    def range(self, options: tuple[str, ...]) -> str:
        """The cells that hold the options."""
        letter = self.columns.setdefault(options, get_column_letter(len(self.columns) + 1))
        return f"{LISTS}!${letter}$1:${letter}${len(options)}"

    def write(self, sheet: Worksheet) -> None:
        """Write all options, and hide the sheet."""
        for at, options in enumerate(self.columns, 1):
            for row, option in enumerate(options, 1):
                sheet.cell(row, at, option).number_format = TEXT
        sheet.sheet_state = "hidden"


def _fill(sheet: Worksheet, columns: dict[str, Column], lists: _Lists) -> None:
    sheet.freeze_panes = "B2"
    for at, described in enumerate(columns.values(), 1):
        head = sheet.cell(1, at, described.name)
        head.font = Font(bold=described.required)
        head.comment = Comment(explained(described), "Legwork", height=120, width=320)
        letter = get_column_letter(at)
        sheet.column_dimensions[letter].width = _WIDTH
        sheet.column_dimensions[letter].number_format = TEXT
        if (offered := _offered(described, lists)) is not None:
            rule = DataValidation(type="list", formula1=f"={offered}", allow_blank=True)
            rule.showErrorMessage = bool(described.options)
            rule.add(f"{letter}2:{letter}{ROWS + 1}")
            sheet.add_data_validation(rule)


def _offered(described: Column, lists: _Lists) -> str | None:
    """The cells that a drop-down list offers; None for a column without one."""
    if described.options:
        return lists.range(described.options)
    if described.kind.words is not None:
        return lists.range(listed(described.kind.words))
    if described.kind is FLAG_KIND:
        return lists.range(("true", "false"))
    if described.measures is not None and described.unit_column is None:
        kinds = KINDS if described.measures == "any" else (described.measures,)
        return lists.range(tuple(dict.fromkeys(unit.name for kind in kinds for unit in units_of(kind))))
    if described.refers_to is not None and described.kind.items is None:
        return f"'{described.refers_to}'!$A$2:$A${ROWS + 1}"
    return None
