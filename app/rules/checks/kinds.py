"""Relations within a row: a kind excludes a column, a column needs another, two columns cannot both be right."""

import re
from collections.abc import Iterator
from datetime import date

from app.catalogue.tables import (
    ENTITIES,
    TABLES,
    Damper,
    Fastener,
    Fill,
    Fit,
    Frame,
    Guide,
    Reading,
    Row,
    Spring,
    SpringChamber,
    Step,
    Torque,
    is_row_of,
)
from app.rules.checks.envelope import FORM
from app.rules.columns import LEVELS, MASSES, VOLUMES
from app.rules.evidence import holds_a_figure
from app.rules.registry import Violation, edit, rule
from app.rules.view import RowView, cell

# By table, then by column and value: the columns that must be empty.
EXCLUDED: dict[type[Row], dict[tuple[str, str], tuple[str, ...]]] = {
    Spring: {
        ("kind", "air"): ("rate", "rate_unit", "preload_min_mm", "preload_max_mm"),
        ("kind", "coil"): ("end_volume_ml", "negative_volume_ml", "port_travel_mm", "pressure_limit", "pressure_unit"),
        ("negative", "own valve"): ("port_travel_mm",),
        ("negative", "coil"): ("port_travel_mm",),
        ("negative", "none"): ("port_travel_mm", "negative_volume_ml"),
    },
    SpringChamber: {("valve", "port"): ("order", "maximum", "relative_to", "offset", "factor_min")},
    Fill: {
        ("amount", "none"): ("fluid", "alternatives", *VOLUMES, *MASSES, *LEVELS),
        ("amount", "greased"): (*VOLUMES, *LEVELS),
    },
    Guide: {
        ("chamber", "positive"): ("preload_turns", "preload_turns_min", "preload_turns_max", "spring_choice"),
        ("chamber", "second positive"): ("preload_turns", "preload_turns_min", "preload_turns_max", "spring_choice"),
        ("chamber", "negative"): ("preload_turns", "preload_turns_min", "preload_turns_max", "spring_choice"),
    },
}  # fmt: skip

# By table and column: it has no meaning unless one of these is given.
NEEDED: dict[type[Row], dict[str, tuple[str, ...]]] = {
    Fill: {
        "level_datum": LEVELS,
        "level_state": LEVELS,
    },
    Guide: {"mass_is": ("rider_mass_from", "rider_mass_to")},
    Reading: {"direction": ("force", "pressure", "at_travel_mm")},
    Damper: {"clicks_from": ("rebound_clicks", "compression_clicks")},
    SpringChamber: {
        "relative_to": ("offset", "factor_min"),
        "offset": ("relative_to",),
        "factor_min": ("relative_to",),
    },
    Fit: {"axle_to_crown_tolerance_mm": ("axle_to_crown_mm",)},
    Spring: {
        "geometry_basis": ("end_volume_ml", "negative_volume_ml", "bore_mm", "port_travel_mm"),
        "length_tolerance_mm": ("shaft_length_mm",),
    },
    Frame: {
        "axle_to_crown_measured": ("axle_to_crown_mm", "axle_to_crown_max_mm"),
        "geometry_sag_mm": ("axle_to_crown_mm",),
        "tyre_front_mm": ("wheel_front",),
        "tyre_rear_mm": ("wheel_rear",),
    },
    Fastener: {"standard": ("thread",)},
}  # fmt: skip
PAGED = [table for table in ENTITIES if {"page", "source"} <= table.columns().keys()]  # a statement always has a source


def _excluded(table: type[Row]) -> tuple[str, ...]:
    return tuple({name: None for (kind, _), names in EXCLUDED[table].items() for name in (kind, *names)})


def _needed(table: type[Row]) -> tuple[str, ...]:
    names = (name for column, needed in NEEDED[table].items() for name in (column, *needed))
    return tuple(dict.fromkeys(names))


@rule(
    "kind-excludes-column",
    shape="row",
    tables=tuple(EXCLUDED),
    silenced_by=(*FORM, "guide-for-another-spring", "unit-without-figure"),
    reads=_excluded,
    passes=edit("springs", "spring-coil", rate="9", rate_unit="N/mm"),
    fails=edit("springs", "spring-plain", rate="8.5", rate_unit="N/mm"),
)
def kind_excludes_column(view: RowView, today: date) -> Iterator[Violation]:
    """A row has a figure that its kind does not have: a rate for an air spring, or a volume for a coil.

    The kind is wrong, or the figure belongs to another row. Calculations use both the kind and the figure.

    Fix: correct the kind, or clear the column and enter the figure in the right row.
    """
    row = view.row
    for (column, kind), names in EXCLUDED[row.model].items():
        if row[column] != kind:
            continue
        given = next((name for name in names if row[name] is not None), None)
        if given is not None:
            yield Violation(row, given, f"{given} {cell(row, given)}, but {column} is {kind}")
            return


