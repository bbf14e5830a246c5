"""Relations within a row: a kind excludes a column, a column needs another, two columns cannot both be right."""

from collections.abc import Iterator
from datetime import date

from app.catalogue.tables import (
    ENTITIES,
    TABLES,
    Damper,
    Fastener,
    Fill,
    Frame,
    Guide,
    Reading,
    Row,
    Spring,
    Step,
    is_row_of,
)
from app.rules.checks.envelope import FORM
from app.rules.evidence import holds_a_figure
from app.rules.registry import Violation, edit, rule
from app.rules.view import RowView, cell

# By table, then by column and value: the columns that such a thing does not have.
EXCLUDED: dict[type[Row], dict[tuple[str, str], tuple[str, ...]]] = {
    Spring: {
        ("kind", "air"): ("rate", "rate_unit", "preload_min_mm", "preload_max_mm"),
        ("kind", "coil"): ("end_volume_ml", "negative_volume_ml", "port_travel_mm", "pressure_limit", "pressure_unit"),
        ("negative", "own valve"): ("port_travel_mm",),
        ("negative", "coil"): ("port_travel_mm",),
        ("negative", "none"): ("port_travel_mm", "negative_volume_ml"),
    },
    Guide: {
        ("chamber", "positive"): ("preload_turns", "spring_choice"),
        ("chamber", "negative"): ("preload_turns", "spring_choice"),
    },
}  # fmt: skip

# By table and column: it says nothing unless one of these is given.
NEEDED: dict[type[Row], dict[str, tuple[str, ...]]] = {
    Fill: {
        "level_datum": ("level_mm", "level_min_mm", "level_max_mm"),
        "level_state": ("level_mm", "level_min_mm", "level_max_mm"),
    },
    Guide: {"mass_is": ("rider_mass_from", "rider_mass_to")},
    Reading: {"direction": ("force", "pressure", "at_travel_mm")},
    Damper: {"clicks_from": ("rebound_clicks", "compression_clicks")},
    Spring: {"geometry_basis": ("end_volume_ml", "negative_volume_ml", "bore_mm", "port_travel_mm")},
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
    """A row has a figure that a thing of its kind does not have: the rate of an air spring, the volume of a coil.

    The kind is wrong, or the figure belongs to another row; both would be computed with.

    Fix: correct the kind, or empty the column and write the figure where it belongs.
    """
    fields = view.row.values()
    for (column, kind), names in EXCLUDED[view.row.model].items():
        if fields[column] != kind:
            continue
        given = next((name for name in names if fields[name] is not None), None)
        if given is not None:
            yield Violation(view.row, given, f"{given} {cell(view.row, given)}, but {column} is {kind}")
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
    """A column says how something is meant, and that something is not given.

    A datum without a level, or a height of a tyre without its wheel: the figure was lost, or is in another row.

    Fix: write the figure that the column is about, or empty the column.
    """
    fields = view.row.values()
    for name, needed in NEEDED[view.row.model].items():
        if fields[name] is not None and all(fields[each] is None for each in needed):
            yield Violation(view.row, name, f"{name} is given, but none of {', '.join(needed)}")
            return


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
    """A page is named and no document.

    A page of which nobody knows the document cannot be looked up.

    Fix: name the document, or empty the page.
    """
    fields = view.row.values()
    if fields["page"] is not None and fields["source"] is None:
        yield Violation(view.row, "page", f"page {fields['page']} of no document")


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
    """The words of the page hold none of the figures of the row.

    Such words bear out nothing: they were copied from another line, or the figure was changed after them.

    Fix: copy the words that print the figure, or empty as_printed.
    """
    words = view.row["as_printed"]
    if words is None or (view.row.role == "entity" and not any(letter.isdigit() for letter in words)):
        return  # it bears out a name
    if not holds_a_figure(view.row):
        yield Violation(view.row, "as_printed", "no figure of this row is in these words")


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
    """A step does not say what it works on: a filling without a chamber, a tightening without a fastener.

    The card could not give its figure, and nobody could check that what was opened is closed again.

    Fix: name the chamber, place or fastener position; turns belong to a step that turns something.
    """
    row = view.row
    assert is_row_of(row, Step)
    needed = ACTIONS_NEED.get(row.action)
    if needed is not None and row[needed] is None:
        yield Violation(row, needed, f"a step that says {row.action} needs {needed}")
    elif row.turns is not None and row.action not in TURNING:
        yield Violation(row, "turns", f"{row.turns} turns in a step that says {row.action}")
