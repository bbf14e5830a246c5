"""Torques by fastener: fasteners that are not there yet, and their torques."""

import re

from app.catalogue.tables import Fastener, Torque
from app.catalogue.words import meant
from app.drafts.cells import RecordReader, Unanswered
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

_HAND_TIGHT = re.compile(r"(?:hand|finger)[- ]?tight(?:en)?(?:ed)?", re.IGNORECASE)
_KIND_WORDS = {
    "bolt": "bolt", "bolts": "bolt", "nut": "nut", "nuts": "nut", "cap": "cap", "set screw": "set screw",
    "seal head": "threaded seal head", "valve core": "valve core",
}  # fmt: skip


def torques(readers: list[RecordReader], rows: DerivedRows) -> None:
    """The fasteners and torques of a grid."""
    build_each(readers, lambda reader: _torque(reader, rows))


def _torque(reader: RecordReader, rows: DerivedRows) -> None:
    position = reader.word("position")
    if position is None:
        reader.desk.remark("a line without a fastener is left out", reader.record.place)
        return
    words = _words(reader)
    instruction = "; ".join(each for each in (words, reader.text("instruction")) if each) or None
    cells = limited(None if words else reader.figure("value"), "value", "min", "max", "unit")
    for end in ("min", "max"):
        cells |= _limit(reader, end, cells)
    if not any(cells.get(name) for name in ("value", "min", "max")) and instruction is None:
        reader.desk.remark(f"“{position}” has no torque; there is no row for it", reader.record.place)
        return
    statement = statement_cells(reader, rows) | travel_scope(reader)
    fastener = _fastener(reader, rows, position, statement)
    more: Cells = {
        "fastener": fastener.id, "stage": reader.count("stage"), "order": reader.count("order"),
        "mating_material": reader.text("mating_material"), "instruction": instruction,
        "recheck": reader.text("recheck"), "thread_prep": reader.choice("thread_prep"), "note": noted(cells, reader),
    }  # fmt: skip
    rows.state(Torque, statement | cells | more, reader.record.place)


def _words(reader: RecordReader) -> str | None:
    """The words of a cell that has no figure: tighten by hand."""
    placed = reader.record.cells.get("value")
    is_plain = placed is not None and placed.cell.doubt is None and _HAND_TIGHT.fullmatch(placed.cell.text.strip(" ."))
    return placed.cell.text.strip() if placed is not None and is_plain else None


def _limit(reader: RecordReader, end: str, cells: Cells) -> Cells:
    """A limit that has a column of its own, in the unit of the other figures."""
    found = reader.figure(end)
    if found is None:
        return {}
    unit = None if found.unit is None else found.unit.name
    if found.value is None or found.low is not None or found.high is not None or found.about:
        raise reader.unfit(end, "a limit is one figure")
    if cells.get("unit") not in (None, unit):
        raise reader.unfit(end, f"its unit is not {cells['unit']}, as that of the torque")
    return {end: found.value, "unit": unit}


def _fastener(reader: RecordReader, rows: DerivedRows, position: str, statement: Cells) -> Fastener:
    """The fastener of the chassis at a position, stored or new."""
    section = reader.record.section
    side = reader.word("side") or (section and (meant("side", section) or section))
    chassis = statement["chassis"]
    there = [
        each
        for each in rows.known(Fastener, "chassis", chassis)
        if each.position.casefold() == position.casefold()
        and (side is None or each.side is None or each.side.casefold() == side.casefold())
    ]
    if len(there) > 1:
        sides = tuple(each.side or "" for each in there)
        key = f"side of {position}"
        answer = reader.desk.answer(key, "the catalogue has several fasteners there", sides, reader.record.place)
        there = [each for each in there if each.side == answer]
        if len(there) != 1:
            raise Unanswered
    given: Cells = {
        "count": reader.count("count"), "drives": reader.text("drives"), "thread": reader.text("thread"),
    }  # fmt: skip
    if there:
        kind = reader.choice("kind") if reader.has("kind") else None
        return rows.add(Fastener, {"id": there[0].id, "kind": kind, **given}, reader.record.place, there[0])
    own: Cells = {
        "chassis": chassis, "position": position, "side": side,
        "kind": _kind(reader, reader.text("position") or position),
        "source": statement["source"], "page": statement["page"],
    }  # fmt: skip
    return rows.add_new(Fastener, own | given, reader.record.place)


def _kind(reader: RecordReader, position: str) -> str:
    """The kind of a new fastener: from its cell, or the one kind that its position names, or the answer."""
    words = {kind for word, kind in _KIND_WORDS.items() if re.search(rf"\b{word}\b", position, re.IGNORECASE)}
    kind = reader.choice("kind", words.pop() if len(words) == 1 else None)
    return kind or asked_option(reader, f"kind of {position}", Fastener.columns()["kind"].options)
