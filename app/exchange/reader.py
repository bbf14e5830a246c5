"""Parses the CSV files of a package line by line and reports each fault with its place and its fix.

Never raises for content. Columns may come in any order, and optional ones may be absent. A UTF-8 byte order mark and
CRLF, as spreadsheets write them, are accepted. Memory holds one batch of rows, and the ids of a table whose ids do not
ascend.
"""

import csv
import zipfile
import zlib
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from typing import Any

from rapidfuzz import process

from app.catalogue.columns import Column, Unreadable
from app.catalogue.tables import Row
from app.exchange.faults import found
from app.exchange.meant import how_to_write
from app.exchange.package import File
from app.exchange.shown import letter, shortened
from app.json_types import JsonObject
from app.rules.checks import reading
from app.rules.finding import Finding

BATCH = 5000
MOST_LINE = 1_000_000  # bytes; about fifty cells of at most 2,000 characters
MOST_FAULTS = 1000  # faults in one file before reading stops
MOST_CACHED = 20_000  # texts of one column whose values are cached

csv.field_size_limit(MOST_LINE + 1)


@dataclass(frozen=True, slots=True)
class Batch:
    """Rows of one table, their line numbers (the header is line 1), and the columns of the file.

    A column that the file lacks is None in a row, just like an empty cell. `doubtful` are the ids of the rows that are
    partly unreadable.
    """

    table: type[Row]
    lines: list[int]
    rows: list[Row]
    columns: frozenset[str]
    doubtful: set[str] = field(default_factory=set)


