"""Collects the rows of a reading: matches them to stored rows, gives them ids and merges what two grids say of one."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from app.catalogue.agreement import subject
from app.catalogue.columns import Unreadable
from app.catalogue.ids import free_ids
from app.catalogue.rows import Rows
from app.catalogue.tables import SCOPE, Row, Source, Statement
from app.drafts.cells import Unanswered
from app.drafts.desk import Desk
from app.drafts.meaning import Meaning
from app.exchange.cells import cell_changes

R = TypeVar("R", bound=Row)
S = TypeVar("S", bound=Statement)
_OF_THE_PAGE = ("source", "page", "note")
"""Columns in which two grids may differ about one row: the first grid that has the row is cited."""


@dataclass(slots=True)
class DerivedRow:
    """A row with the cells it came from, and the version that is stored, if any."""

    row: Row
    places: list[str] = field(default_factory=list)
    stored: Row | None = None


class DerivedRows:
    """The rows of one reading by table and id, and what its grids mean by name."""

    def __init__(self, base: Rows, desk: Desk) -> None:
        self.base = base
        self.desk = desk
        self.found: dict[tuple[str, str], DerivedRow] = {}
        self.meanings: dict[str, Meaning] = {}
        self._stored: dict[tuple[type[Row], str, object], list[Row]] = {}

    def of(self, table: type[R]) -> list[R]:
        """The rows of a table so far."""
        return [each.row for each in self.found.values() if each.row.model is table]  # type: ignore[misc]

    def known(self, table: type[R], column: str, value: object) -> list[R]:
        """The rows of a table with a value, derived or stored; a derived row replaces the stored one."""
        rows = {row.id: row for row in self._where(table, column, value)}
        rows |= {row.id: row for row in self.of(table) if row[column] == value}
        return list(rows.values())

    def _where(self, table: type[R], column: str, value: object) -> list[R]:
        """The stored rows with a value, looked up once."""
        key = (table, column, value)
        if key not in self._stored:
            self._stored[key] = [*self.base.where(table, column, value)]
        return self._stored[key]  # type: ignore[return-value]

    def add(
        self,
        table: type[R],
        cells: Mapping[str, str | None],
        place: str,
        stored: R | None = None,
        *,
        renews: bool = False,
    ) -> R:
        """Add a row; `cells` hold at least its id. With `renews` it replaces what the stored row says.

        Raises Unanswered if another grid, or else the stored row, gives a cell differently and no answer decides.
        """
        values = self._values(table, cells, place)
        there = self.found.get((table.table, str(values["id"])))
        if there is not None:
            merged: R = self._merged(there.row, values, place)  # type: ignore[assignment]
            there.row = merged
            there.places += [place] if place not in there.places else []
            return merged
        stored = stored or self.base.one(table, str(values["id"]))
        if stored is None or renews:
            row = table.from_parsed(dict.fromkeys(table.columns())) if stored is None else stored
            row = row.replaced(**{name: value for name, value in values.items() if value is not None})
        else:
            row = self._merged(stored, values, place)
        self.found[table.table, row.id] = DerivedRow(row, [place], stored)
        for change in () if stored is None else cell_changes(stored, row):
            was, now = change.get("was", "(empty)"), change.get("now", "(empty)")
            self.desk.remark(f"it changes {table.table}/{row.id} {change['column']}: {was} → {now}", place)
        return row

    def add_new(self, table: type[R], cells: Mapping[str, str | None], place: str) -> R:
        """Add a row, not a statement, that is neither stored nor derived yet; `cells` are without an id."""
        id = self._new_id(table, self._values(table, cells, place), lambda there: False)
        return self.add(table, {**cells, "id": id}, place)

    def state(self, table: type[S], cells: Mapping[str, str | None], place: str) -> S:
        """Add a statement: that of the catalogue with its subject, scope and series of source, or a new one."""
        values = self._values(table, {**cells, "id": "new"}, place)
        probe = table.from_parsed({column: values.get(column) for column in table.columns()})
        stored = self._like(probe)
        about = about_of(probe)
        id = self._new_id(table, values, lambda there: about_of(there) == about) if stored is None else stored.id
        return self.add(table, {**cells, "id": id}, place, stored, renews=True)

    def _new_id(self, table: type[R], values: Mapping[str, object], is_it: Callable[[R], bool]) -> str:
        """The id that an entry form would give; another row that was derived keeps its own."""

        def is_ours(id: str) -> bool:
            there = self.found.get((table.table, id))
            return there is None or is_it(there.row)  # type: ignore[arg-type]

        return next(filter(is_ours, free_ids(self.base, table, values)))

    def _like(self, probe: S) -> S | None:
        """The stored statement with the same subject, scope and series of source."""
        for row in self._where(probe.model, "chassis", probe.chassis):
            if about_of(row) == about_of(probe) and self._series(row["source"]) == self._series(probe.source):  # type: ignore[arg-type]
                return row  # type: ignore[return-value]
        return None

    def _series(self, source: str | None) -> str | None:
        row = None if source is None else self.base.one(Source, source)
        return source if row is None or row.series is None else row.series

    def _values(self, table: type[Row], cells: Mapping[str, str | None], place: str) -> dict[str, object]:
        values: dict[str, object] = {}
        columns = table.columns()
        for name, text in cells.items():
            if text is not None:
                try:
                    values[name] = columns[name].kind.read(text)
                except Unreadable as wrong:
                    self.desk.refuse(f"{name}: {text}", str(wrong), (), place)
                    raise Unanswered from wrong
        return values

    def _merged(self, row: R, values: Mapping[str, object], place: str) -> R:
        """A row with further values. A cell that both give differently is a question."""
        columns = row.model.columns()
        new: dict[str, object] = {}
        for name, value in values.items():
            before = row[name]
            if value is None or value == before:
                continue
            if before is None:
                new[name] = value
            elif name not in _OF_THE_PAGE:
                either = tuple(columns[name].kind.write(each) for each in (before, value))
                key = f"{row.table}/{row.id} {name}"
                answer = self.desk.answer(key, f"it is given differently: {either[0]} and {either[1]}", either, place)
                if answer is None:
                    raise Unanswered
                if answer not in either:
                    self.desk.refuse(key, "it is neither of the two", either, place)
                    raise Unanswered
                new[name] = value if answer == either[1] else before
        return row.replaced(**new)


def about_of(row: Statement) -> tuple[object, ...]:
    """Subject and scope."""
    columns, about = row.model.columns(), getattr(row.model, "about", ())
    return subject(row, {}), *(row[name] for name in SCOPE if name in columns and name not in about)