@rule(
    "column-needs-another",
    shape="row",
    tables=tuple(NEEDED),
    silenced_by=FORM,
    reads=_needed,
    passes=edit("dampers", "damper-a", compression_clicks=""),
    fails=edit("fills", "fill-spring-leg", level_datum="top of the stanchion"),
)
def column_needs_another(view: RowView, today: date) -> Iterator[Violation]:
    """A column describes a figure that is not given.

    There is a datum without a level, or a tyre height without its wheel. The figure was lost, or is in another row.

    Fix: enter the figure that the column describes, or clear the column.
    """
    row = view.row
    for name, needed in NEEDED[row.model].items():
        if row[name] is not None and all(row[each] is None for each in needed):
            yield Violation(row, name, f"{name} is given, but none of {', '.join(needed)}")
            return


HAND_TIGHT = re.compile(r"(?:by )?(?:hand|finger)[ -]?(?:tight(?:en|ened)?)?(?: only)?", re.IGNORECASE)


@rule(
    "hand-tight-with-torque",
    shape="row",
    nature="implausible",
    tables=(Torque,),
    silenced_by=FORM,
    reads=("instruction", "value", "min", "max"),
    passes=edit("torques", "torque-cap", instruction="hand-tight, then the torque"),
    fails=edit("torques", "torque-cap", instruction="hand-tight", value="25"),
)
def hand_tight_with_torque(view: RowView, today: date) -> Iterator[Violation]:
    """A fastener is to be tightened by hand, and has a torque as well.

    Nobody feels a torque by hand, so only one of the two can be the instruction. The figure was taken from another
    line.

    Fix: clear the torque or the instruction; if the page prints both, copy its words into as_printed.
    """
    row = view.row
    assert is_row_of(row, Torque)
    if row.instruction is None or not HAND_TIGHT.fullmatch(row.instruction):
        return
    given = next((name for name in ("value", "max", "min") if row[name] is not None), None)
    if given is not None:
        yield Violation(row, given, f"{row[given]} {row.unit or ''} for a fastener that is “{row.instruction}”".strip())


@rule(
    "page-without-source",
    shape="row",
    tables=PAGED,
    silenced_by=("source-missing",),
    reads=("page", "source"),
    passes=edit("springs", "spring-plain", source="manual-a", page="6"),
    fails=edit("springs", "spring-plain", source="", page="5"),
)
def page_without_source(view: RowView, today: date) -> Iterator[Violation]:
    """A page is named without a document.

    You cannot look up a page without knowing the document.

    Fix: name the document, or clear the page.
    """
    page = view.row["page"]
    if page is not None and view.row["source"] is None:
        yield Violation(view.row, "page", f"page {page}, but no document")


@rule(
    "as-printed-without-figure",
    shape="row",
    severity="warn",
    tables=tuple(TABLES.values()),
    only_with="as_printed",
    passes=edit("torques", "torque-cap", as_printed="Top cap 25 N·m"),
    fails=edit("torques", "torque-cap", as_printed="see the drawing"),
)
def as_printed_without_figure(view: RowView, today: date) -> Iterator[Violation]:
    """The words of the page contain none of the figures of the row.

    Such words prove nothing. They were copied from another line, or the figure was changed later.

    Fix: copy the words that print the figure, or clear as_printed.
    """
    words = view.row["as_printed"]
    if words is None or (view.row.role == "entity" and not any(letter.isdigit() for letter in words)):
        return  # it supports a name
    if not holds_a_figure(view.row):
        yield Violation(view.row, "as_printed", "these words contain no figure of this row")


ACTIONS_NEED = {
    "fill": "chamber", "grease": "place", "loosen": "fastener_position", "back-off": "fastener_position",
    "tighten": "fastener_position",
}  # fmt: skip
TURNING = ("loosen", "back-off", "tighten", "set", "remove")


@rule(
    "step-incomplete",
    shape="row",
    tables=(Step,),
    silenced_by=("slot-unfillable",),
    reads=("action", "chamber", "place", "fastener_position", "turns"),
    passes=edit("steps", "step-4", text="Fill the oil in."),
    fails=edit("steps", "step-3", text="Grease the wipers.", place=""),
)
def step_incomplete(view: RowView, today: date) -> Iterator[Violation]:
    """A step does not say what it works on: a fill without a chamber, or a torque without a fastener.

    The card could not give the figure, and nothing could check that everything opened is closed again.

    Fix: name the chamber, place or fastener position; give turns only in a step that turns something.
    """
    row = view.row
    assert is_row_of(row, Step)
    needed = ACTIONS_NEED.get(row.action)
    if needed is not None and row[needed] is None:
        yield Violation(row, needed, f"a step that says {row.action} needs {needed}")
    elif row.turns is not None and row.action not in TURNING:
        yield Violation(row, "turns", f"{row.turns} turns in a step that says {row.action}")
