"""Public standards as tables, read once from data/; each row names its standard and how it was verified.

Raises `NotFound` for an unknown table. Values are facts of the standards; no text of a standard is reproduced.
"""

import csv
from functools import cache
from importlib.resources import files
from typing import NotRequired

from rapidfuzz import fuzz, process
from typing_extensions import TypedDict

from app.errors import NotFound
from app.standards.descriptions import DESCRIPTIONS, DataColumn, Description

StandardRow = dict[str, int | float | str]


class ColumnAnswer(TypedDict):
    """One column of a table."""

    name: str
    meaning: str
    type: str
    unit: NotRequired[str]


class TableDescription(TypedDict):
    """One table without its rows."""

    name: str
    title: str
    standard: str
    columns: list[ColumnAnswer]
    rows_total: int


class TableAnswer(TableDescription):
    """One table with its rows: every cell as the digits or words of the standard; one that is empty there is absent."""

    rows: list[dict[str, str]]


_BY_NAME = {description.name: description for description in DESCRIPTIONS}


def tables() -> list[TableDescription]:
    """All tables with their descriptions, in a fixed order."""
    return [_description(each) for each in DESCRIPTIONS]


def table(name: str) -> TableAnswer:
    """One complete table. Raises NotFound with the most similar names as candidates."""
    if name not in _BY_NAME:
        near = process.extract(name[:80], _BY_NAME.keys(), scorer=fuzz.WRatio, score_cutoff=60, limit=3)
        candidates = [{"id": each, "score": round(score / 100, 3)} for each, score, _ in near]
        known = ", ".join(_BY_NAME)
        raise NotFound(f"there is no such table of standards; the tables are {known}", candidates=candidates)
    return TableAnswer(**_description(_BY_NAME[name]), rows=_cells(name))


@cache
def rows(name: str) -> tuple[StandardRow, ...]:
    """The typed rows of a table that is known to exist. Do not change them. Raises ValueError for an invalid file."""
    columns = {column.name: column for column in _BY_NAME[name].columns}
    return tuple({name: _cell(columns[name], text) for name, text in row.items()} for row in _cells(name))


def _cells(name: str) -> list[dict[str, str]]:
    description = _BY_NAME[name]
    text = files("app.standards").joinpath("data", f"{name}.csv").read_text(encoding="utf-8")
    reader = csv.DictReader(text.splitlines(), strict=True)
    expected = [column.name for column in description.columns]
    if reader.fieldnames != expected:
        raise ValueError(f"columns of {name} are {reader.fieldnames}, described are {expected}")
    return [{name: cell for name, cell in line.items() if cell != ""} for line in reader]


def _cell(column: DataColumn, text: str) -> int | float | str:
    if column.kind == "text":
        return text
    return int(text) if text.lstrip("-").isdigit() else float(text)


def _description(description: Description) -> TableDescription:
    return TableDescription(
        name=description.name,
        title=description.title,
        standard=description.standard,
        columns=[_column(column) for column in description.columns],
        rows_total=len(rows(description.name)),
    )


def _column(column: DataColumn) -> ColumnAnswer:
    answer = ColumnAnswer(name=column.name, meaning=column.meaning, type=column.kind)
    if column.unit is not None:
        answer["unit"] = column.unit
    return answer
