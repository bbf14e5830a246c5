"""Parses edits of single rows from JSON: complete rows to put, ids to withdraw, merge patches of a row.

One shape everywhere: `{"table", "op": "put" | "withdraw", "row": {exchange columns} | "id", "empty", "reason"}`.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pydantic import ValidationError
from rapidfuzz import fuzz, process

from app.catalogue.columns import Column, Unreadable, write_number
from app.catalogue.tables import TABLES, Row
from app.errors import Fault, Invalid
from app.exchange.meant import how_to_write


@dataclass(frozen=True, slots=True)
class Edit:
    """A row to put, or the id of one to withdraw."""

    table: type[Row]
    id: str
    row: Row | None
    empty: frozenset[str] = frozenset()  # columns that the put may clear
    pointer: str = ""  # place of the edit in the request


def read_edits(
    changes: Sequence[Mapping[str, object]],
    pointer: str = "",
    *,
    empty: frozenset[str] = frozenset(),
    copied: bool = False,
) -> list[Edit]:
    """The edits of a request. Raises Invalid with a fault for everything that cannot be read.

    `empty` names columns that every put may clear, besides those that it names itself. `copied` rows come from
    another catalogue: their cells are read as stored there, and no input is interpreted.
    """
    faults: list[Fault] = []
    edits: list[Edit] = []
    seen: set[tuple[str, str]] = set()
    for number, change in enumerate(changes):
        place = f"{pointer}/{number}" if len(changes) > 1 or pointer else ""
        edit = _read(change, place, empty, faults, copied)
        if edit is not None:
            if (edit.table.table, edit.id) in seen:
                faults.append(Fault("twice", f"{edit.id} is changed twice in one request", pointer=place))
            seen.add((edit.table.table, edit.id))
            edits.append(edit)
    if faults:
        raise Invalid(faults[0].text, faults)
    return edits


def _read(
    change: Mapping[str, Any], pointer: str, empty: frozenset[str], faults: list[Fault], copied: bool
) -> Edit | None:
    table = TABLES.get(change["table"])
    if table is None:
        text = f"there is no such table; the tables are {', '.join(TABLES)}"
        faults.append(
            Fault("table-unknown", text, pointer=f"{pointer}/table", suggestion=_near(change["table"], TABLES))
        )
        return None
    if change["op"] == "withdraw":
        if "id" not in change or "row" in change:
            faults.append(Fault("id-missing", "a withdrawal gives an id and no row", pointer=f"{pointer}/id"))
            return None
        return Edit(table, change["id"], None)
    if "row" not in change or "id" in change:
        faults.append(Fault("row-missing", "a put gives the row, including its id", pointer=f"{pointer}/row"))
        return None
    before = len(faults)
    values = dict(_values(table, change["row"], f"{pointer}/row", faults, copied))
    named = change.get("empty", ())
    faults += [
        _no_column(table, name, f"{pointer}/empty/{at}") for at, name in enumerate(named) if not _has(table, name)
    ]
    if len(faults) > before:
        return None
    row = valid_row(table, values, pointer, faults)
    return None if row is None else Edit(table, row.id, row, empty.union(named), pointer)


def valid_row(table: type[Row], values: Mapping[str, object], pointer: str, faults: list[Fault]) -> Row | None:
    """The row with these values; None, with a fault for each, if some are missing or of the wrong kind."""
    try:
        return table.model_validate(values)
    except ValidationError as error:
        for found in error.errors(include_url=False):
            name = str(found["loc"][0]) if found["loc"] else ""
            missing = found["type"] == "missing"
            text = f"{name} must be given" if missing else f"{name}: {found['msg']}"
            faults.append(Fault("column-missing" if missing else "value", text, pointer=f"{pointer}/row/{name}"))
        return None


def merged(before: Row, patch: Mapping[str, object]) -> Edit:
    """The edit that a merge patch of a row (RFC 7396) makes: null empties a column, an absent one stays as it is.

    Raises Invalid with a fault for everything in the patch that cannot be read.
    """
    table = before.model
    faults: list[Fault] = []
    emptied = frozenset(name for name, value in patch.items() if value is None and _has(table, name))
    given = {name: value for name, value in patch.items() if name not in emptied}
    values = {name: value for name, value in before.values().items() if value is not None and name not in emptied}
    values.update(_values(table, given, "/row", faults))
    row = None if faults else valid_row(table, values, "", faults)
    if row is not None and row.id != before.id:
        faults.append(Fault("id", "the id of a row cannot change", pointer="/row/id", suggestion=before.id))
    if faults or row is None:
        raise Invalid(faults[0].text, faults)
    return Edit(table, row.id, row, emptied)


def _values(
    table: type[Row], row: Mapping[str, object], pointer: str, faults: list[Fault], copied: bool = False
) -> Iterator[tuple[str, object]]:
    columns = table.columns()
    for name, value in row.items():
        column = columns.get(name)
        if column is None:
            faults.append(_no_column(table, name, f"{pointer}/{name[:80].replace('~', '~0').replace('/', '~1')}"))
            continue
        try:
            read = column.kind.read if copied else column.kind.enter
            yield name, read(_cell(column, value))
        except Unreadable as fault:
            fix = how_to_write(column, value) if isinstance(value, str) else None
            text = f"{name}: {fault}" + ("" if fix is None else f"; {fix}")
            faults.append(Fault("value", text, pointer=f"{pointer}/{name}"))


def _has(table: type[Row], name: str) -> bool:
    return name in table.columns()


def _no_column(table: type[Row], name: str, pointer: str) -> Fault:
    text = f"{table.table} has no column with that name"
    return Fault("column-unknown", text, pointer=pointer, suggestion=_near(name, table.columns()))


def _near(name: str, known: Iterable[str]) -> str | None:
    """The known name that was probably meant. A long text is not a name and is not compared."""
    found = process.extractOne(name, list(known), scorer=fuzz.ratio, score_cutoff=66) if len(name) <= 80 else None
    return found[0] if found else None


def _cell(column: Column, value: object) -> str:
    """The text form of a JSON value. Published figures may be decimal strings or numbers, digit for digit."""
    kind = column.kind
    if kind.items is not None:
        values = [value] if kind.takes_one and isinstance(value, (str, int)) else value
        if not isinstance(values, list) or not values:
            raise Unreadable("a list of values")
        cells = [_scalar(kind.items.name, item) for item in values]
        if any(";" in cell for cell in cells):
            raise Unreadable("an item of a list may not contain a semicolon")
        return ";".join(cells)
    return _scalar(kind.name, value)


def _scalar(kind: str, value: object) -> str:
    if isinstance(value, bool):
        if kind == "true or false":
            return "true" if value else "false"
    elif isinstance(value, (int, Decimal)):
        if kind in ("whole number", "number", "figure as published"):
            return write_number(float(value)) if kind == "number" else str(value)
    elif isinstance(value, str) and kind not in ("whole number", "number", "true or false") and value:
        return value
    raise Unreadable(f"this column takes a {kind} in JSON; leave it out if it is unknown")
