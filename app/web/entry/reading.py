"""Turns a filled-in form into edits of the catalogue: the row, and the rows that are entered with it.

A field that is left empty empties its column. Faults name their field, and nothing is stored unless all can be.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from app.catalogue.columns import Column, Unreadable
from app.catalogue.ids import free_id, id_for
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Row
from app.errors import Fault, Invalid
from app.exchange.meant import WITH_UNIT, how_to_write
from app.exchange.read_edits import Edit
from app.units.table import find
from app.web.entry.choices import resolved
from app.web.entry.forms import WITH_IT, EntryForm, field_name
from app.web.reading.form_body import Form

GIVE = "Fill in this field."


def typed_in(form: Form, entry: EntryForm) -> dict[str, str]:
    """What was filled in, by the name of the field; ticks are joined with semicolons."""
    typed = {name: text for name, text in form.filled.items() if "." not in name}
    for each in entry.fields():
        if each.kind == "ticks":
            ticked = [name.partition(".")[2] for name in form.filled if name.startswith(f"{each.name}.")]
            typed |= {each.name: ";".join(ticked)} if ticked else {}
    return typed


@dataclass(slots=True)
class NewRow:
    """The values of one row of the form; `outer` is the column that refers to it, empty for the row itself."""

    outer: str
    table: type[Row]
    values: dict[str, object] = field(default_factory=dict)


@dataclass(slots=True)
class FilledForm:
    """The rows of a filled-in form, the row itself last.

    Once the edits are made, `places` finds the column of each row by table and id, and `source` is what the row cites.
    """

    rows: list[NewRow]
    places: dict[tuple[str, str], str] = field(default_factory=dict)
    source: str = ""

    def edits(self, snapshot: Snapshot, id: str | None = None) -> list[Edit]:
        """The edits, made under the write lock. `id` is that of a stored row; a new row gets one.

        If a row entered with another is already in the catalogue, that one is used. Raises Invalid if they differ.
        """
        *beside, main = self.rows
        values = dict(main.values)
        made: list[Edit] = []
        for each in beside:
            own = _completed(each, values)
            known = snapshot.one(each.table, id_for(each.table, own))
            if known is None:
                made.append(self._edit(snapshot, each, own, None))
            elif differing := [name for name, value in each.values.items() if known[name] != value]:
                raise _known_otherwise(each, known, differing[0])
            own_id = made[-1].id if known is None else known.id
            several = main.table.columns()[each.outer].kind.items is not None
            beside_it = values.get(each.outer)
            values[each.outer] = (*(beside_it if isinstance(beside_it, tuple) else ()), own_id) if several else own_id
        self.source = str(values.get("source", ""))
        return [*made, self._edit(snapshot, main, values, id)]

    def _edit(self, snapshot: Snapshot, each: NewRow, values: Mapping[str, object], id: str | None) -> Edit:
        own = id or free_id(snapshot, each.table, values)
        self.places[each.table.table, own] = each.outer
        row = each.table.model_validate({**values, "id": own})
        return Edit(each.table, own, row, frozenset(each.table.columns()))


def _completed(each: NewRow, main: Mapping[str, object]) -> dict[str, object]:
    """The values of a row entered with another, which is from the same page of the same source."""
    columns, shared = each.table.columns(), ["source", "page"]
    if each.table.table == "fasteners":
        shared.append("chassis")
    return {**{name: main[name] for name in shared if name in columns and name in main}, **each.values}


def _known_otherwise(each: NewRow, known: Row, name: str) -> Invalid:
    text = (
        f"{known.id} is in the catalogue already, but {name.replace('_', ' ')} differs there. Pick it from the "
        "list, or give this one another name."
    )
    return Invalid(text, [Fault("known-otherwise", text, pointer=f"/{field_name(each.outer, name)}")])


def filled_in(snapshot: Snapshot, entry: EntryForm, typed: Mapping[str, str]) -> FilledForm:
    """The rows that were filled in. Raises Invalid with a fault for every field that cannot be read."""
    faults: list[Fault] = []
    main = NewRow("", entry.table, _values(snapshot, entry.table, "", typed, faults))
    beside: list[NewRow] = []
    for outer, table in entry.with_it.items():
        values = _values(snapshot, table, outer, typed, faults)
        if not _was_entered(table, outer, typed):
            continue
        if outer in main.values and entry.table.columns()[outer].kind.items is None:
            text = "Either pick one from the list or enter a new one, not both."
            faults.append(Fault("two-values", text, pointer=f"/{outer}"))
        faults += _missing(table, outer, values, ())
        beside.append(NewRow(outer, table, values))
    beside.sort(key=lambda each: each.outer != "source")  # the others cite it
    faults += _missing(entry.table, "", main.values, [each.outer for each in beside])
    if faults:
        raise Invalid(faults[0].text, faults)
    return FilledForm([*beside, main], source=str(main.values.get("source", "")))


def _was_entered(table: type[Row], outer: str, typed: Mapping[str, str]) -> bool:
    """Whether something was typed for a row that is not in the list; what was only picked was there from the start."""
    columns = table.columns()
    return any(
        typed.get(field_name(outer, name)) for name in WITH_IT[table.table]
        if columns[name].refers_to is None and not columns[name].options
    )  # fmt: skip


def _missing(table: type[Row], outer: str, values: Mapping[str, object], beside: list[str] | tuple[()]) -> list[Fault]:
    return [
        Fault("column-missing", GIVE, pointer=f"/{field_name(outer, name)}")
        for name, column in table.columns().items()
        if column.required and name != "id" and name not in values and name not in beside
    ]


def _values(
    snapshot: Snapshot, table: type[Row], outer: str, typed: Mapping[str, str], faults: list[Fault]
) -> dict[str, object]:
    """The values of one row, by column."""
    columns = table.columns()
    texts = {
        name: text for name in (WITH_IT[table.table] if outer else columns)
        if name != "id" and (text := typed.get(field_name(outer, name), ""))
    }  # fmt: skip
    for name in list(texts):
        _split_unit(columns[name], texts)
    values: dict[str, object] = {}
    for name, text in texts.items():
        found = _read(snapshot, columns[name], text)
        if isinstance(found, Fault):
            faults.append(Fault(found.code, found.text, pointer=f"/{field_name(outer, name)}"))
        else:
            values[name] = found
    return values


def _read(snapshot: Snapshot, column: Column, text: str) -> object:
    """The value of a column, or the fault."""
    if column.refers_to is not None and column.kind.items is None:
        return resolved(snapshot, column, text)
    if column.kind.items is not None:
        text = ";".join(part.strip() for part in text.split(";") if part.strip())
    try:
        return column.kind.enter(text)
    except Unreadable as fault:
        fix = how_to_write(column, text)
        return Fault("value", f"{fault}" + ("" if fix is None else f"; {fix}"))


def _split_unit(column: Column, texts: dict[str, str]) -> None:
    """A figure typed with its unit, `7.3 N·m`, fills in the empty field of the unit too."""
    found = WITH_UNIT.fullmatch(texts[column.name])
    if column.unit_column is None or found is None:
        return
    figure, spelling = found.groups()
    units = [unit.name for unit in find(spelling) if column.measures in (unit.kind, "any")]
    if units and texts.get(column.unit_column) in (None, units[0]):
        texts[column.name], texts[column.unit_column] = figure, units[0]


def shown_in(row: Row) -> dict[str, str]:
    """The stored row as a form shows it."""
    return {name: text for name, text in row.cells().items() if text and name != "id"}
