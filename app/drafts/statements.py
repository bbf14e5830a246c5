"""Parts that the rows of all shapes share: chassis, scope, source and page, and figures with their limits."""

from collections.abc import Callable, Iterable
from itertools import islice

from app.catalogue.tables import Chassis, Source
from app.drafts.cells import RecordReader, Unanswered
from app.drafts.figures import CellFigure
from app.drafts.rows import DerivedRows

Cells = dict[str, str | None]
"""The cells of a row as text."""
MOST_OFFERED = 20


def build_each(readers: Iterable[RecordReader], build: Callable[[RecordReader], None]) -> None:
    """Build a row of each record; those that are unclear wait, each with its question."""
    for reader in readers:
        try:
            if not reader.record.waits:
                build(reader)
        except Unanswered:
            continue


def chassis_of(reader: RecordReader, rows: DerivedRows) -> str:
    """The chassis that a grid is about, which the catalogue must have."""
    offers = tuple(islice(rows.base.values(Chassis, "id"), MOST_OFFERED))
    id = reader.constant("chassis", "which fork is the table about? Give the id of its chassis", offers)
    if rows.base.one(Chassis, str(id)) is None:
        reader.desk.refuse("chassis", "the catalogue has no chassis with this id", (), reader.record.grid)
        raise Unanswered
    return str(id)


def statement_cells(reader: RecordReader, rows: DerivedRows) -> Cells:
    """Chassis, scope, source and page of a statement."""
    chassis = chassis_of(reader, rows)
    offers = tuple(islice(rows.base.values(Source, "id"), MOST_OFFERED))
    source = reader.constant("source", "which document is it from? Give the id of its source", offers)
    if rows.base.one(Source, str(source)) is None:
        reader.desk.refuse("source", "the catalogue has no source with this id", (), reader.record.grid)
        raise Unanswered
    page = reader.text("page") if reader.has("page") else reader.page()
    first, last = reader.years()
    return {
        "chassis": chassis, "source": source, "page": page, "model_year_from": first, "model_year_to": last,
        "variant": reader.constant("variant"), "damper": reader.constant("damper"), "wheel_size": reader.wheel(),
    }  # fmt: skip


def travel_scope(reader: RecordReader) -> Cells:
    """The travels and the spring that a statement applies to."""
    low, high = reader.travel() or (reader.constant("travel_from_mm"), reader.constant("travel_to_mm"))
    return {"travel_from_mm": low, "travel_to_mm": high, "spring": reader.constant("spring")}


def limited(found: CellFigure | None, value: str, low: str, high: str, unit: str | None) -> Cells:
    """The cells of a figure with its limits; an approximate one says so in the note."""
    if found is None:
        return {}
    cells: Cells = {value: found.value, low: found.low, high: found.high}
    if unit is not None and found.unit is not None:
        cells[unit] = found.unit.name
    if found.about:
        cells["note"] = "an approximate figure on the page"
    return cells


def ranged(reader: RecordReader, name: str, low: str, high: str) -> Cells:
    """The cells of a figure or a range without a unit column, such as a sag or clicks."""
    if not reader.has(name):
        return {name: reader.constant(name)}
    found = reader.figure(name)
    if found is not None and (found.about or found.strict):
        raise reader.unfit(name, f"{name} takes a figure or a range")
    return limited(found, name, low, high, None)


def toleranced(reader: RecordReader, name: str, tolerance: str) -> Cells:
    """The cells of a length and of how far it may be off, either way."""
    found = reader.figure(name)
    if found is None:
        return {}
    has_limits = found.low is not None or found.high is not None
    if found.value is None or found.about or (has_limits and found.tolerance is None):
        raise reader.unfit(name, f"{name} takes one figure, with or without ±")
    return {name: found.value, tolerance: found.tolerance}


def noted(cells: Cells, reader: RecordReader) -> str | None:
    """The note of a row: what its figures say of themselves, and the note of its line."""
    return "; ".join(note for note in (cells.get("note"), reader.text("note")) if note) or None


def asked_option(reader: RecordReader, key: str, options: tuple[str, ...]) -> str:
    """One of the options, as answered."""
    answer = reader.desk.answer(key, "which of these is it?", options, reader.record.place)
    if answer is None:
        raise Unanswered
    if answer not in options:
        reader.desk.refuse(key, "it is none of these", options, reader.record.place)
        raise Unanswered
    return answer
