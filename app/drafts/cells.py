"""Reads the cells of a record, each for its field. An unclear cell becomes a question, and the record waits."""

import re
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NoReturn

from app.catalogue.columns import Unreadable
from app.catalogue.words import meant
from app.drafts.desk import LEAVE_OUT, Desk
from app.drafts.figures import CellFigure, DecimalMarks, NoFigure, Unclear, agree, is_no_figure, read_figure, tidy
from app.drafts.headers import ColumnMeaning
from app.drafts.meaning import AS_ABOVE, FOR_ALL, Placed, Record, empty_scope
from app.drafts.shapes import GridField
from app.errors import Invalid
from app.units.measure import parse_wheel_size
from app.units.table import Unit, find

_DITTO = frozenset({'"', "''", "″", "〃", "“", "”", "ditto", "do.", "as above", "same", "same as above"})

_PAIR = re.compile(r"([0-9.,]+(?: ?[-–] ?[0-9.,]+)?) ?[/(\[] ?([0-9.,]+(?: ?[-–] ?[0-9.,]+)?)[)\]]?")


class Unanswered(Exception):
    """The record cannot become a row before a question is answered."""


def _with_units(text: str, column: ColumnMeaning) -> str:
    """The two bare figures of a cell with the two units of its heading; any other text as it is."""
    pair = _PAIR.fullmatch(text)
    if pair is None or column.unit is None or column.second_unit is None:
        return text
    return f"{pair[1]} {column.unit.name} / {pair[2]} {column.second_unit.name}"


