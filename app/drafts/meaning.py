"""Works out the shape of a grid, its header rows and its columns. Asks about every word it does not know."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from app.drafts.desk import LEAVE_OUT, Desk
from app.drafts.figures import tidy
from app.drafts.grid import GridCell, TableGrid
from app.drafts.headers import DIMENSIONS, LIMITS, ColumnMeaning, heading, read_header
from app.drafts.shapes import SHAPES, TableShape

MOST_HEADER_ROWS = 3
AS_ABOVE, FOR_ALL = "as above", "all"
"""Answers to the question what an empty travel, wheel or year means."""
_FOOTNOTE = re.compile(r"(?:[*†‡§]|[¹²³⁴⁵⁶⁷⁸⁹]|[0-9]{1,2}\)|\([0-9]\)|notes?\b|n\.b\.)", re.IGNORECASE)
_SIDE = re.compile(
    r"(?:spring|damper|air|coil|left|right|left-hand|right-hand|drive|non-drive|brake|both)[ -](?:sides?|legs?)",
    re.IGNORECASE,
)

Headers = list[tuple[str, ...]]


@dataclass(slots=True)
class Meaning:
    """A grid that is understood: the columns that are read, by position, and its first row below the headers."""

    shape: TableShape
    columns: dict[int, ColumnMeaning]
    first_row: int


@dataclass(frozen=True, slots=True)
class Placed:
    """A cell with its place and the column it is in."""

    cell: GridCell
    place: str
    column: ColumnMeaning


@dataclass(frozen=True, slots=True)
class Record:
    """One line of a grid for one scope: cells by field, and the scope from the headers.

    `section` is the line of its own above it; `waits` says that the meaning of that line is open. `again` holds the
    cells that give a field once more, in another unit.
    """

    grid: str
    shape: TableShape
    cells: dict[str, Placed]
    at: dict[str, str]
    section: str | None
    waits: bool
    place: str
    again: dict[str, list[Placed]]


def understand(grid: TableGrid, desk: Desk) -> Meaning | None:
    """The meaning of a grid; None while something about it is open, or if it is to be left out."""
    start = 0
    captions = []
    while start < len(grid.rows) - 1 and (caption := only_text(grid.rows[start])) is not None:
        captions.append(caption)
        start += 1
    options = [
        (count, _headers(grid, start, count))
        for count in range(1, MOST_HEADER_ROWS + 1)
        if start + count < len(grid.rows)
    ]
    if not options:
        desk.remark("there is no row below the headers; it is left out", grid.name)
        return None
    figures_are = desk.answers.get(_figures_in(grid))
    readings = {
        name: max(
            (_Reading(shape, count, headers, desk, figures_are, captions) for count, headers in options),
            key=lambda each: each.score,
        )
        for name, shape in SHAPES.items()
    }
    chosen = _chosen(grid, readings, desk)
    if chosen is None or not _is_settled(grid, chosen, start, desk):
        return None
    columns = {at: column for at, column in enumerate(chosen.columns) if column is not None and not column.is_left_out}
    return Meaning(chosen.shape, columns, start + chosen.count)


class _Reading:
    """A grid read as one shape with a number of header rows."""

    def __init__(
        self, shape: TableShape, count: int, headers: Headers, desk: Desk, figures_are: str | None, captions: list[str]
    ) -> None:
        self.shape = shape
        self.count = count
        self.columns = [read_header(shape, parts, desk.answers, figures_are) if parts else None for parts in headers]
        given = [each for each in self.columns if each is not None and not each.is_left_out]
        names = {each.field.name for each in given if each.field is not None}
        names |= {shape.main} if names & {*LIMITS} else set()
        words = shape.by_name[shape.main].names
        is_captioned = any(word in caption.casefold() for caption in captions for word in words)
        self.missing = [name for name in shape.needed if name not in names]
        self.is_assumed = any(each.is_assumed for each in given) and not is_captioned
        unknown = sum(len(each.unknown) + len(each.bare) for each in given)
        informative = len(given) + sum(each.unit is not None for each in given)
        self.score = (-len(self.missing), -self.is_assumed, -unknown, len(names), informative, -count)


def _chosen(grid: TableGrid, readings: dict[str, _Reading], desk: Desk) -> _Reading | None:
    """The shape of a grid: as answered, or the only one whose columns are all there."""
    key = f"shape of {grid.name}"
    answer = desk.answers.get(key)
    if answer == LEAVE_OUT:
        return None
    if answer in readings:
        reading = readings[answer]
        if reading.missing:
            _ask_headings(reading, grid.name, desk)
        return reading
    if answer is not None:
        desk.refuse(key, "there is no such shape", [*SHAPES, LEAVE_OUT], grid.name)
        return None
    whole = sorted((each for each in readings.values() if not each.missing), key=lambda each: each.score, reverse=True)
    sure = [each for each in whole if not each.is_assumed]
    if sure or len(whole) == 1:
        chosen = (sure or whole)[0]
        desk.remark(f"it is read as {chosen.shape.meaning}", grid.name)
        return chosen
    offers = [each.shape.name for each in whole] or [*readings]
    desk.refuse(key, "what does this table hold?", [*offers, LEAVE_OUT], grid.name)
    return None


def _is_settled(grid: TableGrid, reading: _Reading, start: int, desk: Desk) -> bool:
    """Whether every heading is understood and no two columns say the same; asks about the rest."""
    bare = [text for each in reading.columns if each is not None for text in each.bare]
    if bare:
        desk.answer(
            _figures_in(grid), f"what are the figures {', '.join(dict.fromkeys(bare))} in the headings?",
            ["travel", "wheel_size"], grid.name,
        )  # fmt: skip
    is_clear = _ask_headings(reading, grid.name, desk) and not bare
    seen: dict[tuple[object, ...], ColumnMeaning] = {}
    for at, column in enumerate(reading.columns):
        if column is None:
            if any(row[at].text for row in grid.rows[start + reading.count :]):
                desk.remark("a column without a header is left out", grid.place(start, at))
            continue
        if column.is_left_out or column.field is None:
            continue
        key = column.field.name, *sorted(column.at.items())
        if key in seen and column.unit not in (None, seen[key].unit):
            column.is_again = True
            continue
        if key in seen:
            why = f"it is read as {column.field.name}, like {seen[key].header}; which of them is it?"
            desk.refuse(heading(column.header), why, [*reading.shape.by_name, LEAVE_OUT], grid.place(start, at))
            is_clear = False
        seen[key] = column
    return is_clear and not reading.missing


def _ask_headings(reading: _Reading, place: str, desk: Desk) -> bool:
    """Ask about each heading that says nothing known; True if there is none."""
    unknown = [text for each in reading.columns if each is not None for text in each.unknown]
    for text in unknown:
        desk.refuse(heading(text), "what does this column hold?", [*reading.shape.by_name, LEAVE_OUT], place)
    if reading.missing and not unknown:
        why = f"no column is read as {' or '.join(reading.missing)}; rename its heading"
        desk.refuse(f"shape of {place}", why, [*SHAPES, LEAVE_OUT], place)
    return not unknown


def _figures_in(grid: TableGrid) -> str:
    return f"figures in the headings of {grid.name}"


def _headers(grid: TableGrid, start: int, count: int) -> Headers:
    """The words above each column. A heading above several columns counts for each of them."""
    rows = [[tidy(cell.text) for cell in row] for row in grid.rows[start : start + count]]
    for above, below in pairwise(rows):
        for at in range(1, len(above)):
            if not above[at] and below[at]:
                above[at] = above[at - 1]
    return [tuple(dict.fromkeys(row[at] for row in rows if row[at])) for at in range(len(grid.rows[0]))]


def only_text(row: list[GridCell]) -> str | None:
    """The text of a row that has one cell, or one area merged across it; None for any other row."""
    texts = {cell.text for cell in row if cell.text}
    filled = [cell for cell in row if cell.text]
    is_one = len(texts) == 1 and len(row) > 1 and (len(filled) == 1 or all(cell.merged for cell in filled))
    return tidy(texts.pop()) if is_one and filled[0].kind == "text" else None


def records(grid: TableGrid, meaning: Meaning, desk: Desk) -> Iterator[Record]:
    """The rows below the headers as records, one for each scope that the headers name."""
    base = {at: column for at, column in meaning.columns.items() if not column.at and not column.is_again}
    spread: dict[tuple[tuple[str, str], ...], list[int]] = {}
    for at, column in meaning.columns.items():
        if column.at and not column.is_again:
            spread.setdefault(tuple(sorted(column.at.items())), []).append(at)
    section, waits = None, False
    above: dict[int, GridCell] = {}
    for number in range(meaning.first_row, len(grid.rows)):
        row = grid.rows[number]
        if (text := only_text(row)) is not None:
            place = grid.place(number, 0)
            if _FOOTNOTE.match(text):
                desk.remark(f"a footnote, which is not stored: {text}", place)
            else:
                section, waits = _section(text, place, desk)
            continue

        row = _filled_down(row, base, above, grid, desk)

        def placed(at: int, row: list[GridCell] = row, number: int = number) -> Placed:
            return Placed(row[at], grid.place(number, at), meaning.columns[at])

        own = {column.field.name: placed(at) for at, column in base.items() if column.field is not None}
        for scope, places in spread.items() or [((), [])]:
            cells = dict(own)
            for at in places:
                field = meaning.columns[at].field
                assert field is not None
                cells[field.name] = placed(at)
            again: dict[str, list[Placed]] = {}
            for at, column in meaning.columns.items():
                if column.is_again and column.field is not None and column.at == dict(scope):
                    again.setdefault(column.field.name, []).append(placed(at))
            where = cells[meaning.shape.main].place if meaning.shape.main in cells else grid.place(number, 0)
            yield Record(grid.name, meaning.shape, cells, dict(scope), section, waits, where, again)


def empty_scope(name: str, grid: str) -> str:
    """The key of the question what empty cells in a column of travels, wheels or years mean."""
    return f"empty {name} in {grid}"


def _filled_down(
    row: list[GridCell], columns: dict[int, ColumnMeaning], above: dict[int, GridCell], grid: TableGrid, desk: Desk
) -> list[GridCell]:
    """The row with the cell above in place of an empty travel, wheel or year, if the answer says so."""
    filled = list(row)
    for at, column in columns.items():
        if column.field is not None and column.field.name in DIMENSIONS:
            if row[at].text:
                above[at] = row[at]
            elif at in above and desk.answers.get(empty_scope(column.field.name, grid.name)) == AS_ABOVE:
                filled[at] = above[at]
    return filled


def _section(text: str, place: str, desk: Desk) -> tuple[str | None, bool]:
    """The side that a line of its own gives the rows below it, and whether a question about it is open."""
    if _SIDE.fullmatch(text):
        return text, False
    why = "a line of its own: is it the side of the rows below it, or nothing to store?"
    answer = desk.answer(f"line {text}", why, ["spring side", "damper side", LEAVE_OUT], place)
    return None if answer == LEAVE_OUT else answer, answer is None
