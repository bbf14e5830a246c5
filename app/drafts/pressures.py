"""Start pressures by rider mass: one guide for each bracket, run of travels with equal columns, and chamber."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby

from app.catalogue.tables import Guide
from app.drafts.cells import RecordReader, Unanswered
from app.drafts.rows import DerivedRows
from app.drafts.statements import Cells, build_each, limited, noted, ranged, statement_cells, travel_scope

_WIDEST_STEP = 1
_ASK = re.compile(r"(?:ask|contact|consult) (?:the |your )?(?:maker|manufacturer|dealer)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class _Bracket:
    """Masses from `low` to `high`; `is_closed` says that `high` belongs to it as printed, as in 60–69 kg."""

    low: str | None
    high: str | None
    unit: str
    is_closed: bool


_Taken = tuple[RecordReader, _Bracket, Cells]
_Ends = Mapping[_Bracket, str | None]


def pressures(readers: list[RecordReader], rows: DerivedRows) -> None:
    """The guides of a grid of start pressures."""
    taken: list[_Taken] = []

    def take(reader: RecordReader) -> None:
        bracket, words = _bracket(reader), _words(reader)
        figure = None if words else reader.figure("pressure")
        if bracket is None or (figure is None and words is None):
            reader.desk.remark("a line without a rider mass or a pressure gives no row", reader.record.place)
            return
        cells = statement_cells(reader, rows) | travel_scope(reader)
        cells |= limited(figure, "pressure", "pressure_min", "pressure_max", "pressure_unit")
        cells |= {
            "note": noted(cells, reader),
            "chamber": reader.record.at.get("chamber") or reader.choice("chamber", "positive"),
            "mass_unit": bracket.unit,
            "mass_is": reader.choice("mass_is", "not stated"),
            "riding": reader.record.at.get("riding") or reader.text("riding"),
            "instruction": words,
        }
        cells |= ranged(reader, "sag_percent", "sag_min_percent", "sag_max_percent")
        for name in ("rebound_clicks", "compression_clicks"):
            clicks = ranged(reader, name, f"{name}_min", f"{name}_max")
            cells |= {column: text and text.removesuffix(".0") for column, text in clicks.items()}
        taken.append((reader, bracket, cells))

    build_each(readers, take)
    ends = _ends([bracket for _, bracket, _ in taken])
    guides = {id(reader): (bracket, cells) for reader, bracket, cells in _runs(taken)}
    build_each(
        [reader for reader, _, _ in taken if id(reader) in guides],
        lambda reader: _guide(reader, *guides[id(reader)], ends, rows),
    )


def _words(reader: RecordReader) -> str | None:
    """The words of a cell that has no pressure: ask the maker."""
    placed = reader.record.cells.get("pressure")
    is_plain = placed is not None and placed.cell.doubt is None and _ASK.fullmatch(placed.cell.text.strip(" ."))
    return placed.cell.text.strip(" .").lower() if placed is not None and is_plain else None


def _bracket(reader: RecordReader) -> _Bracket | None:
    """The masses of a line; an open end is empty."""
    found = reader.figure("rider_mass")
    if found is None:
        return None
    if found.value is not None or found.unit is None or found.about:
        raise reader.unfit("rider_mass", "from which mass to which? Write it like 60–70, <60 or 100+")
    return _Bracket(found.low, found.high, found.unit.name, found.high is not None and not found.strict)


def _ends(brackets: list[_Bracket]) -> _Ends:
    """The first mass that a bracket does not include.

    60–69, 70–79 end before 70 and 80; 60–70, 70–80 at 70 and 80. If the brackets of a table differ in this, or there is
    only one, its end is not known.
    """
    lows = [Decimal(each.low) for each in brackets if each.low]
    steps = set()
    for each in brackets:
        if each.high is not None and each.is_closed:
            gaps = [low - Decimal(each.high) for low in lows if low >= Decimal(each.high)]
            steps.update([min(gaps)] if gaps else [])
    step = steps.pop() if len(steps) == 1 else None
    found: dict[_Bracket, str | None] = {}
    for each in brackets:
        if each.high is None or not each.is_closed:
            found[each] = each.high
        elif step is not None and step <= _WIDEST_STEP:
            found[each] = f"{Decimal(each.high) + step:f}"
    return found


def _runs(taken: list[_Taken]) -> list[_Taken]:
    """One record in place of those of neighbouring travels whose columns are equal for every mass."""
    columns: dict[tuple[str | None, ...], list[_Taken]] = {}
    for each in taken:
        columns.setdefault((each[2]["travel_from_mm"], each[2]["travel_to_mm"]), []).append(each)
    if any(None in key for key in columns):
        return taken

    def content(key: tuple[str | None, ...]) -> list[tuple[_Bracket, Cells]]:
        apart = ("travel_from_mm", "travel_to_mm", "page")
        return [
            (bracket, {name: text for name, text in cells.items() if name not in apart})
            for _, bracket, cells in columns[key]
        ]

    found: list[_Taken] = []
    for _, run in groupby(sorted(columns, key=lambda key: Decimal(str(key[0]))), key=lambda key: repr(content(key))):
        keys = list(run)
        for reader, bracket, cells in columns[keys[0]]:
            found.append((reader, bracket, {**cells, "travel_to_mm": keys[-1][1]}))
    return found


def _guide(reader: RecordReader, bracket: _Bracket, cells: Cells, ends: _Ends, rows: DerivedRows) -> None:
    if bracket in ends:
        end = ends[bracket]
    else:
        key = f"end of {bracket.low or ''}–{bracket.high} {bracket.unit}"
        why = "what is the first mass that is no longer in this bracket?"
        end = reader.desk.answer(key, why, (str(bracket.high),), reader.record.place)
        if end is None:
            raise Unanswered
    cells = {**cells, "rider_mass_from": bracket.low, "rider_mass_to": end}
    rows.state(Guide, cells, reader.record.place)
