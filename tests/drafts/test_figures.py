"""Cells as manuals and spreadsheets have them, against a list of readings made by hand: none is read wrongly.

`odd_cells.tsv` says what each text means: `7.3`, `6..7` (a range), `..8` (at most), `5..` (at least), `7 [6.5..7.5]`
(with limits), `~` (about), `<` (the limit itself left out), `none` (no figure) or `ask` (more than one reading).
"""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.drafts.figures import CellFigure, NoFigure, Unclear, marks_of, read_figure

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
    assert isinstance(found, CellFigure)
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


CHARACTERS = st.text(st.sampled_from("0123456789.,-–±+/() <>≤≥~¹²*maxinN·mpsikg%\"'\u00a0"), max_size=14)


@given(CHARACTERS, st.sampled_from(["torque", "length", None]))
def test_no_digit_of_a_figure_is_made_up(text: str, kind: str | None) -> None:
    """What is read has the digits of the text in their order; only limits around a tolerance are computed."""
    found = read_figure(text, kind)
    if isinstance(found, CellFigure) and "±" not in text and not ("+" in text and "-" in text):
        for each in (found.value, found.low, found.high):
            digits = "" if each is None else each.lstrip("-").removeprefix("0.").replace(".", "")
            assert digits in "".join(character for character in text if character.isdecimal())


@given(st.text(max_size=30))
def test_any_text_is_read_or_asked_about(text: str) -> None:
    assert isinstance(read_figure(text, "torque"), CellFigure | NoFigure | Unclear)


def test_a_question_offers_the_readings_that_are_possible() -> None:
    found = read_figure("1,375", "torque")
    assert isinstance(found, Unclear)
    assert found.offers == ("1.375", "1375")


@pytest.mark.parametrize(
    ("texts", "marks"),
    [
        (["7,3", "8"], "comma"), (["7.3 N·m", "8"], "point"), (["7.3", "7,3"], "both"),
        (["1.375", "1,375", "x"], "unknown"),
        (["0.375"], "point"), ([".5"], "point"), ([], "unknown"),
    ],
)  # fmt: skip
def test_the_decimal_mark_of_a_table(texts: list[str], marks: str) -> None:
    assert marks_of(texts) == marks