class _GivenUp(Exception):
    """The rest of the file cannot be read; the finding says why."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.text)
        self.finding = finding


Advance = Callable[[int], None]


def read_file(file: File, advance: Advance | None = None, *, whole_rows: bool = True) -> Iterator[Batch | Finding]:
    """The rows of one file in batches, with the findings between them. `advance` gets the number of bytes read.

    A file that changes stored rows (`whole_rows=False`) may lack any column but the id; see `missing_columns`.
    """
    return _Reader(file, advance, whole_rows).read()


def missing_columns(file: File, given: Collection[str]) -> list[Finding]:
    """One finding for each column that a new row requires and the file lacks."""
    columns = file.table.columns()
    return [
        _column_missing(file, column) for column in columns.values() if column.required and column.name not in given
    ]


def _column_missing(file: File, column: Column) -> Finding:
    text = f"{file.name} line 1: the column {column.name} is missing ({column.meaning})"
    return found(reading.COLUMN_MISSING, text, table=file.table.table, row=1, column=column.name)


def header(file: File) -> list[str]:
    """The column names of a file whose header was read without a fault."""
    return next(_Records(file, None), (1, []))[1]


def ids(file: File, upto: int | None = None) -> Iterator[tuple[int, str]]:
    """(line, id) of the rows before line `upto`, without parsing their other cells."""
    records = _Records(file, None)
    names = next(records, (1, []))[1]
    if "id" not in names:
        return
    at = names.index("id")
    for line, cells in records:
        if upto is not None and line >= upto:
            return
        if len(cells) > at:
            yield line, cells[at]


class _Records:
    """The records of a file as (line, cells), without blank lines. Raises _GivenUp."""

    def __init__(self, file: File, advance: Advance | None) -> None:
        self.file = file
        self.advance = advance
        self.line = 0
        self.start = 1
        self._reader = csv.reader(self._lines(), strict=True)

    def __iter__(self) -> Iterator[tuple[int, list[str]]]:
        return self

    def __next__(self) -> tuple[int, list[str]]:
        while True:
            self.start = self.line + 1
            try:
                cells = next(self._reader)
            except csv.Error as error:
                text = f"{self.file.name} line {self.start} is not CSV: {error}"
                raise _GivenUp(self._fault(reading.CSV_BROKEN, text)) from None
            except (OSError, EOFError, zipfile.BadZipFile, zlib.error) as error:
                text = f"{self.file.name} cannot be read after line {self.line}: {shortened(str(error))}"
                raise _GivenUp(self._fault(reading.PACKAGE_UNREADABLE, text)) from None
            if any(cells):
                return self.start, cells

    def _lines(self) -> Iterator[str]:
        advance = self.advance
        with self.file.open() as stream:
            while raw := stream.readline(MOST_LINE + 1):
                self.line += 1
                if self.line == 1:
                    raw = raw.removeprefix(b"\xef\xbb\xbf")
                if len(raw) > MOST_LINE:
                    raise _GivenUp(self._too_long(raw))
                if advance is not None:
                    advance(len(raw))
                if raw.endswith(b"\r\n"):
                    raw = raw[:-2] + b"\n"
                try:
                    yield raw.decode()
                except UnicodeDecodeError as error:
                    text = f"{self.file.name} line {self.line} is not UTF-8 text (byte {error.start + 1})"
                    raise _GivenUp(self._fault(reading.ENCODING_WRONG, text)) from None

    def _too_long(self, raw: bytes) -> Finding:
        before = next(csv.reader([raw.decode(errors="replace")]), [])
        text = f"{self.file.name} line {self.line}, column {letter(len(before) - 1)}: more than {MOST_LINE:,} bytes"
        return self._fault(reading.LINE_TOO_LONG, text, column=letter(len(before) - 1))

    def _fault(self, rule: Any, text: str, column: str | None = None) -> Finding:
        return found(rule, text, table=self.file.table.table, row=max(self.start, 1), column=column)


class _Ids:
    """Finds duplicate ids. Stores nothing while ids ascend, as a canonical package writes them."""

    def __init__(self, file: File) -> None:
        self.file = file
        self.last = ""
        self.lines: dict[str, int] | None = None

    def first(self, id: str, line: int) -> int | None:
        """The line that already has this id."""
        if self.lines is None:
            if id > self.last:
                self.last = id
                return None
            self.lines = {earlier: at for at, earlier in ids(self.file, upto=line)}
        earlier_line = self.lines.setdefault(id, line)
        return None if earlier_line == line else earlier_line


@dataclass(slots=True)
class _Cell:
    """How one column of the current file is read."""

    position: int
    column: Column
    known: dict[str, object]


class _Reader:
    """One file being read."""

    def __init__(self, file: File, advance: Advance | None, whole_rows: bool) -> None:
        self.file = file
        self.table = file.table
        self.whole_rows = whole_rows
        self.faults = 0
        self.records = _Records(file, advance)
        self.ids = _Ids(file)
        self.columns = self.table.columns()
        self.empty: JsonObject = dict.fromkeys(self.columns)
        self.required = [name for name, column in self.columns.items() if column.required]

    def read(self) -> Iterator[Batch | Finding]:
        try:
            try:
                _, header = next(self.records)
            except StopIteration:
                yield self._fault(reading.FILE_EMPTY, f"{self.file.name} is empty", row=1)
                return
            wrong = list(self._header(header))
            if wrong:
                yield from wrong
                return
            yield from self._rows(header)
        except _GivenUp as given_up:
            yield given_up.finding

    def _rows(self, header: list[str]) -> Iterator[Batch | Finding]:
        cells = [_Cell(at, self.columns[name], {}) for at, name in enumerate(header)]
        given = frozenset(header)
        self.required = [name for name in self.required if name in given]
        batch = Batch(self.table, [], [], given)
        for line, record in self.records:
            read, findings = self._row(line, record, cells)
            if read is not None:
                batch.lines.append(line)
                batch.rows.append(read)
                if findings:
                    batch.doubtful.add(read.id)
                if len(batch.rows) == BATCH:
                    yield batch
                    batch = Batch(self.table, [], [], given)
            yield from findings
            self.faults += len(findings)
            if findings and self.faults >= MOST_FAULTS:
                text = f"{self.file.name}: {self.faults} faults up to line {line}; the rest was not read"
                raise _GivenUp(self._fault(reading.FINDINGS_CUT, text, row=line))
        if batch.rows:
            yield batch

    def _row(self, line: int, record: list[str], cells: list[_Cell]) -> tuple[Row | None, list[Finding]]:
        """The row of a line and its faults. A row with unreadable cells has them empty, so that it can be judged; there
        is no row if a cell that every row must have cannot be read."""
        if len(record) != len(cells):
            text = f"{self.file.name} line {line} has {len(record)} cells; the header has {len(cells)} columns"
            return None, [self._fault(reading.CELL_COUNT_WRONG, text, row=line)]
        fields = self.empty.copy()
        findings: list[Finding] = []
        for cell, text in zip(cells, record, strict=True):
            if not text:
                continue
            known = cell.known
            if text in known:
                fields[cell.column.name] = known[text]
                continue
            try:
                value = cell.column.kind.enter(text)
            except Unreadable as wrong:
                findings.append(self._unreadable(line, cell, text, str(wrong)))
                continue
            if len(known) > MOST_CACHED:
                known.clear()
            fields[cell.column.name] = known[text] = value
        unreadable = {finding.column for finding in findings}
        for name in self.required:
            if fields[name] is None and name not in unreadable:
                findings.append(self._missing(line, name, cells))
        if any(fields[name] is None for name in self.required):
            return None, findings
        earlier = self.ids.first(fields["id"], line)
        if earlier is not None:
            return None, [*findings, self._twice(line, earlier, record, fields["id"])]
        return self.table.from_parsed(fields), findings

    def _header(self, header: list[str]) -> Iterator[Finding]:
        if len(header) == 1 and any(mark in header[0] for mark in ";\t"):
            text = f"{self.file.name} line 1: the columns are separated by semicolons or tabs"
            yield self._fault(reading.COLUMN_UNKNOWN, text, row=1, fix="save the file with commas between the columns")
            return
        absent = [name for name in self.columns if name not in header]
        for at, name in enumerate(header):
            if name not in self.columns:
                near = process.extractOne(name.strip().lower(), absent, score_cutoff=60)
                fix = f"call it {near[0]}" if near else None
                where = f"{self.file.name} line 1, column {letter(at)}"
                text = f"{where}: {self.table.table} has no column “{shortened(name)}”"
                yield self._fault(reading.COLUMN_UNKNOWN, text, row=1, column=shortened(name), fix=fix)
            elif name in header[:at]:
                text = f"{self.file.name} line 1, column {letter(at)}: {name} is in the header twice"
                yield self._fault(reading.COLUMN_TWICE, text, row=1, column=name)
        for name in self.required if self.whole_rows else ("id",):
            if name not in header:
                yield _column_missing(self.file, self.columns[name])

    def _unreadable(self, line: int, cell: _Cell, text: str, wrong: str) -> Finding:
        name = cell.column.name
        where = f"{self.file.name} line {line}, column {letter(cell.position)} ({name})"
        return self._fault(
            reading.CELL_UNREADABLE, f"{where}: {wrong}", row=line, column=name, value=text,
            fix=how_to_write(cell.column, text),
        )  # fmt: skip

    def _missing(self, line: int, name: str, cells: list[_Cell]) -> Finding:
        at = next(cell.position for cell in cells if cell.column.name == name)
        text = f"{self.file.name} line {line}, column {letter(at)} ({name}) is empty: {self.columns[name].meaning}"
        return self._fault(reading.CELL_MISSING, text, row=line, column=name)

    def _twice(self, line: int, earlier: int, record: list[str], id: str) -> Finding:
        first = next(cells for at, cells in _Records(self.file, None) if at == earlier)
        text = f"{self.file.name} line {line}: the id {id} is already used in line {earlier}"
        fix = "give this row its own id"
        if first == record:
            text, fix = f"{text}, in the same row", f"delete line {line}"
        return self._fault(reading.ID_TWICE, text, row=line, column="id", value=id, id=id, fix=fix)

    def _fault(self, rule: Any, text: str, **where: Any) -> Finding:
        return found(rule, text, table=self.table.table, **where)
