"""The usual range of a figure, said at its field. The rules judge by the same wide bands."""

from collections.abc import Mapping

from app.catalogue.columns import Column
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Fastener, Fill, Fit, Guide, Interval, Limit, Row, Spring, Torque
from app.rules.bands import DIMENSIONS, FILL, HOURS, LEVEL_MM, LIMITS, PRESSURE_KPA, RIDER_KG, Bounds, torque_band
from app.rules.threads import thread_of

_PRESSURE_BAR = Bounds(PRESSURE_KPA.low / 100, round(PRESSURE_KPA.high / 100))


def usual(snapshot: Snapshot, table: type[Row], column: Column, typed: Mapping[str, str]) -> str:
    """The usual range of a column in words; empty if none is known."""
    found = _band(snapshot, table, column, typed)
    if found is None:
        return ""
    band, unit = found
    return f"usually {band.low:g} to {band.high:g} {unit}".rstrip()


def _band(snapshot: Snapshot, table: type[Row], column: Column, typed: Mapping[str, str]) -> tuple[Bounds, str] | None:
    name = column.name
    if table is Torque and column.measures == "torque" and column.unit_column:
        fastener = snapshot.one(Fastener, typed.get("fastener", ""))
        return None if fastener is None else (_torque(fastener), "N·m")
    if table is Fill and column.measures == "volume" and column.unit_column:
        return (FILL[typed["chamber"]], "mL") if typed.get("chamber") in FILL else None
    if table is Fill and name.startswith("level_") and column.unit == "mm":
        return LEVEL_MM, "mm"
    if table is Limit and name in ("min", "max") and typed.get("subject") in LIMITS:
        _, unit, band = LIMITS[typed["subject"]]
        return band, unit
    if table is Interval and name == "hours" and typed.get("operation") in HOURS:
        return HOURS[typed["operation"]], "h"
    if column.measures == "pressure" and column.unit_column and (table in (Guide, Fit, Spring) or name == "maximum"):
        return _PRESSURE_BAR, "bar"
    if table is Guide and column.measures == "mass" and column.unit_column:
        return RIDER_KG, "kg"
    if table.table in DIMENSIONS and name in DIMENSIONS[table.table]:
        return DIMENSIONS[table.table][name], column.unit or ""
    return None


def _torque(fastener: Fastener) -> Bounds:
    thread = None if fastener.thread is None else thread_of(fastener.thread)
    millimetres = None if thread is None else round(thread.diameter_m * 1000, 3)
    return torque_band(fastener.position, fastener.kind, millimetres, fastener.material)
