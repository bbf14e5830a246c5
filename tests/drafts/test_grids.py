"""Files as shops have them: separators, encodings, merged cells, hidden sheets; and files that are refused."""

import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from openpyxl import Workbook

from app.drafts.child import read_grids, read_here
from app.drafts.delimited import MOST_TEXT, read_text
from app.drafts.workbook import MOST_ROWS
from app.errors import Invalid
from app.foreign import ForeignFault

TABLE = [["Bolt", "Torque"], ["Foot bolt", "7,3 ± 0,5"], ["Axle", "12"]]


def texts(content: bytes) -> list[list[str]]:
    (grid,) = read_text(content, "x").grids
    return [[cell.text for cell in row] for row in grid.rows]


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "windows-1252"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_a_table_is_the_same_in_every_dress(separator: str, encoding: str, ending: str) -> None:
    quoted = [[f'"{cell}"' if separator in cell else cell for cell in row] for row in TABLE]
    text = ending.join(separator.join(row) for row in quoted) + ending
    assert texts(text.encode(encoding)) == TABLE


def test_a_guessed_encoding_is_reported() -> None:
    found = read_text("Bolt;Torque\nAxle;7 ± 1".encode("windows-1252"), "x")
    assert found.remarks == ["It is not UTF-8, so it is read as Windows-1252. Check these characters: ±"]


def test_cells_pasted_from_a_page_are_split_at_wide_spaces() -> None:
    assert texts(b"Bolt        Torque\nFoot bolt   7 N m\n") == [["Bolt", "Torque"], ["Foot bolt", "7 N m"]]


def test_blank_lines_and_lines_of_their_own_are_no_ragged_rows() -> None:
    assert texts(b"Torques\n\nBolt;Torque\n\nAxle;12\n") == [["Torques", ""], ["Bolt", "Torque"], ["Axle", "12"]]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"Bolt;Torque\nAxle;12\nFoot bolt;7;3\nCap;28\n", "line 3 has 3 cells, but most lines have 2"),
        (b"Bolt,Torque,Tool\nAxle,12,x\nCap,28\n", "line 3 has 2 cells, but most lines have 3"),
        (b"no table at all", "no columns are found"),
        (b'Bolt,Torque\n"Axle,12\n', "look at its quotation marks"),
        (b"Bolt,Torque\nAxle\x00,12\n", "not a text"),
        (b"Bolt;Torque\nAxle;\x81\n", "save it as UTF-8"),
        (b"a;b\n" * (MOST_TEXT // 4 + 1), "more than 5,000,000 bytes"),
        (b"a;b\n" * 60_000, "more than 100,000 cells"),
    ],
    ids=["wide", "short", "prose", "quote", "nul", "encoding", "20 MB of paste", "many cells"],
)
def test_a_text_that_is_no_table_is_refused_in_one_sentence(content: bytes, said: str) -> None:
    with pytest.raises(ForeignFault, match=said):
        read_text(content, "x")


@pytest.fixture
def book(tmp_path: Path) -> tuple[Workbook, Path]:
    workbook = Workbook()
    sheet = workbook.worksheets[0]
    sheet.title = "Torques"
    for row in (
        ["Bolts of the fork", None, None],
        ["Bolt", "Torque", None],
        [None, "N·m", "in·lbf"],
        ["Axle", 12, 106],
    ):
        sheet.append(row)
    return workbook, tmp_path / "book.xlsx"


def test_merged_cells_are_filled_and_hidden_parts_left_out(book: tuple[Workbook, Path]) -> None:
    workbook, path = book
    sheet = workbook.worksheets[0]
    sheet.append(["Foot bolt", 7, 62])
    for area in ("A1:C1", "A2:A3", "B2:C2"):
        sheet.merge_cells(area)
    sheet.row_dimensions[5].hidden = True
    workbook.create_sheet("Old").append(["Bolt", "Torque"])
    workbook["Old"].sheet_state = "hidden"
    workbook.save(path)
    found = read_grids(path)
    (grid,) = found.grids
    assert [[cell.text for cell in row] for row in grid.rows] == [
        ["Bolts of the fork"] * 3, ["Bolt", "Torque", "Torque"], ["Bolt", "N·m", "in·lbf"], ["Axle", "12", "106"],
    ]  # fmt: skip
    assert grid.place(3, 1) == "Torques!B4"
    assert found.remarks == [
        "Hidden rows and columns of Torques are not read.",
        "The sheet Old is hidden and not read.",
    ]


def test_pictures_are_reported_and_not_read(book: tuple[Workbook, Path], tmp_path: Path) -> None:
    workbook, path = book
    workbook.save(path)
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("xl/media/image1.png", b"no picture at all")
    assert read_grids(path).remarks == ["Pictures and drawings are not read."]


def cells(workbook: Workbook, path: Path) -> None:
    for _ in range(MOST_ROWS):
        workbook.worksheets[0].append(["x"])
    workbook.save(path)


def far_away(workbook: Workbook, path: Path) -> None:
    workbook.worksheets[0]["A1048576"] = "x"
    workbook.save(path)


