"""Oils by chamber and greases by place: fluids that are not there yet, fills and greases."""

import re

from app.catalogue.tables import Fill, Fluid, Grease
from app.drafts.cells import RecordReader, Unanswered
from app.drafts.desk import LEAVE_OUT
from app.drafts.rows import DerivedRows
from app.drafts.statements import (
    Cells,
    asked_option,
    build_each,
    limited,
    noted,
    statement_cells,
    travel_scope,
)

_TOTAL = re.compile(r"\b(?:total|both (?:legs|sides)|per pair|each pair|overall)\b", re.IGNORECASE)


def oils(readers: list[RecordReader], rows: DerivedRows) -> None:
    """The fills of a grid of oils. A volume for several chambers together is never divided."""
    build_each(readers, lambda reader: _oil(reader, rows))


def _oil(reader: RecordReader, rows: DerivedRows) -> None:
    texts = [placed.cell.text for placed in reader.record.cells.values()]
    texts += [placed.column.header for placed in reader.record.cells.values()]
    if total := next((text for text in texts if _TOTAL.search(text)), None):
        reader.desk.remark(
            f"“{total}” is a total, which is not divided; enter the volume of each chamber", reader.record.place
        )
        return
    chamber = reader.choice("chamber")
    if chamber is None:
        reader.desk.remark("a line without a chamber is left out", reader.record.place)
        return
    cells = limited(reader.figure("value"), "value", "min", "max", "unit")
    cells |= limited(reader.figure("level_mm"), "level_mm", "level_min_mm", "level_max_mm", None)
    statement = statement_cells(reader, rows) | travel_scope(reader)
    fluid = _fluid(reader, rows, statement, None)
    if not any(cells.values()) and fluid is None:
        reader.desk.remark(f"nothing is said of the {chamber}; there is no row for it", reader.record.place)
        return
    more: Cells = {"chamber": chamber, "fluid": fluid, "note": noted(cells, reader)}
    more |= {name: reader.text(name) for name in ("level_datum", "level_state")}
    rows.state(Fill, statement | cells | more, reader.record.place)


def greases(readers: list[RecordReader], rows: DerivedRows) -> None:
    """The greases of a grid."""
    build_each(readers, lambda reader: _grease(reader, rows))


def _grease(reader: RecordReader, rows: DerivedRows) -> None:
    statement = statement_cells(reader, rows) | travel_scope(reader)
    place, fluid = reader.word("place"), _fluid(reader, rows, statement, "grease")
    if place is None or fluid is None:
        reader.desk.remark("a line without a place or a grease is left out", reader.record.place)
        return
    more: Cells = {"place": place, "fluid": fluid, "extent_mm": reader.plain("extent_mm")}
    more |= {name: reader.text(name) for name in ("amount", "note")}
    rows.state(Grease, statement | more, reader.record.place)


def _fluid(reader: RecordReader, rows: DerivedRows, statement: Cells, kind: str | None) -> str | None:
    """The id of the fluid with a name, stored or new; several names in one cell are a question."""
    text = reader.text("fluid")
    if text is None:
        return None
    known = (*rows.of(Fluid), *rows.base.all(Fluid))
    there = next((each for each in known if text.casefold() in (each.id, each.name.casefold())), None)
    if there is not None:
        return there.id
    key = f"fluid: {text}"
    if key not in reader.desk.answers and re.search(r"/| or |;|,|\+", text):
        reader.desk.answer(
            key, "is it one fluid or several? Write the name of the one to fill", (text, LEAVE_OUT), reader.record.place
        )
        raise Unanswered
    kinds = Fluid.columns()["kind"].options
    kind = reader.choice("fluid_kind", kind) or asked_option(reader, f"kind of {text}", kinds)
    own: Cells = {"name": text, "kind": kind, "source": statement["source"], "page": statement["page"]}
    return rows.add_new(Fluid, own, reader.record.place).id
