"""Contradictions of every table: with the catalogue itself, or with what a thing of that kind can have.

Derived from the descriptions of the tables: for each column, a value that makes another column, row or table untrue.
These kinds are counted apart from the slips of figures, because their shares measure something else.
"""

from collections.abc import Callable
from random import Random

from app.catalogue.tables import (
    Chassis,
    Damper,
    Fastener,
    Fit,
    Frame,
    Guide,
    Row,
    Spring,
    Variant,
)
from tests.faults.fault import Fault, Ground, Maker, Put, kind, one_cell, pick, spoilt


def contradiction(name: str, missed: str = "") -> Callable[[Maker], Maker]:
    """Register a kind of this group."""
    return kind(name, beyond=False, missed=missed, group="contradiction")


def as_new(row: Row | None, **cells: str) -> Fault | None:
    """Another row like this one, with these cells."""
    if row is None:
        return None
    after = spoilt(row, id=f"{row.id}-x", **cells)
    column = next(iter(cells))
    return None if after is None else Fault((Put(None, after),), after, row.cells()[column], cells[column])


def drawn(rows: Ground, draw: Random, table: type[Row], **wanted: object) -> Row | None:
    """A row of the table whose columns have these values."""
    found = [
        row for row in rows.listed(table) if all(row[name] == value for name, value in wanted.items())
    ]  # fmt: skip
    return draw.choice(found) if found else None


def damper_of(rows: Ground, guide: Guide) -> Damper | None:
    """The damper a guide is for: its own, or the only one of its chassis."""
    chassis = rows.one(Chassis, guide.chassis)
    names = guide.damper or (chassis.dampers or () if chassis is not None else ())
    return rows.one(Damper, names[0]) if len(names) == 1 else None


def spring_of(rows: Ground, fit: Fit) -> Spring | None:
    return rows.one(Spring, fit.spring)


def fit_of_kind(rows: Ground, draw: Random, kind: str) -> Fit | None:
    found = [fit for fit in rows.listed(Fit) if (s := spring_of(rows, fit)) is not None and s.kind == kind]
    return draw.choice(found) if found else None


def _frame(rows: Ground, draw: Random) -> Frame | None:
    needed = (
        "reach_mm",
        "stack_mm",
        "wheelbase_mm",
        "head_angle_deg",
        "axle_to_crown_mm",
        "chainstay_mm",
        "bb_drop_mm",
    )
    found = [row for row in rows.listed(Frame) if all(row[name] is not None for name in needed)]
    return draw.choice(found) if found else None


def _moved(row: Frame | None, draw: Random, column: str, *steps: float) -> Fault | None:
    if row is None:
        return None
    return one_cell(row, column, f"{float(row[column]) + draw.choice(steps):g}")


@contradiction("a frame: reach of another size")
def reach(rows: Ground, draw: Random) -> Fault | None:
    return _moved(_frame(rows, draw), draw, "reach_mm", -40, -25, -20, 20, 25, 40)


@contradiction("a frame: wheelbase of another size")
def wheelbase(rows: Ground, draw: Random) -> Fault | None:
    return _moved(_frame(rows, draw), draw, "wheelbase_mm", -55, -27, -20, 20, 27, 55)


@contradiction(
    "a frame: head angle misread",
    missed="half a degree moves the head tube less than the tolerance of printed geometry",
)
def head_angle(rows: Ground, draw: Random) -> Fault | None:
    return _moved(_frame(rows, draw), draw, "head_angle_deg", -2, -1.5, 1.5, 2, 3)


@contradiction("a frame: chainstay of another")
def chainstay(rows: Ground, draw: Random) -> Fault | None:
    return _moved(_frame(rows, draw), draw, "chainstay_mm", -25, -20, -15, 15, 20, 30)


@contradiction("a frame: stack of another size")
def stack(rows: Ground, draw: Random) -> Fault | None:
    return _moved(_frame(rows, draw), draw, "stack_mm", -60, -45, -36, 36, 45, 60)


@contradiction("a frame: geometry for a fork longer than it permits")
def own_fork(rows: Ground, draw: Random) -> Fault | None:
    row = _frame(rows, draw)
    return None if row is None else one_cell(row, "axle_to_crown_max_mm", f"{float(row.axle_to_crown_mm or 0) - 5:g}")


@contradiction("a frame: drop for a drop over the axles, or as long as the chainstay")
def drop(rows: Ground, draw: Random) -> Fault | None:
    row = _frame(rows, draw)
    return (
        None if row is None else one_cell(row, "bb_drop_mm", draw.choice((row.cells()["chainstay_mm"], "350", "-320")))
    )


@contradiction("a frame: a wheel that is none")
def wheel(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Frame)
    return (
        None
        if row is None
        else one_cell(row, draw.choice(("wheel_front", "wheel_rear")), draw.choice(("29", "650", "700", "621")))
    )


@contradiction("a chassis: an axle for which no hub of that width is made")
def axle(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Chassis)
    if row is None or row.hub_spacings_mm is None:
        return None
    return one_cell(row, "axle_diameters_mm", draw.choice(("9", "17", "51"))) if 110.0 in row.hub_spacings_mm else None


@contradiction("a chassis: a single crown with bolts of two")
def crowns(rows: Ground, draw: Random) -> Fault | None:
    places = {row.chassis for row in rows.listed(Fastener) if "crown" in row.position and row.chassis is not None}
    found = [row for id in sorted(places) if (row := rows.one(Chassis, id)) is not None and row.crowns == "dual"]
    return one_cell(draw.choice(found), "crowns", "single") if found else None


@contradiction("a chassis: a wheel name for its bead seat")
def wheel_name(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Chassis)
    return (
        None
        if row is None or row.wheel_sizes is None
        else one_cell(row, "wheel_sizes", draw.choice(("29", "650", "275")))
    )


@contradiction("a variant: serials of another")
def serials(rows: Ground, draw: Random) -> Fault | None:
    found = [row for row in rows.listed(Variant) if row.serial_from is not None and row.serial_to is not None]
    if not found:
        return None
    row = draw.choice(found)
    return as_new(row, name=f"{row.name} Two", model_code="", serial_from=row.cells()["serial_to"])


@contradiction("a variant: the code of another")
def code(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Variant)
    others = [] if row is None else [each for each in rows.where(Variant, "chassis", row.chassis) if each.id != row.id]
    given = [each.model_code for each in others if each.model_code is not None and each.serial_from is None]
    return None if row is None or not given else one_cell(row, "model_code", draw.choice(given))


@contradiction("a variant: produced years before its model years")
def produced(rows: Ground, draw: Random) -> Fault | None:
    found = [row for row in rows.listed(Variant) if row.model_year_from is not None]
    if not found:
        return None
    row = draw.choice(found)
    return one_cell(row, "produced_from", f"{(row.model_year_from or 0) - draw.choice((4, 6, 10))}-03")
