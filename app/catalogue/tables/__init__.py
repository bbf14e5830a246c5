"""One description per table; SQL table, Table Schema, CSV reader, JSON row, template and docs derive from these."""

from app.catalogue.tables.entities import (
    AirChamber,
    Chamber,
    Chassis,
    Damper,
    Fastener,
    Fluid,
    Frame,
    Maker,
    Part,
    Procedure,
    Source,
    Spacer,
    Spring,
    SpringChamber,
    Step,
    Tool,
    Variant,
)
from app.catalogue.tables.row import CLAIM, SCOPE, Row, from_cells, is_row_of
from app.catalogue.tables.statements import (
    Adjustment,
    Fill,
    Fit,
    Grease,
    Guide,
    Interval,
    Limit,
    Reading,
    Statement,
    Torque,
    Use,
)

ENTITIES: tuple[type[Row], ...] = (
    Maker, Source, Chassis, Variant, Spring, SpringChamber, Damper, Spacer, Part, Fluid, Tool, Fastener, Frame,
    Procedure, Step,
)  # fmt: skip
STATEMENTS: tuple[type[Statement], ...] = (Fit, Torque, Fill, Grease, Use, Limit, Interval, Guide, Reading, Adjustment)
TABLES: dict[str, type[Row]] = {table.table: table for table in (*ENTITIES, *STATEMENTS)}

__all__ = [
    "CLAIM", "ENTITIES", "SCOPE", "STATEMENTS", "TABLES", "Adjustment", "AirChamber", "Chamber", "Chassis", "Damper",
    "Fastener", "Fill", "Fit", "Fluid", "Frame", "Grease", "Guide", "Interval", "Limit", "Maker", "Part", "Procedure",
    "Reading", "Row", "Source", "Spacer", "Spring", "SpringChamber", "Statement", "Step", "Tool", "Torque", "Use",
    "Variant", "from_cells", "is_row_of",
]  # fmt: skip
