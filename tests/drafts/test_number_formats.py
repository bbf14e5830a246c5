"""Numbers as a spreadsheet shows them, against a list made by hand; what it shows but does not hold is asked about."""

import csv
from datetime import date, datetime
from pathlib import Path

import pytest
from openpyxl import Workbook
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont
from openpyxl.styles import Font

from app.drafts.child import read_here
from app.drafts.grid import GridCell
from app.drafts.number_formats import shown

LIST = Path(__file__).with_name("odd_formats.tsv")


def listed() -> list[dict[str, str]]:
    with LIST.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream, delimiter="\t", quoting=csv.QUOTE_NONE))


def number(text: str) -> float:
    return float(text) if any(mark in text for mark in ".e") else int(text)


def test_no_number_is_shown_wrongly() -> None:
    wrong = {}
    for line in listed():
        found = shown(number(line["value"]), line["format"])
        said = "ask" if found.doubt else found.text
        if said != line["shown"]:
            wrong[line["value"], line["format"]] = (line["shown"], found)
    assert wrong == {}


@pytest.fixture(scope="module")
def odd_workbook(tmp_path_factory: pytest.TempPathFactory) -> dict[str, GridCell]:
    """The cells of a workbook by the words to their left."""
    book = Workbook()
    sheet = book.worksheets[0]
    raised, struck = InlineFont(vertAlign="superscript"), InlineFont(strike=True)
    cells: list[tuple[str, object, str]] = [
        ("date", date(2024, 2, 1), "d-mmm"),
        ("time of day", datetime(2024, 2, 1, 8, 30), "hh:mm"),
        ("truth", True, "General"),
        ("text", " 7,3 ", "General"),
        ("raised digit", CellRichText("8", TextBlock(raised, "1")), "General"),
        ("raised unit", CellRichText("8 cm", TextBlock(raised, "3")), "General"),
        ("struck part", CellRichText(TextBlock(struck, "8"), "7"), "General"),
        ("formula", "=3+4", "General"),
        ("error", "#N/A", "General"),
        ("other error", "#REF!", "General"),
        ("struck", 8, "General"),
        ("percent", 0.18, "0%"),
    ]
    for row, (name, value, code) in enumerate(cells, 1):
        sheet.cell(row, 1, name)
        cell = sheet.cell(row, 2)
        cell.value = value  # type: ignore[assignment]
        cell.number_format = code
        if name == "struck":
            cell.font = Font(strike=True)
    path = tmp_path_factory.mktemp("odd") / "odd.xlsx"
    book.save(path)
    (grid,) = read_here(path).grids
    return {row[0].text: row[1] for row in grid.rows}


@pytest.mark.parametrize(
    ("name", "text", "doubt"),
    [
        ("date", "2024-02-01", "1-2"),
        ("time of day", "2024-02-01 08:30:00", "date"),
        ("truth", "TRUE", None),
        ("text", "7,3", None),
        ("raised digit", "8¹", None),
        ("raised unit", "8 cm³", None),
        ("struck part", "87", "struck"),
        ("formula", "(formula)", "no stored value"),
        ("error", "#N/A", None),
        ("other error", "#REF!", "failed"),
        ("struck", "8", "struck"),
        ("percent", "18%", None),
    ],
)
def test_a_cell_of_a_workbook_is_what_a_reader_sees(
    odd_workbook: dict[str, GridCell], name: str, text: str, doubt: str | None
) -> None:
    cell = odd_workbook[name]
    assert cell.text == text
    assert cell.doubt is None if doubt is None else doubt in (cell.doubt or "")