def million_empty_rows(workbook: Workbook, path: Path) -> None:
    member(
        workbook,
        path,
        "xl/worksheets/sheet1.xml",
        lambda text: text.replace(
            b"<sheetData>", b"<sheetData>" + b"".join(b'<row r="%d" ht="15"/>' % row for row in range(10, 1_000_000))
        ),
    )


def sparse(workbook: Workbook, path: Path) -> None:
    workbook.worksheets[0].cell(9_000, 400, "x")
    workbook.save(path)


def merged_everywhere(workbook: Workbook, path: Path) -> None:
    area = b'</sheetData><mergeCells count="1"><mergeCell ref="A1:XFD1048576"/></mergeCells>'
    member(workbook, path, "xl/worksheets/sheet1.xml", lambda text: text.replace(b"</sheetData>", area))


def entities(workbook: Workbook, path: Path) -> None:
    bomb = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaa"><!ENTITY b "&a;&a;&a;">]>'
    member(workbook, path, "xl/worksheets/sheet1.xml", lambda text: bomb + text)


def torn(workbook: Workbook, path: Path) -> None:
    member(workbook, path, "xl/worksheets/sheet1.xml", lambda text: text[: len(text) // 2])


def linked(workbook: Workbook, path: Path) -> None:
    workbook.save(path)
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("xl/externalLinks/externalLink1.xml", "<externalLink/>")


def no_workbook(workbook: Workbook, path: Path) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("springs.csv", "id,name\n")


def open_document(workbook: Workbook, path: Path) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")


def bomb(workbook: Workbook, path: Path) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b"<a/>" * 30_000_000)


def encrypted(workbook: Workbook, path: Path) -> None:
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(500) + "EncryptedPackage".encode("utf-16-le"))


def old_office(workbook: Workbook, path: Path) -> None:
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(500))


def pdf(workbook: Workbook, path: Path) -> None:
    path.write_bytes(b"%PDF-1.7\n" + bytes(100))


def nothing(workbook: Workbook, path: Path) -> None:
    path.touch()


def empty_sheets(workbook: Workbook, path: Path) -> None:
    Workbook().save(path)


def member(workbook: Workbook, path: Path, name: str, change: Callable[[bytes], bytes]) -> None:
    """The workbook with one member changed."""
    whole = path.with_suffix(".whole")
    workbook.save(whole)
    with zipfile.ZipFile(whole) as given, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for each in given.namelist():
            archive.writestr(each, change(given.read(each)) if each == name else given.read(each))


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (cells, "10,004 rows, at most 10,000 are read; delete the empty rows"),
        (far_away, "reaches down to row 1,048,576"),
        (million_empty_rows, "rows, at most 10,000 are read; delete the empty rows"),
        (sparse, "spread over 9,000 rows and 400 columns; copy the table"),
        (merged_everywhere, "cells, at most 100,000 are read"),
        (entities, "defines entities"),
        (torn, "cannot be read as a workbook"),
        (linked, "takes values from other files; break the links"),
        (no_workbook, "a zip, but not a workbook"),
        (open_document, "an OpenDocument file; save it as xlsx"),
        (bomb, "unpacks to 120,000,0"),
        (encrypted, "protected with a password; remove the password"),
        (old_office, "an old office program; save it as xlsx"),
        (pdf, "a PDF; copy the table out"),
        (nothing, "it is empty"),
        (empty_sheets, "no visible sheet"),
    ],
    ids=lambda each: getattr(each, "__name__", ""),
)
def test_a_workbook_that_cannot_be_read_is_refused_in_one_sentence(
    book: tuple[Workbook, Path], spoil: Callable[[Workbook, Path], None], said: str
) -> None:
    workbook, path = book
    spoil(workbook, path)
    with pytest.raises(ForeignFault, match=said):
        read_here(path)


def test_the_child_answers_in_one_sentence_and_is_bounded(tmp_path: Path) -> None:
    (tmp_path / "x.xlsx").write_bytes(b"PK\x03\x04 no zip")
    with pytest.raises(Invalid, match=r"^x\.xlsx: it cannot be read as a workbook: File is not a zip file$"):
        read_grids(tmp_path / "x.xlsx")
    with pytest.raises(Invalid, match="No such file"):
        read_grids(tmp_path / "missing.csv")


def test_a_child_that_takes_too_much_memory_ends_in_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def killed(*arguments: object, **more: object) -> subprocess.CompletedProcess[bytes]:
        return subprocess.CompletedProcess([sys.executable], -9, b"", b"MemoryError")

    monkeypatch.setattr(subprocess, "run", killed)
    with pytest.raises(Invalid, match="more memory or time than there is"):
        read_grids(tmp_path / "x.xlsx")


def test_a_formula_gives_its_stored_value_and_says_so(book: tuple[Workbook, Path]) -> None:
    workbook, path = book
    workbook.worksheets[0]["B4"] = "=6*2"
    stored = b"<f>6*2</f><v>12</v>"
    member(
        workbook,
        path,
        "xl/worksheets/sheet1.xml",
        lambda text: text.replace(b"<f>6*2</f><v />", stored),
    )
    cell = read_here(path).grids[0].rows[3][1]
    assert (cell.text, cell.doubt) == ("12", None)
    assert cell.remark == "the value is what a formula gave when the workbook was saved"
