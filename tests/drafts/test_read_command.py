"""`legwork read`, and workbooks that `legwork template` writes and `legwork load` takes."""

import csv
import io
import sys
from datetime import date
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.worksheet.worksheet import Worksheet

from app.catalogue.tables import TABLES
from tests.exchange.test_command_line import Called

TORQUES = "Bolt;Torque (N·m);Tool\nFoot bolt;7,3;hex 5 mm\nTop cap;53/44;socket 29 mm\n"


@pytest.fixture
def legwork(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Called:
    monkeypatch.setenv("LEGWORK_SHOP_DATABASE_URL", f"sqlite:///{tmp_path / 'shop.db'}")
    return Called(capsys, monkeypatch)


@pytest.fixture
def catalogue(legwork: Called, tmp_path: Path) -> tuple[str, str]:
    """An own catalogue with one fork and one manual, entered in a workbook."""
    book = Workbook()
    sheets = {
        "makers": [("id", "name"), ("tullow", "Tullow")],
        "sources": [("id", "title", "kind"), ("manual", "Manual", "manual")],
        "chassis": [("id", "maker", "name"), ("brack", "tullow", "Brack")],
    }
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.remove(book.worksheets[0])
    book.save(tmp_path / "own.xlsx")
    to = ("--database", str(tmp_path / "own.db"))
    assert legwork.json("load", str(tmp_path / "own.xlsx"), *to)["opened"]
    return to


def test_a_printed_table_becomes_a_package_that_loads(
    legwork: Called, catalogue: tuple[str, str], tmp_path: Path
) -> None:
    (tmp_path / "torques.csv").write_text(TORQUES, encoding="utf-8")
    asked, package = tmp_path / "asked.csv", tmp_path / "out.zip"
    arguments = (str(tmp_path / "torques.csv"), str(package), "--chassis", "brack", "--source", "manual", "--page", "9")
    first = legwork.json("read", *arguments, "--answers", str(asked), *catalogue)
    assert first["rows"] == {"fasteners": 1, "torques": 1}
    assert [each["question"] for each in first["questions"]] == ["value: 53/44"]
    assert first["questions"][0]["cells"] == ["torques!B3"]

    lines = list(csv.reader(io.StringIO(asked.read_text(encoding="utf-8-sig"))))
    assert lines[1][0] == "value: 53/44"
    lines[1][1] = "250 in-lb"
    text = io.StringIO()
    csv.writer(text, delimiter=";").writerows(lines)
    asked.write_text(text.getvalue(), encoding="utf-16")  # as a spreadsheet may save it

    package.unlink()
    second = legwork.json("read", *arguments, "--answers", str(asked), *catalogue)
    assert (second["rows"], second["questions"]) == ({"fasteners": 2, "torques": 2}, [])
    assert "250 in-lb" in asked.read_text(encoding="utf-8-sig")
    loaded = legwork.json("load", str(package), *catalogue)
    assert (loaded["accepted"], loaded["rows"]["added"]) == (True, 4), loaded["findings"]
    assert legwork.json("load", str(package), *catalogue)["opened"] is False


def test_a_person_reads_the_questions_in_lines(legwork: Called, catalogue: tuple[str, str], tmp_path: Path) -> None:
    (tmp_path / "torques.csv").write_text(TORQUES, encoding="utf-8")
    code, out, err = legwork("read", str(tmp_path / "torques.csv"), "--chassis", "brack", *catalogue)
    assert (code, err) == (0, "")
    assert "question: source: which document is it from?" in out
    assert out.splitlines()[-1] == "Rows: none. Open questions: 2."


def test_pasted_text_comes_on_standard_input(
    legwork: Called, catalogue: tuple[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    pasted = io.TextIOWrapper(io.BytesIO("Bolt\tTorque (N·m)\nFoot bolt\t7\n".encode()))
    monkeypatch.setattr(sys, "stdin", pasted)
    given = ("--chassis", "brack", "--source", "manual", "--page", "9")
    assert legwork.json("read", "-", *given, *catalogue)["rows"] == {"fasteners": 1, "torques": 1}


def test_a_package_is_never_written_over(legwork: Called, catalogue: tuple[str, str], tmp_path: Path) -> None:
    (tmp_path / "torques.csv").write_text(TORQUES, encoding="utf-8")
    given = ("--chassis", "brack", "--source", "manual", "--page", "9")
    refused = legwork.json("read", str(tmp_path / "torques.csv"), str(tmp_path / "own.xlsx"), *given, *catalogue)
    assert refused["refused"]["kind"] == "Conflict"


def test_another_file_is_not_taken_for_answers(legwork: Called, tmp_path: Path) -> None:
    (tmp_path / "torques.csv").write_text(TORQUES, encoding="utf-8")
    before = (tmp_path / "torques.csv").read_bytes()
    path = str(tmp_path / "torques.csv")
    refused = legwork.json("read", path, "--answers", path, "--database", str(tmp_path / "absent.db"))
    assert "whose first line begins with question and answer" in refused["refused"]["detail"]
    assert (tmp_path / "torques.csv").read_bytes() == before


def test_the_template_workbook_explains_itself_and_loads(legwork: Called, tmp_path: Path) -> None:
    path, to = tmp_path / "new.xlsx", ("--database", str(tmp_path / "new.db"))
    assert legwork.json("template", str(path)) == {"written": str(path)}
    assert legwork.json("template", str(path))["refused"]["kind"] == "Conflict"
    assert legwork.json("check", str(path), *to)["rows"]["read"] == 0

    book = load_workbook(path)
    assert book.sheetnames == [*TABLES, "lists"]
    springs = book["springs"]
    heads = {cell.value: cell for cell in springs[1]}
    assert list(heads) == list(TABLES["springs"].columns())
    assert "air or coil (every row needs it)" in heads["kind"].comment.text
    rules = {str(rule.sqref).split(":")[0]: rule.formula1 for rule in springs.data_validations.dataValidation}
    kinds = rules[f"{heads['kind'].column_letter}2"]
    letter = kinds.split("$")[1]
    assert [cell.value for cell in book["lists"][letter]][:2] == ["air", "coil"]
    assert rules[f"{heads['maker'].column_letter}2"] == "='makers'!$A$2:$A$1001"

    fill(book["makers"], id="tullow", name="Tullow")
    fill(book["sources"], id="manual", title="Manual", published_on=date(2024, 5, 17), kind="manual", invented=True)
    fill(springs, id="shaft", maker="tullow", name="Shaft", kind="air", pressure_limit=7.3, pressure_unit="bar")
    springs.cell(2, heads["pressure_limit"].column).number_format = "0.00"
    book.save(path)
    assert legwork.json("load", str(path), *to)["opened"]
    legwork.json("export", str(tmp_path / "out"), *to)
    spring = row(tmp_path / "out" / "springs.csv", "shaft")
    assert (spring["pressure_limit"], spring["pressure_unit"]) == ("7.30", "bar")
    source = row(tmp_path / "out" / "sources.csv", "manual")
    assert (source["published_on"], source["invented"]) == ("2024-05-17", "true")


def fill(sheet: Worksheet, **values: object) -> None:
    """Append a row to a sheet of the template, by the names in its header."""
    sheet.append([values.get(str(head.value)) for head in sheet[1]])


def row(path: Path, id: str) -> dict[str, str]:
    with path.open(encoding="utf-8", newline="") as stream:
        return next(each for each in csv.DictReader(stream) if each["id"] == id)


def test_a_workbook_with_a_cell_that_holds_something_else_is_refused(legwork: Called, tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = "spacers"
    for row in (("id", "name", "volume_ml"), ("a", "A", 8.249), ("b", "B", 8)):
        sheet.append(row)
    sheet["C2"].number_format = "0.0"
    book.create_sheet("notes").append(["anything"])
    book.create_sheet("makers").append(("id", "name"))
    book["makers"].column_dimensions["B"].hidden = True
    book.save(tmp_path / "own.xlsx")
    refused = legwork.json("load", str(tmp_path / "own.xlsx"), "--database", str(tmp_path / "own.db"))["refused"]
    assert [fault["code"] for fault in refused["faults"]] == ["cell-doubtful", "cell-doubtful", "file-unknown"]
    assert "makers is hidden, or parts of it" in refused["detail"]
    assert "spacers!C2: the cell shows 8.2 but holds 8.249" in refused["detail"]


def test_a_plain_refusal_names_the_sheet_and_the_line(legwork: Called, tmp_path: Path) -> None:
    book = Workbook()
    book.worksheets[0].title = "spacers"
    book.worksheets[0].append(("id", "name", "volume_ml"))
    book.worksheets[0].append(("a", "A", "8,2"))
    book.save(tmp_path / "own.xlsx")
    answer = legwork.json("check", str(tmp_path / "own.xlsx"), "--database", str(tmp_path / "own.db"))
    assert [finding["rule"] for finding in answer["findings"]] == ["cell-unreadable"]
    assert answer["findings"][0]["fix"] == "write 8.2"
