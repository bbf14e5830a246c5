"""The tables and columns that are enough to begin: a fork with its springs, one bolt, its torque and its tool."""

from collections.abc import Mapping

from app.catalogue.columns import Column
from app.catalogue.tables import TABLES, Row
from app.catalogue.words import OWN, listed

Wanted = Mapping[str, tuple[str, ...]]

MINIMAL: Wanted = {
    "makers": ("id", "name", "source", "page"),
    "sources": ("id", "title", "edition", "published_on", "kind"),
    "chassis": (
        "id", "maker", "name", "model_year_from", "model_year_to", "wheel_sizes", "travel_min_mm", "travel_max_mm",
        "source", "page",
    ),
    "springs": ("id", "maker", "name", "part_number", "kind", "source", "page"),
    "tools": ("id", "name", "drive", "source", "page"),
    "fasteners": ("id", "chassis", "position", "side", "kind", "drives", "source", "page"),
    "fits": (
        "id", "chassis", "spring", "travel_mm", "spacer_limit", "pressure_limit", "pressure_unit", "source", "page",
    ),
    "torques": ("id", "chassis", "fastener", "value", "unit", "source", "page"),
}  # fmt: skip


def columns_of(table: type[Row], wanted: Wanted | None) -> dict[str, Column]:
    """The wanted columns of a table, in exchange order; all of them without a choice."""
    names = None if wanted is None else wanted[table.table]
    return {name: column for name, column in table.columns().items() if names is None or name in names}


def tables_of(wanted: Wanted | None) -> list[type[Row]]:
    """The wanted tables; all of them without a choice."""
    return [table for name, table in TABLES.items() if wanted is None or name in wanted]


def explained(column: Column) -> str:
    """The content of a column, in one line."""
    parts = [column.meaning + (" (every row needs it)" if column.required else "")]
    parts += [f"in {column.unit}"] if column.unit is not None else []
    parts += [f"its unit goes in {column.unit_column}"] if column.unit_column is not None else []
    if column.options:
        parts.append("one of: " + ", ".join(column.options))
    elif column.kind.words is not None:
        parts.append("one of: " + ", ".join(listed(column.kind.words)) + f"; or {OWN} and a word of your own")
    elif column.refers_to is not None:
        parts.append(f"an id of {column.refers_to}")
    parts += ["several are separated by semicolons"] if column.kind.items is not None else []
    parts += [f"example: {column.example}"] if column.example is not None else []
    return "\n".join(parts)