@dataclass(slots=True)
class RecordReader:
    """Reads one record. Each method raises Unanswered if the cell is unclear and no answer is given yet."""

    record: Record
    desk: Desk
    marks: DecimalMarks

    def constant(self, name: str, why: str | None = None, offers: tuple[str, ...] = ()) -> str | None:
        """A value for the whole grid, or for all grids. With `why` it is required, and asked for if missing."""
        of_grid = f"{name} of {self.record.grid}"
        given = self.desk.answers.get(of_grid) or self.desk.answers.get(name)
        if given is None and why is not None:
            self.desk.answer(name, why, offers, self.record.grid)
            raise Unanswered
        return None if given == LEAVE_OUT else given

    def page(self) -> str | None:
        """The page of the whole grid, which is asked for."""
        if (given := self.constant("page")) is None:
            key = f"page of {self.record.grid}"
            if self.desk.answer(key, "which page is it on?", (LEAVE_OUT,), self.record.grid) is None:
                raise Unanswered
        return given

    def has(self, name: str) -> bool:
        """Whether the grid has a column for a field."""
        return name in self.record.cells

    def _text(self, placed: Placed) -> str | None:
        """The text of a cell, or the answer about it; None if nothing is said. Raises Unanswered if it is doubtful."""
        field = placed.column.field
        assert field is not None
        text = tidy(placed.cell.text)
        repeats = text.casefold() in _DITTO
        key = f"{field.name} in {placed.place}" if repeats else f"{field.name}: {text}"
        if key in self.desk.answers:
            answer = tidy(self.desk.answers[key])
            return None if answer == LEAVE_OUT else answer
        if repeats:
            self._ask(key, "it repeats a cell above; what does that say?", (LEAVE_OUT,), placed.place)
        if placed.cell.doubt is not None:
            self._ask(key, placed.cell.doubt, (), placed.place)
        if placed.cell.remark is not None:
            self.desk.remark(placed.cell.remark, placed.place)
        if is_no_figure(text):
            if text:
                self.desk.remark(f"“{text}” gives nothing for {field.name}", placed.place)
            return None
        return text

    def _ask(self, key: str, why: str, offers: tuple[str, ...], place: str) -> NoReturn:
        self.desk.refuse(key, why, offers, place)
        raise Unanswered

    def text(self, name: str) -> str | None:
        """The text of a field, from its cell or for the whole grid."""
        placed = self.record.cells.get(name)
        if placed is None:
            return self.constant(name)
        text = self._text(placed)
        field = self.record.shape.by_name[name]
        if text is not None:
            self._readable(field, text, text, placed.place)
            if placed.cell.kind == "number" and "." in text:
                self.desk.remark(f"{text} is a number in the workbook; zeros at its end may be lost", placed.place)
        return text

    def word(self, name: str) -> str | None:
        """The text of a field that holds words of a list, with the word in place of a synonym or another spelling."""
        text = self.text(name)
        words = self.record.shape.by_name[name].described.kind.words
        return text if text is None or words is None else meant(words, text) or text

    def choice(self, name: str, meant: str | None = None) -> str | None:
        """One of the words that the catalogue's column permits. `meant` is what the rest of the record says."""
        field = self.record.shape.by_name[name]
        placed = self.record.cells.get(name)
        text = self.constant(name) if placed is None else self._text(placed)
        if text is None:
            return meant
        option = next((each for each in field.described.options if each.casefold() == text.casefold()), None)
        if option is None:
            place = self.record.place if placed is None else placed.place
            said = text if placed is None else tidy(placed.cell.text)
            self._ask(f"{name}: {said}", "which of these is it?", (*field.described.options, LEAVE_OUT), place)
        return option

    def figure(self, name: str) -> CellFigure | None:
        """The figure of a field with its unit."""
        placed = self.record.cells.get(name)
        if placed is None:
            return None
        found = self._read(placed)
        for each in self.record.again.get(name, ()):
            other = self._read(each)
            if found is not None and other is not None and not agree(found, other):
                return self._either(name, placed, each)
            found = found or other
        return found

    def _read(self, placed: Placed) -> CellFigure | None:
        text = self._text(placed)
        return None if text is None else self._figure(placed, text)

    def _either(self, name: str, placed: Placed, other: Placed) -> CellFigure | None:
        """The figure where two columns give it in two units and do not agree, as answered."""
        key = f"{name}: {tidy(placed.cell.text)} | {tidy(other.cell.text)}"
        why = "the two columns do not agree; what does the page say? Write the figure with its unit"
        answer = self.desk.answer(key, why, (LEAVE_OUT,), placed.place)
        if answer is None:
            raise Unanswered
        return None if answer == LEAVE_OUT else self._figure(placed, tidy(answer))

    def _figure(self, placed: Placed, text: str) -> CellFigure | None:
        field = placed.column.field
        assert field is not None
        key = f"{field.name}: {tidy(placed.cell.text)}"
        marks: DecimalMarks = "point" if placed.cell.kind == "number" or key in self.desk.answers else self.marks
        found = read_figure(_with_units(text, placed.column), field.quantity, marks, placed.column.unit)
        if isinstance(found, NoFigure):
            return None
        why = found.why if isinstance(found, Unclear) else self._wrong(field, found, placed)
        if why is not None:
            offers = found.offers if isinstance(found, Unclear) else ()
            self._ask(key, why, (*offers, LEAVE_OUT), placed.place)
        assert isinstance(found, CellFigure)
        for said in found.remarks:
            self.desk.remark(said, placed.place)
        return self._with_unit(field, found, placed)

    def _wrong(self, field: GridField, found: CellFigure, placed: Placed) -> str | None:
        """Why a figure cannot be that of a field, though it is one."""
        given = [Decimal(each) for each in (found.value, found.low, found.high) if each is not None]
        if found.strict and field.form != "masses":
            return "“less than” and “more than” exclude the limit itself; which figure holds?"
        if found.unit is not None and field.quantity is None:
            return f"{field.name} has no unit"
        if field.fixed_unit is not None and (found.unit or placed.column.unit or field.fixed_unit) != field.fixed_unit:
            return f"{field.name} is stored in {field.fixed_unit.name} and nothing is converted"
        if placed.column.unit is not None and field.quantity not in (None, placed.column.unit.kind):
            return f"the heading gives the unit {placed.column.unit.name}, which does not fit"
        if field.described.positive and any(each < 0 for each in given):
            return "it is below zero"
        if field.form == "count" and any(each != each.to_integral_value() for each in given):
            return "it is not a whole number"
        is_ratio = field.described.unit == "%" and found.unit is None and any(0 < each < 1 for each in given)
        return "it can be a share of one or of a hundred" if is_ratio else None

    def _with_unit(self, field: GridField, found: CellFigure, placed: Placed) -> CellFigure:
        """The figure with its unit: from the cell, the heading, the whole grid, or a question for the column."""
        if found.unit is not None or field.quantity is None or field.fixed_unit is not None:
            return found
        return replace(found, unit=placed.column.unit or self._unit(field, placed))

    def _unit(self, field: GridField, placed: Placed) -> Unit:
        key = f"unit of {field.name} in {self.record.grid}"
        answer = self.constant(f"unit of {field.name}") or self.desk.answer(
            key, "neither the cells nor the heading give the unit", (), placed.place
        )
        unit = next((each for each in find(answer or "") if each.kind == field.quantity), None)
        if unit is None:
            if answer is not None:
                self.desk.refuse(key, f"it is no unit of {field.quantity}", (), placed.place)
            raise Unanswered
        return unit

    def plain(self, name: str) -> str | None:
        """A figure that can have neither limits nor a tolerance, as its digits."""
        found = self.figure(name)
        if found is None:
            return self.constant(name)
        if found.value is None or found.low is not None or found.high is not None or found.about:
            raise self.unfit(name, f"{name} takes one figure, without limits")
        return found.value

    def count(self, name: str) -> str | None:
        """A whole number as its digits."""
        text = self.plain(name)
        return text if text is None or "." not in text else text.rstrip("0").rstrip(".")

    def unfit(self, name: str, why: str) -> Unanswered:
        """Ask about a cell that was read but does not fit its field. The caller raises what this returns."""
        placed = self.record.cells.get(name)
        text = "" if placed is None else tidy(placed.cell.text)
        place = self.record.place if placed is None else placed.place
        self.desk.refuse(f"{name}: {text}", why, (LEAVE_OUT,), place)
        return Unanswered()

    def _settle_empty(self, name: str) -> None:
        """An empty cell in a column of travels, wheels or years can mean the one above or all of them: ask which."""
        placed = self.record.cells.get(name)
        if placed is None or name in self.record.at:
            return
        text = tidy(placed.cell.text)
        if not is_no_figure(text) or f"{name}: {text}" in self.desk.answers:
            return
        key, offers = empty_scope(name, self.record.grid), (AS_ABOVE, FOR_ALL)
        answer = self.desk.answer(
            key, "does an empty cell repeat the one above, or hold for all?", offers, placed.place
        )
        if answer is None:
            raise Unanswered
        if answer != FOR_ALL:
            self._ask(key, "write one of the two; the first line has nothing above it", offers, placed.place)

    def travel(self) -> tuple[str, str] | None:
        """The travels in mm that the record is about, from its header, its cell or the whole grid."""
        if (given := self.record.at.get("travel")) is not None:
            low, _, high = given.partition("-")
            return low, high or low
        self._settle_empty("travel")
        found = self.figure("travel")
        if found is None:
            return None
        if found.value is not None and found.low is None and not found.about:
            return found.value, found.value
        if found.low is None or found.high is None or found.value is not None:
            raise self.unfit("travel", "which travels are meant?")
        return str(found.low), str(found.high)

    def wheel(self) -> str | None:
        """The wheel size as its bead seat diameter."""
        self._settle_empty("wheel_size")
        placed = self.record.cells.get("wheel_size")
        text = self.record.at.get("wheel_size") or (self._text(placed) if placed else self.constant("wheel_size"))
        if text is None:
            return None
        try:
            return str(parse_wheel_size(text))
        except Invalid as wrong:
            place = placed.place if placed else self.record.place
            said = tidy(placed.cell.text) if placed else text
            self._ask(f"wheel_size: {said}", wrong.detail, ("622", "584", "559", LEAVE_OUT), place)

    def years(self) -> tuple[str | None, str | None]:
        """The model years from the header, the cell or the whole grid."""
        self._settle_empty("model_year")
        placed = self.record.cells.get("model_year")
        text = self.record.at.get("model_year") or (self._text(placed) if placed else None)
        if text is None:
            return self.constant("model_year_from"), self.constant("model_year_to")
        found = read_figure(text)
        if isinstance(found, CellFigure) and found.unit is None and not found.about and not found.strict:
            low, high = (found.value, found.value) if found.value and not found.low else (found.low, found.high)
            if all(each is None or (len(each) == 4 and each.isdigit()) for each in (low, high)):
                return low, high
        place = placed.place if placed else self.record.place
        self._ask(f"model_year: {text}", "write the years like 2022–2024", (LEAVE_OUT,), place)

    def _readable(self, field: GridField, text: str, said: str, place: str) -> None:
        try:
            field.described.kind.read(text)
        except Unreadable as wrong:
            self._ask(f"{field.name}: {said}", str(wrong), (LEAVE_OUT,), place)
