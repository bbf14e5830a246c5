"""Cells as manuals and spreadsheets have them, against a list of readings made by hand: none is read wrongly.

`odd_cells.tsv` says what each text means: `7.3`, `6..7` (a range), `..8` (at most), `5..` (at least), `7 [6.5..7.5]`
(with limits), `~` (about), `<` (the limit itself left out), `none` (no figure) or `ask` (more than one reading).
"""

import csv
from pathlib import Path

import pytest

from app.drafts.figures import Figure, NoFigure, Unclear, read_figure

LIST = Path(__file__).with_name("odd_cells.tsv")


def listed() -> list[dict[str, str]]:
    with LIST.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream, delimiter="\t", quoting=csv.QUOTE_NONE))


def plain(text: str) -> str:
    """The text of a line of the list: characters that cannot be seen are written as escapes there."""
    return text.replace("\\n", "\n").encode("ascii", "backslashreplace").decode("unicode_escape")


def as_listed(text: str, kind: str, marks: str) -> str:
    found = read_figure(plain(text), kind or None, marks)  # type: ignore[arg-type]
    if isinstance(found, NoFigure):
        return "none"
    if isinstance(found, Unclear):
        return "ask"
    assert isinstance(found, Figure)
    limits = f"{found.low or ''}..{found.high or ''}"
    said = limits if found.value is None else found.value + ("" if limits == ".." else f" [{limits}]")
    unit = "" if found.unit is None else f" {found.unit.name}"
    return ("~" if found.about else "") + ("<" if found.strict else "") + said + unit


def test_the_list_is_long_enough() -> None:
    assert len(listed()) >= 300


@pytest.mark.parametrize("kind", ["torque", "pressure", "volume", "length", "mass", "percent", ""])
def test_no_cell_is_read_wrongly(kind: str) -> None:
    lines = [line for line in listed() if line["kind"] == kind]
    read = {
        (line["text"], line["marks"]): (line["reading"], as_listed(line["text"], kind, line["marks"])) for line in lines
    }
    assert {key: pair for key, pair in read.items() if pair[0] != pair[1]} == {}
