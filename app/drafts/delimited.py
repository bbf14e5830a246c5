"""Reads a table that is text: pasted cells, or a CSV file with comma, semicolon or tab in one of three encodings."""

import csv
import io
import re
from codecs import BOM_UTF8, BOM_UTF16_BE, BOM_UTF16_LE
from collections import Counter

from app.drafts.grid import GridCell, Grids, TableGrid, trimmed
from app.exchange.shown import shortened
from app.foreign import ForeignFault

MOST_TEXT = 5_000_000
"""Bytes of a text. A table of a manual has a few thousand."""
MOST_CELLS = 100_000
DELIMITERS = "\t;,"
_APART = re.compile(r" {2,}")
_Line = tuple[int, list[str]]


def read_text(content: bytes, name: str) -> Grids:
    """The one grid of a text file. Raises ForeignFault."""
    if len(content) > MOST_TEXT:
        raise ForeignFault(f"it has more than {MOST_TEXT:,} bytes; give the table alone")
    text, remarks = _decoded(content)
    return Grids([read_pasted(text, name)], remarks)


def read_pasted(text: str, name: str) -> TableGrid:
    """The grid of a text that was pasted. Raises ForeignFault for one without columns, or with ragged rows."""
    lines = _split(text)
    width = max((len(cells) for _, cells in lines), default=0)
    if width < 2:
        raise ForeignFault("no columns are found; separate them with tabs, semicolons or commas")
    if len(lines) * width > MOST_CELLS:
        raise ForeignFault(f"it has more than {MOST_CELLS:,} cells")
    usual = Counter(len(cells) for _, cells in lines if len(cells) > 1).most_common(1)[0][0]
    for number, cells in lines:
        if len(cells) not in (1, usual):
            raise ForeignFault(
                f"line {number} has {len(cells)} cells, but most lines have {usual}: {shortened(' | '.join(cells))}. "
                "Give every line the same number, and put a cell that contains the separator in quotes"
            )
    rows = [[_cell(text) for text in [*cells, *[""] * (usual - len(cells))]] for _, cells in lines]
    grid = trimmed(name, rows, [number for number, _ in lines], list(range(usual)))
    if grid is None:
        raise ForeignFault("every cell is empty")
    return grid


def _cell(text: str) -> GridCell:
    stripped = text.strip()
    return GridCell(stripped, "text") if stripped else GridCell()


def _decoded(content: bytes) -> tuple[str, list[str]]:
    for mark, encoding in ((BOM_UTF8, "utf-8-sig"), (BOM_UTF16_LE, "utf-16"), (BOM_UTF16_BE, "utf-16")):
        if content.startswith(mark):
            return _strict(content, encoding), []
    if (guessed := _utf_16_without_mark(content)) is not None:
        return _strict(content, guessed), []
    if b"\x00" in content:
        raise ForeignFault("it is not a text, a CSV file or an xlsx workbook")
    try:
        return content.decode(), []
    except UnicodeDecodeError:
        text = _strict(content, "windows-1252")
    odd = sorted({each for each in text if not each.isascii()})
    return text, [f"It is not UTF-8, so it is read as Windows-1252. Check these characters: {' '.join(odd[:20])}"]


def _strict(content: bytes, encoding: str) -> str:
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError:
        raise ForeignFault("its characters are not UTF-8, UTF-16 or Windows-1252; save it as UTF-8") from None
    if "\x00" in text:
        raise ForeignFault("it is not a text, a CSV file or an xlsx workbook")
    return text


def _utf_16_without_mark(content: bytes) -> str | None:
    """The byte order of a UTF-16 text that is mostly ASCII: every other byte is zero."""
    start = content[:200]
    zeros = start[1::2].count(0), start[::2].count(0)
    if len(start) >= 4 and zeros[0] > len(start) * 0.4 and not zeros[1]:
        return "utf-16-le"
    return "utf-16-be" if len(start) >= 4 and zeros[1] > len(start) * 0.4 and not zeros[0] else None


def _split(text: str) -> list[_Line]:
    """The lines that are not blank, with their numbers, split by the separator that gives all of them equal lengths."""
    best: list[_Line] = []
    faults: list[str] = []
    for delimiter in DELIMITERS:
        try:
            lines = _records(text, delimiter)
        except csv.Error as error:
            faults += [f"{error}; look at its quotation marks"] if delimiter in text else []
            continue
        lengths = Counter(len(cells) for _, cells in lines)
        lengths.pop(1, None)
        if len(lengths) == 1 and sum(lengths.values()) * 2 > len(lines):
            return lines
        if lengths and (not best or _evenness(lines) > _evenness(best)):
            best = lines
    if best:
        return best
    if faults:
        raise ForeignFault(faults[0])
    return [(number, _APART.split(line.strip())) for number, line in enumerate(text.splitlines(), 1) if line.strip()]


def _evenness(lines: list[_Line]) -> int:
    """How many lines have the most usual number of cells, of those that have several."""
    return Counter(len(cells) for _, cells in lines if len(cells) > 1).most_common(1)[0][1]


def _records(text: str, delimiter: str) -> list[_Line]:
    """The lines that are not blank. Raises csv.Error, which names the line."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    found: list[_Line] = []
    line = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                found.append((line, cells))
            line = reader.line_num + 1
    except csv.Error as error:
        raise csv.Error(f"line {line}: {error}") from None
    return found
