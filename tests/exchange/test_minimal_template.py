"""The minimal template: README's ten lines fit into it, load, and give a job card of the fork they enter."""

import csv
import re
from pathlib import Path
from typing import Any

from openpyxl import load_workbook

from app.catalogue.catalogue import Catalogue
from app.catalogue.words import listed
from app.database.connections import Database
from app.drafts.table_workbook import as_package
from app.drafts.template import write_template
from app.exchange.loading import Entry, load
from app.exchange.minimal import MINIMAL
from app.exchange.writer import template
from app.questions.job.job_card import JobCardAsked, job_card
from tests.conftest import SEED_DATA

PRINTED = re.compile(r"printf '%s\\n' ((?:'[^']*'(?: \\\n +| ))+)> mine/(\w+)\.csv")


def ten_lines() -> dict[str, list[dict[str, str]]]:
    """The rows that seed_data/README.md enters, by table, with the torque that its second step corrects."""
    found: dict[str, list[dict[str, str]]] = {}
    for cells, table in PRINTED.findall((SEED_DATA / "README.md").read_text(encoding="utf-8")):
        lines = [line.replace(",82,", ",8.2,") for line in re.findall(r"'([^']*)'", cells)]
        found[table] = list(csv.DictReader(lines))
    return found


def filled(folder: Path) -> None:
    for table, rows in ten_lines().items():
        path = folder / f"{table}.csv"
        with path.open(encoding="utf-8", newline="") as stream:
            header = next(csv.reader(stream))
        assert set(rows[0]) == set(header), table
        with path.open("a", encoding="utf-8", newline="") as stream:
            csv.DictWriter(stream, header, lineterminator="\n").writerows(rows)


def card_of(database: Database) -> Any:
    with Catalogue(database).snapshot() as snapshot:
        asked = JobCardAsked(job="travel-change", from_travel="140", to_travel="150")
        return job_card(snapshot, "our-fork", asked)


def test_the_minimal_template_has_the_eight_files_and_columns_of_the_ten_lines(tmp_path: Path) -> None:
    template(tmp_path / "mine", MINIMAL)
    assert {path.name for path in (tmp_path / "mine").glob("*.csv")} == {f"{table}.csv" for table in ten_lines()}
    assert len(ten_lines()) == 8
    assert sum(map(len, ten_lines().values())) == 10
    assert sum(map(len, MINIMAL.values())) == 55


def test_filling_just_these_loads_and_gives_a_job_card(database: Database, tmp_path: Path) -> None:
    template(tmp_path / "mine", MINIMAL)
    filled(tmp_path / "mine")
    report = load(database, tmp_path / "mine", Entry("our own forks", "test"), orders=True)
    assert report["accepted"], report["findings"]
    card = card_of(database)
    torques = [each for step in card["steps"] for each in step.get("torque", ())]
    assert {each["torque"]["text"] for each in torques if "torque" in each} == {"8.2 N·m"}


def test_the_minimal_workbook_loads_too_and_offers_the_words(database: Database, tmp_path: Path) -> None:
    path = tmp_path / "mine.xlsx"
    write_template(path, MINIMAL)
    book = load_workbook(path)
    for table, rows in ten_lines().items():
        sheet = book[table]
        at = {cell.value: cell.column for cell in sheet[1]}
        for number, row in enumerate(rows, 2):
            for name, text in row.items():
                sheet.cell(number, at[name], text).number_format = "@"
    sheet = book["fasteners"]
    lists = {str(rule.sqref): rule for rule in sheet.data_validations.dataValidation}
    letter = next(cell.column_letter for cell in sheet[1] if cell.value == "position")
    rule = next(rule for cells, rule in lists.items() if cells.startswith(f"{letter}2"))
    assert not rule.showErrorMessage  # a word of one's own may be typed
    offered = re.fullmatch(r"=?(\w+)!\$(\w+)\$1:\$\w+\$(\d+)", rule.formula1)
    assert offered is not None
    cells = [book[offered[1]][f"{offered[2]}{row}"].value for row in range(1, int(offered[3]) + 1)]
    assert cells == list(listed("position"))
    assert "own: and a word of your own" in str(sheet[f"{letter}1"].comment.text)
    book.save(path)
    with as_package(path) as package:
        report = load(database, package, Entry("our own forks", "test"), orders=True)
    assert report["accepted"], report["findings"]
    assert card_of(database)["steps"]


def test_the_page_of_a_template_explains_every_column_and_lists_the_words(tmp_path: Path) -> None:
    template(tmp_path / "all")
    page = (tmp_path / "all" / "README.md").read_text(encoding="utf-8")
    for path in (tmp_path / "all").glob("*.csv"):
        part = page.partition(f"## {path.name}\n")[2].partition("\n## ")[0]
        for name in path.read_text(encoding="utf-8").strip().split(","):
            assert f"\n- `{name}`: " in part, (path.name, name)
    assert ", ".join(listed("subject")) in page
