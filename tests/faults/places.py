"""Right figures in the wrong place: of another chassis, drive, chamber, wheel, damper, year."""

from random import Random
from typing import get_args

from app.catalogue.tables import Chamber, Chassis, Fastener, Fill, Fit, Fluid, Grease, Torque, Variant, is_row_of
from tests.faults.fault import Fault, Ground, instead, kind, one_cell, pick, pick_statement, several_cells


@kind("years shifted over a neighbour", beyond=True, missed="both generations say the same")
def years_of_statement(rows: Ground, draw: Random) -> Fault | None:
    """A statement with years that start or end within those of its neighbour on the same subject."""
    table: type[Fill] | type[Torque] | type[Fit] = draw.choice((Fill, Torque, Fit))
    row = pick(rows, draw, table)
    if row is None or (row.model_year_from is None) == (row.model_year_to is None):
        return None
    if row.exception_to is not None:
        return None
    column, step = ("model_year_from", -1) if row.model_year_from is not None else ("model_year_to", 1)
    neighbours = [
        each
        for each in rows.where(row.model, "chassis", row.chassis)
        if each.id != row.id and all(each.cells()[name] == row.cells()[name] for name in _about(row))
    ]
    if not neighbours:
        return None
    return one_cell(row, column, str(int(row.cells()[column]) + step * draw.randint(1, 2)))


def _about(row: Fill | Torque | Fit) -> tuple[str, ...]:
    if is_row_of(row, Fit):
        return ("spring", "wheel_size")
    return ("chamber",) if is_row_of(row, Fill) else ("fastener",)


@kind(
    "a generation's years shifted over its neighbour",
    beyond=True,
    missed="two generations may share years if something distinguishes them, and nothing else has a date",
)
def years_of_chassis(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Chassis)
    if row is None or row.model_year_from is None or row.model_year_to is None:
        return None
    kin = [each for each in rows.family(row.maker, row.name) if each.id != row.id and each.model_year_from is not None]
    if not kin:
        return None
    other = draw.choice(kin)
    later = (other.model_year_from or 0) > row.model_year_from
    least = (
        (other.model_year_from or 0) - row.model_year_to if later else row.model_year_from - (other.model_year_to or 0)
    )
    years = (max(1, least) + draw.randint(0, 1)) * (1 if later else -1)
    cells = {name: str(int(row.cells()[name]) + years) for name in ("model_year_from", "model_year_to")}
    return several_cells(row, cells, "model_year_from")


@kind("wrong chassis", beyond=False, missed="another generation says the same or nothing about it")
def wrong_chassis(rows: Ground, draw: Random) -> Fault | None:
    row, other = pick_statement(rows, draw), pick(rows, draw, Chassis)
    own = None if row is None else rows.one(Chassis, row.chassis)
    if row is None or own is None or other is None:
        return None
    kin = [each for each in rows.family(own.maker, own.name) if each.id != own.id]
    if kin and draw.random() < 0.5:
        other = draw.choice(kin)
    if other.id == row.chassis:
        return None
    return instead(row, f"{row.id}-x", chassis=other.id)


@kind("wrong drive", beyond=False, missed="the only fastener of its position and thread in the family")
def wrong_drive(rows: Ground, draw: Random) -> Fault | None:
    row, other = pick(rows, draw, Fastener), pick(rows, draw, Fastener)
    if row is None or other is None or not row.drives or not other.drives or set(row.drives) & set(other.drives):
        return None
    return one_cell(row, "drives", other.cells()["drives"])


@kind("oil in the wrong chamber", beyond=False, missed="two chambers that take the same oil in like volumes")
def wrong_chamber(rows: Ground, draw: Random) -> Fault | None:
    """Damper oil in a leg or the reverse, or the whole fill under the name of another chamber."""
    row = pick(rows, draw, Fill)
    if row is None:
        return None
    if draw.random() < 0.5:
        oils = [each for each in rows.listed(Fluid) if each.kind in ("damper oil", "bath oil")]
        own = rows.one(Fluid, row.fluid or "")
        others = [each.id for each in oils if own is not None and each.kind != own.kind]
        return one_cell(row, "fluid", draw.choice(others)) if others else None
    chamber = draw.choice([each for each in get_args(Chamber) if each != row.chamber])
    return instead(row, f"{row.id}-x", chamber=chamber)


@kind("grease where oil belongs, oil where grease does", beyond=False, missed="both are used above an air piston")
def wrong_lubricant(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, draw.choice((Grease, Fill)))
    if row is None:
        return None
    wanted = ("grease",) if is_row_of(row, Fill) else ("damper oil",)
    others = [each.id for each in rows.listed(Fluid) if each.kind in wanted]
    return one_cell(row, "fluid", draw.choice(others)) if others else None


@kind("wrong wheel", beyond=False, missed="the other wheel of the chassis, about which nothing is stated")
def wrong_wheel(rows: Ground, draw: Random) -> Fault | None:
    row = pick_statement(rows, draw)
    if row is None or row.wheel_size is None:
        return None
    others = [each for each in (559, 584, 622) if each not in row.wheel_size]
    return one_cell(row, "wheel_size", str(draw.choice(others)))


@kind("wrong damper", beyond=False, missed="another damper of the same chassis")
def wrong_damper(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, draw.choice((Fill, Fit, Torque)))
    other = pick(rows, draw, Variant)
    if row is None or row.damper is None or other is None or not other.dampers:
        return None
    return one_cell(row, "damper", draw.choice(other.dampers))


@kind("wrong fastener", beyond=False, missed="the twin on the other side, which takes the same torque")
def wrong_fastener(rows: Ground, draw: Random) -> Fault | None:
    row, other = pick(rows, draw, Torque), pick(rows, draw, Fastener)
    if row is None or other is None:
        return None
    own = [each.id for each in rows.where(Fastener, "chassis", row.chassis)]
    fastener = draw.choice(own) if own and draw.random() < 0.5 else other.id
    return None if fastener == row.fastener else instead(row, f"{row.id}-x", fastener=fastener)
