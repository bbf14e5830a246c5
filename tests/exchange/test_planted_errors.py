"""A package with thirty slips is fixed by an editor who follows the messages and knows nothing else.

The editor reads the text that `legwork check` prints. It has the pages of the sources, like anyone who types a
catalogue, and opens one only if a message names file, line and column and says to compare with it."""

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from app.exchange.loading import check
from app.exchange.reports import as_text
from tests.exchange.planted import Package, kinds, plant, true_package, write

FINDING = re.compile(
    r"^(?P<severity>reject|warn): (?P<file>\w+)\.csv line (?P<line>\d+)"
    r"(?:, column (?P<letter>[A-Z]+)(?: \((?P<column>\w+)\))?)?:? (?P<text>.*)\n    (?P<rule>[\w-]+): (?P<fix>.*)$",
    re.M,
)
ROUNDS = 12


def at(letters: str) -> int:
    """The position of a spreadsheet's column, counted from 0."""
    position = 0
    for letter in letters:
        position = position * 26 + ord(letter) - 64
    return position - 1


@dataclass
class Editor:
    """Fixes the package: holds a folder of files, the pages of the sources, and the list of fixes made."""

    folder: Path
    pages: Package
    done: Counter[str] = field(default_factory=Counter)

    def read(self, name: str) -> list[list[str]]:
        text = (self.folder / f"{name}.csv").read_bytes().decode("utf-8-sig")
        return list(csv.reader(io.StringIO(text, newline="")))

    def save(self, name: str, table: list[list[str]]) -> None:
        written = io.StringIO(newline="")
        csv.writer(written, lineterminator="\n").writerows(table)
        (self.folder / f"{name}.csv").write_bytes(written.getvalue().encode())

    def page(self, name: str, id: str, column: str) -> str | None:
        """The text of the page there, or None if no page mentions such a row."""
        table = self.pages[name]
        row = next((row for row in table if row[0] == id), None)
        return None if row is None else row[table[0].index(column)]

    def follow(self, message: re.Match[str]) -> str:
        """Does what one message says; returns which kind of fix it was."""
        name, fix = message["file"], message["fix"]
        if "CSV UTF-8" in fix:
            raw = (self.folder / f"{name}.csv").read_bytes().decode("latin-1")
            (self.folder / f"{name}.csv").write_bytes(raw.encode())
            return "file"
        if "commas between the columns" in fix:
            text = (self.folder / f"{name}.csv").read_text()
            self.save(name, list(csv.reader(io.StringIO(text, newline=""), delimiter=";")))
            return "file"
        table, line = self.read(name), int(message["line"]) - 1
        if called := re.fullmatch(r"call it (\w+)", fix):
            table[0][at(message["letter"])] = called[1]
            way = "heading"
        elif taken := re.fullmatch(r"delete line (\d+)", fix):
            del table[int(taken[1]) - 1]
            way = "line"
        else:
            way = self._cell(message, name, table, line)
        self.save(name, table)
        return way

    def _cell(self, message: re.Match[str], name: str, table: list[list[str]], line: int) -> str:
        fix = message["fix"]
        assert message["letter"], f"no column is named: {message[0]}"
        column, position = message["column"], at(message["letter"])
        assert table[0][position] == column
        if written := re.fullmatch(r"write (?!what |the )(\S.*?)(?:(?:;| if) .*)?", fix):
            table[line][position] = written[1]
            return "as written"
        assert re.search(r"page|source|figure", fix), f"nothing says what to do: {message[0]}"
        said = self.page(name, table[line][0], column)
        if said is None:
            del table[line]
            return "on no page"
        if table[line][position] != said:
            table[line][position] = said
            return "page"
        other = self._other(message, name, table, line, column)
        assert other is not None, f"the page says just that: {message[0]}"
        return other

    def _other(self, message: re.Match[str], name: str, table: list[list[str]], line: int, column: str) -> str | None:
        """The slip is in another cell that the message mentions: a column or an id named in its text or fix."""
        text = f"{message['text']} {message['fix']}"
        rows = [line] + [n for n, row in enumerate(table) if n and n != line and re.search(rf"\b{row[0]}\b", text)]
        for row in rows:
            named = [*(each for each in table[0] if re.search(rf"\b{each}\b", text)), column]
            if "unit" in text:
                named += [each for each in table[0] if each.endswith("unit")]
            for each in named:
                said = self.page(name, table[row][0], each)
                if said is None:
                    del table[row]
                    return "on no page"
                if table[row][table[0].index(each)] != said:
                    table[row][table[0].index(each)] = said
                    return "page, another cell"
        return None


def fixed(editor: Editor) -> str:
    """Checks and follows messages until nothing is left or none can be followed; returns the last text."""
    said = ""
    for _ in range(ROUNDS):
        said = as_text(check(editor.folder))
        messages = list(FINDING.finditer(said))
        if not messages:
            return said
        # From the end, so that a removed line moves none of the others.
        rejects = [each for each in messages if each["severity"] == "reject"] or messages
        for message in sorted(rejects, key=lambda each: (each["file"], int(each["line"])), reverse=True):
            editor.done[editor.follow(message)] += 1
    return said


def test_thirty_planted_errors_are_fixed_by_the_messages_alone(tmp_path: Path) -> None:
    truth, typed = true_package(), true_package()
    plant(typed)
    assert sum(len(table) - 1 for table in truth.values()) >= 200
    assert len(kinds()) >= 30
    assert len(set(kinds())) >= 10
    write(typed, tmp_path)
    first = as_text(check(tmp_path))
    assert "Refused" in first
    editor = Editor(tmp_path, truth)
    assert "0 faults, 0 warnings" in fixed(editor)
    assert {name: editor.read(name) for name in truth} == truth
    assert sum(editor.done.values()) <= len(kinds()), "one slip makes one message to follow"
    assert sum(editor.done[way] for way in ("file", "heading", "line", "as written")) >= len(kinds()) // 2 - 1
