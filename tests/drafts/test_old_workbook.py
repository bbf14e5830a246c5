"""An invented manual as an old workbook has it: merged cells, two header rows, mixed units, formats, a hidden sheet.

The rows equal those that a person enters from the page, with few answers, and source and page given once a sheet.
"""

from pathlib import Path

import pytest
from openpyxl import Workbook
from openpyxl.cell.rich_text import CellRichText, TextBlock
from openpyxl.cell.text import InlineFont

from app.catalogue.rows import MemoryRows
from app.drafts.child import read_here
from app.drafts.derive import derive
from app.drafts.desk import Desk
from app.drafts.rows import DerivedRows
from tests.drafts.test_shapes import BASE, cells

MOST_QUESTIONS = 15
ANSWERS = {
    "chassis": "tullow-brack-34",
    "source": "tullow-manual-2",
    "page of Air": "14",
    "page of Torques": "22",
    "page of Oil": "25",
    "page of Set-up": "28",
    "shape of Tokens": "spacer limits",
    "page of Tokens": "15",
    "kind of the springs": "air",
    "kind of Axle": "bolt",
    "value: 1/2 turn": "-",
    "kind of Bath 10": "bath oil",
    "kind of Damp 2.5": "damper oil",
}
"""Answers that a person gives; everything else is read."""


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    workbook = Workbook()
    workbook.remove(workbook.worksheets[0])
    raised = InlineFont(vertAlign="superscript")

    air = workbook.create_sheet("Air")
    for row in (
        ["Air springs", None, None, None, None],
        ["Travel", "Part no.", "Name", "Axle-to-crown", "Max. pressure"],
        [130, "11.130", "Air shaft", 526.5, 150],
        [140, "11.140", "Air shaft", 536.5, None],
        [150, "11.150", "Air shaft", 547, None],
    ):
        air.append(row)
    air.merge_cells("A1:E1")
    air.merge_cells("E3:E5")
    for cell in ("A3", "A4", "A5"):
        air[cell].number_format = '0" mm"'
    for cell in ("D3", "D4", "D5"):
        air[cell].number_format = "0.0"
    air["E3"].number_format = '0" psi"'

    tokens = workbook.create_sheet("Tokens")
    for row in (["Travel", "Wheel", None], [None, '27.5"', '29"'], [130, 5, 5], [140, 4, 4], [150, 3, 3]):
        tokens.append(row)
    tokens.merge_cells("B1:C1")
    tokens.merge_cells("A1:A2")

    torques = workbook.create_sheet("Torques")
    for row in (
        ["Bolt", "Torque", None, "Tool"],
        [None, "N·m", "in·lbf", None],
        ["Damper side", None, None, None],
        ["Foot bolt", 7.3, 65, "hex 5 mm"],
        ["Spring side", None, None, None],
        ["Foot bolt", CellRichText("7.3", TextBlock(raised, "1")), 65, "hex 5 mm"],
        ["Top cap", "26–30", "230–266", "socket 29 mm"],
        ["Both legs", None, None, None],
        ["Axle", "max. 12", "max. 106", "hex 6 mm"],
        ["Lockring nut", "1/2 turn", None, None],
        ["Brake bolt", "N/A", None, None],
        ["1) with threadlocker", None, None, None],
    ):
        torques.append(row)
    torques.merge_cells("B1:C1")
    torques.merge_cells("A3:D3")
    torques["B4"].number_format = "0.00"

    oil = workbook.create_sheet("Oil")
    for row in (
        ["Chamber", "Oil", "Volume (ml)", "Oil level, mm"],
        ["spring-side lower leg", "Bath 10", 10, None],
        ["damper-side lower leg", "Bath 10", "10 ± 1", None],
        ["damper", "Damp 2.5", None, "95–100"],
    ):
        oil.append(row)

    setup = workbook.create_sheet("Set-up")
    for row in (
        ["Rider weight (kg)", "Air pressure (bar)", "Sag"],
        ["< 60", 4.1, 0.18],
        ["60–69", "4,6", 0.2],
        ["70–79", 5, 0.2],
        ["80+", 5.5, None],
    ):
        setup.append(row)
    for number in (2, 3, 4, 5):
        setup[f"C{number}"].number_format = "0%"
        setup[f"B{number}"].number_format = "0.0"
    setup.merge_cells("C4:C5")

    workbook.create_sheet("2019").append(["Bolt", "Torque (N·m)"])
    workbook["2019"].sheet_state = "hidden"
    path = tmp_path_factory.mktemp("manual") / "old.xlsx"
    workbook.save(path)
    return path


@pytest.fixture(scope="module")
def rows(book: Path) -> DerivedRows:
    return derive(read_here(book), MemoryRows(BASE), Desk(ANSWERS))


def test_springs_and_fits(rows: DerivedRows) -> None:
    assert cells(rows, "springs", "part_number", "name", "kind", "page") == [
        (number, "Air shaft", "air", "14") for number in ("11.130", "11.140", "11.150")
    ]
    columns = ("travel_mm", "wheel_size", "axle_to_crown_mm", "pressure_limit", "pressure_unit", "spacer_limit")
    assert cells(rows, "fits", *columns) == [
        ("130", "", "526.5", "150", "psi", "5"),
        ("140", "", "536.5", "150", "psi", "4"),
        ("150", "", "547.0", "150", "psi", "3"),
    ]


def test_torques(rows: DerivedRows) -> None:
    assert cells(rows, "torques", "value", "min", "max", "unit", "page") == [
        ("7.30", "", "", "N·m", "22"), ("7.3", "", "", "N·m", "22"), ("", "26", "30", "N·m", "22"),
        ("", "", "12", "N·m", "22"),
    ]  # fmt: skip
    assert cells(rows, "fasteners", "position", "side", "drives") == [
        ("foot bolt", "damper side", "hex 5 mm"), ("foot bolt", "spring side", "hex 5 mm"),
        ("top cap", "spring side", "socket 29 mm"), ("axle", "both", "hex 6 mm"),
    ]  # fmt: skip


def test_oils(rows: DerivedRows) -> None:
    columns = ("chamber", "value", "min", "max", "unit", "level_mm", "level_min_mm", "level_max_mm")
    assert cells(rows, "fills", *columns) == [
        ("spring-side lower leg", "10", "", "", "mL", "", "", ""),
        ("damper-side lower leg", "10", "9", "11", "mL", "", "", ""),
        ("damper", "", "", "", "", "", "95", "100"),
    ]


def test_start_pressures(rows: DerivedRows) -> None:
    columns = ("rider_mass_from", "rider_mass_to", "mass_unit", "pressure", "pressure_unit", "sag_percent")
    assert cells(rows, "guides", *columns) == [
        ("", "60", "kg", "4.1", "bar", "18"), ("60", "70", "kg", "4.6", "bar", "20"),
        ("70", "80", "kg", "5.0", "bar", "20"), ("80", "", "kg", "5.5", "bar", "20"),
    ]  # fmt: skip


def test_nothing_is_left_to_ask_and_little_was(rows: DerivedRows, book: Path) -> None:
    assert rows.desk.questions == {}
    assert len(ANSWERS) <= MOST_QUESTIONS
    remarks = {f"{each.place}: {each.text}" for each in rows.desk.remarks}
    assert "None: The sheet 2019 is hidden and not read." in remarks
    assert "Torques!B6: the footnote mark ¹ is left out" in remarks
    assert "Torques!A12: a footnote, which is not stored: 1) with threadlocker" in remarks
    assert "Torques!B11: “brake caliper bolt” has no torque; there is no row for it" in remarks


def test_without_answers_every_question_is_asked_once(book: Path) -> None:
    desk = Desk({})
    found = derive(read_here(book), MemoryRows(BASE), desk)
    assert found.found == {}
    assert len(desk.questions) <= MOST_QUESTIONS
