"""Contradictions of every table: what the catalogue itself says elsewhere, or a thing of that kind cannot have.

Written from the descriptions of the tables: for each column, what would make another column, row or table untrue. The
kinds are counted apart from the slips of figures, because a share of these says something else.
"""

from collections.abc import Callable
from random import Random

from app.catalogue.tables import (
    Chassis,
    Damper,
    Fastener,
    Fill,
    Fit,
    Fluid,
    Frame,
    Grease,
    Guide,
    Interval,
    Limit,
    Part,
    Procedure,
    Reading,
    Row,
    Source,
    Spacer,
    Spring,
    Step,
    Torque,
    Use,
    Variant,
)
from tests.faults.fault import Fault, Ground, Maker, Put, kind, one_cell, pick, several_cells, spoilt, written


def contradiction(name: str, missed: str = "") -> Callable[[Maker], Maker]:
    """Register a kind of this group."""
    return kind(name, beyond=False, missed=missed, group="contradiction")


def _new(row: Row | None, **cells: str) -> Fault | None:
    """A further row like this one, with these cells."""
    if row is None:
        return None
    after = spoilt(row, id=f"{row.id}-x", **cells)
    column = next(iter(cells))
    return None if after is None else Fault((Put(None, after),), after, row.cells()[column], cells[column])


def _drawn(rows: Ground, draw: Random, table: type[Row], **wanted: object) -> Row | None:
    """A row of the table whose columns have these values."""
    found = [
        row for row in rows.listed(table) if all(row.__dict__[name] == value for name, value in wanted.items())
    ]  # fmt: skip
    return draw.choice(found) if found else None


def _damper_of(rows: Ground, guide: Guide) -> Damper | None:
    """The damper a guide is for: its own, or the only one of its chassis."""
    chassis = rows.one(Chassis, guide.chassis)
    names = (guide.damper,) if guide.damper is not None else (chassis.dampers or () if chassis is not None else ())
    return rows.one(Damper, names[0]) if len(names) == 1 else None


def _spring_of(rows: Ground, fit: Fit) -> Spring | None:
    return rows.one(Spring, fit.spring)


def _fit(rows: Ground, draw: Random, kind: str) -> Fit | None:
    found = [fit for fit in rows.listed(Fit) if (s := _spring_of(rows, fit)) is not None and s.kind == kind]
    return draw.choice(found) if found else None


# ---- frames


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
    found = [row for row in rows.listed(Frame) if all(row.__dict__[name] is not None for name in needed)]
    return draw.choice(found) if found else None


def _moved(row: Frame | None, draw: Random, column: str, *steps: float) -> Fault | None:
    if row is None:
        return None
    return one_cell(row, column, f"{float(row.__dict__[column]) + draw.choice(steps):g}")


@contradiction("a frame: reach of another size")
def reach(rows: Ground, draw: Random) -> Fault | None:
    return _moved(_frame(rows, draw), draw, "reach_mm", -40, -25, -20, 20, 25, 40)


@contradiction("a frame: wheelbase of another size")
def wheelbase(rows: Ground, draw: Random) -> Fault | None:
    return _moved(_frame(rows, draw), draw, "wheelbase_mm", -55, -27, -20, 20, 27, 55)


@contradiction(
    "a frame: head angle misread", missed="half a degree moves the head tube by less than printed geometry closes to"
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


# ---- chassis, variants


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
    return _new(row, name=f"{row.name} Two", model_code="", serial_from=row.cells()["serial_to"])


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


# ---- springs, dampers, spacers, parts, fluids, tools


@contradiction("an air spring with the rate of a coil")
def air_rate(rows: Ground, draw: Random) -> Fault | None:
    row = _drawn(rows, draw, Spring, kind="air")
    return (
        None
        if row is None
        else several_cells(
            row, {"rate": draw.choice(("7.5", "48")), "rate_unit": draw.choice(("N/mm", "lbf/in"))}, "rate"
        )
    )


@contradiction("a coil with a chamber or a fill limit")
def coil_chamber(rows: Ground, draw: Random) -> Fault | None:
    row = _drawn(rows, draw, Spring, kind="coil")
    cells = draw.choice(
        (
            {"end_volume_ml": "60"},
            {"negative_volume_ml": "20"},
            {"port_travel_mm": "4"},
            {"pressure_limit": "150", "pressure_unit": "psi"},
        )
    )
    return None if row is None else several_cells(row, cells, next(iter(cells)))


@contradiction("a spring of the other kind")
def other_kind(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Spring)
    if row is None or (row.kind == "air" and row.end_volume_ml is None and row.pressure_limit is None):
        return None
    return one_cell(row, "kind", "coil" if row.kind == "air" else "air")


@contradiction("a spring with a valve of its own and a port")
def valve_and_port(rows: Ground, draw: Random) -> Fault | None:
    found = [row for row in rows.listed(Spring) if row.port_travel_mm is not None]
    return one_cell(draw.choice(found), "negative", draw.choice(("own valve", "none", "coil"))) if found else None


@contradiction("a spring: the part number of another")
def spring_number(rows: Ground, draw: Random) -> Fault | None:
    return _number(rows, draw, Spring)


@contradiction("a part: the number of another")
def part_number(rows: Ground, draw: Random) -> Fault | None:
    return _number(rows, draw, Part)


def _number(rows: Ground, draw: Random, table: type[Spring] | type[Part]) -> Fault | None:
    row = pick(rows, draw, table)
    if row is None or row.maker is None:
        return None
    others = [each.__dict__["part_number"] for each in rows.where(table, "maker", row.maker) if each.id != row.id]
    given = [number for number in others if number is not None]
    return one_cell(row, "part_number", draw.choice(given)) if given else None


@contradiction("a spring called as another of its fork")
def spring_name(rows: Ground, draw: Random) -> Fault | None:
    fit = pick(rows, draw, Fit)
    row = None if fit is None else _spring_of(rows, fit)
    if fit is None or row is None:
        return None
    others = {each.spring for each in rows.where(Fit, "chassis", fit.chassis)} - {row.id}
    names = [each.name for id in sorted(others) if (each := rows.one(Spring, id)) is not None]
    return one_cell(row, "name", draw.choice(names)) if names else None


@contradiction("a part replaced by one of another kind")
def superseded(rows: Ground, draw: Random) -> Fault | None:
    row, other = pick(rows, draw, Part), pick(rows, draw, Part)
    return None if row is None or other is None or row.kind == other.kind else one_cell(row, "superseded_by", other.id)


@contradiction("a spring replaced by one of the other kind")
def spring_superseded(rows: Ground, draw: Random) -> Fault | None:
    row, other = pick(rows, draw, Spring), pick(rows, draw, Spring)
    return None if row is None or other is None or row.kind == other.kind else one_cell(row, "superseded_by", other.id)


@contradiction("a sealed damper to be opened here")
def sealed(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Damper)
    if row is None or row.kind is None:
        return None
    return (
        one_cell(row, "serviceable", "no" if row.kind == "open bath" else "here")
        if row.kind != "bladder cartridge"
        else None
    )


@contradiction("a damper with ten times its clicks")
def damper_clicks(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Damper)
    return (
        None if row is None or row.rebound_clicks is None else one_cell(row, "rebound_clicks", f"{row.rebound_clicks}0")
    )


@contradiction("a damper: fewer clicks than its guides ask for", missed="no guide asks for so many")
def fewer_clicks(rows: Ground, draw: Random) -> Fault | None:
    guide = pick(rows, draw, Guide)
    row = None if guide is None else _damper_of(rows, guide)
    if guide is None or row is None or not guide.rebound_clicks or guide.rebound_clicks < 3:
        return None
    return one_cell(row, "rebound_clicks", str(guide.rebound_clicks - 2))


@contradiction("a spacer as large as the chamber", missed="no fit with a known chamber takes it")
def spacer(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Spacer)
    return None if row is None or row.volume_ml is None else one_cell(row, "volume_ml", f"{float(row.volume_ml) * 4:g}")


@contradiction("an oil stated unsafe for seals, in a fill")
def unsafe(rows: Ground, draw: Random) -> Fault | None:
    fill = pick(rows, draw, draw.choice((Fill, Grease)))
    row = None if fill is None or fill.__dict__["fluid"] is None else rows.one(Fluid, fill.__dict__["fluid"])
    return None if row is None else one_cell(row, "seal_safe", "false")


@contradiction("a fluid of another use than its fills", missed="in a lower leg and above an air piston both occur")
def other_use(rows: Ground, draw: Random) -> Fault | None:
    fill = pick(rows, draw, Fill)
    row = None if fill is None or fill.fluid is None else rows.one(Fluid, fill.fluid)
    return None if row is None or row.kind not in ("bath oil", "damper oil") else one_cell(row, "kind", "grease")


# ---- fasteners, torques


@contradiction("a class of steel on a bolt of another material")
def material(rows: Ground, draw: Random) -> Fault | None:
    found = [row for row in rows.listed(Fastener) if row.property_class is not None]
    return (
        one_cell(draw.choice(found), "material", draw.choice(("aluminium", "titanium", "plastic"))) if found else None
    )


@contradiction("a nut where a bolt is")
def nut(rows: Ground, draw: Random) -> Fault | None:
    found = [row for row in rows.listed(Fastener) if row.position.endswith("bolt")]
    return one_cell(draw.choice(found), "kind", draw.choice(("nut", "cap", "valve core"))) if found else None


@contradiction("a set screw's standard on a bolt")
def standard(rows: Ground, draw: Random) -> Fault | None:
    found = [row for row in rows.listed(Fastener) if row.kind == "bolt" and row.thread is not None]
    return one_cell(draw.choice(found), "standard", draw.choice(("ISO 4026", "ISO 4029"))) if found else None


@contradiction("a hole wider than its thread")
def hole(rows: Ground, draw: Random) -> Fault | None:
    found = [row for row in rows.listed(Fastener) if row.thread is not None and row.thread.startswith("M")]
    return one_cell(draw.choice(found), "through_hole_mm", draw.choice(("30", "45"))) if found else None


@contradiction("a left-hand thread among right-hand ones", missed="the only fastener of its place in the family")
def hand(rows: Ground, draw: Random) -> Fault | None:
    found = [row for row in rows.listed(Fastener) if row.hand == "right"]
    return one_cell(draw.choice(found), "hand", "left") if found else None


@contradiction("a fastener of nothing, or of a spring and a damper")
def of_nothing(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Fastener)
    spring, damper = pick(rows, draw, Spring), pick(rows, draw, Damper)
    if row is None or spring is None or damper is None:
        return None
    after = spoilt(row, id=f"{row.id}-x", chassis="", spring="", damper="") if draw.random() < 0.5 else spoilt(
        row, id=f"{row.id}-x", chassis="", spring=spring.id, damper=damper.id
    )  # fmt: skip
    return None if after is None else Fault((Put(None, after),), after, "", after.id)


@contradiction("a second pass below the first")
def passes(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Torque)
    if row is None or row.value is None or row.stage is not None or row.exception_to is not None:
        return None
    return _new(row, stage="2", value=f"{float(row.value) * draw.choice((0.5, 0.6, 0.75)):.3g}", min="", max="")


# ---- statements


@contradiction("a coil with volume spacers")
def coil_spacers(rows: Ground, draw: Random) -> Fault | None:
    fit, air = _fit(rows, draw, "coil"), pick(rows, draw, Spacer)
    if fit is None or air is None:
        return None
    return several_cells(
        fit, {"spacer": air.id, "spacer_limit": draw.choice("345"), "spacers_fitted": "1"}, "spacer_limit"
    )


@contradiction("a coil with a fill limit")
def coil_limit(rows: Ground, draw: Random) -> Fault | None:
    fit = _fit(rows, draw, "coil")
    return (
        None if fit is None else several_cells(fit, {"pressure_limit": "120", "pressure_unit": "psi"}, "pressure_limit")
    )


@contradiction("travel spacers on a spring set by its shaft")
def travel_spacers(rows: Ground, draw: Random) -> Fault | None:
    found = [
        fit
        for fit in rows.listed(Fit)
        if (s := _spring_of(rows, fit)) is not None and s.travel_set_by == "shaft length"
    ]
    return several_cells(draw.choice(found), {"travel_spacers": draw.choice("12")}, "travel_spacers") if found else None


@contradiction("the spacer of another fork", missed="the only fit of its chassis with a spacer")
def other_spacer(rows: Ground, draw: Random) -> Fault | None:
    fit, other = pick(rows, draw, Fit), pick(rows, draw, Spacer)
    return None if fit is None or fit.spacer is None or other is None else one_cell(fit, "spacer", other.id)


@contradiction("oil above the piston of a coil")
def piston(rows: Ground, draw: Random) -> Fault | None:
    coil = _fit(rows, draw, "coil")
    fill = _drawn(rows, draw, Fill, chamber="above the air piston")
    if coil is None or fill is None:
        return None
    chamber = draw.choice(("above the air piston", "negative chamber"))
    return _new(
        fill, chassis=coil.chassis, spring=coil.spring, damper="", chamber=chamber, value="2", min="", max="", unit="mL"
    )


@contradiction("a fill for a spring of another fork")
def other_spring(rows: Ground, draw: Random) -> Fault | None:
    fill, fit = pick(rows, draw, draw.choice((Fill, Grease, Guide, Reading))), pick(rows, draw, Fit)
    if (
        fill is None
        or fit is None
        or fill.__dict__["chassis"] == fit.chassis
        or not rows.where(Fit, "chassis", fill.__dict__["chassis"])
    ):
        return None
    if any(each.spring == fit.spring for each in rows.where(Fit, "chassis", fill.__dict__["chassis"])):
        return None
    return one_cell(fill, "spring", fit.spring)


@contradiction("grease over a length of another unit")
def extent(rows: Ground, draw: Random) -> Fault | None:
    found = [row for row in rows.listed(Grease) if row.extent_mm is not None]
    return (
        one_cell(draw.choice(found), "extent_mm", f"{float(draw.choice(found).extent_mm or 0) * 10:g}")
        if found
        else None
    )


@contradiction("ten times as many parts as elsewhere")
def count(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Use)
    return None if row is None or row.count is None else one_cell(row, "count", f"{row.count}0")


@contradiction("a part of another size", missed="no other job takes a part of that kind at that place")
def other_part(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Use)
    part = None if row is None else rows.one(Part, row.part)
    if row is None or part is None:
        return None
    others = [each.id for each in rows.where(Part, "kind", part.kind) if each.id != part.id]
    return several_cells(row, {"part": draw.choice(others)}, "part") if others else None


@contradiction("a rider limit below the riders of the guide")
def rider_limit(rows: Ground, draw: Random) -> Fault | None:
    found = [
        row
        for row in rows.listed(Limit)
        if row.subject == "rider mass" and row.max is not None and rows.where(Guide, "chassis", row.chassis)
    ]
    if not found:
        return None
    row = draw.choice(found)
    return one_cell(row, "max", f"{float(row.max or 0) * 0.65:.0f}")


@contradiction("a tyre no larger than its rim")
def tyre(rows: Ground, draw: Random) -> Fault | None:
    found = [row for row in rows.listed(Limit) if row.subject == "tyre diameter" and row.wheel_size is not None]
    if not found:
        return None
    row = draw.choice(found)
    return several_cells(row, {"max": str((row.wheel_size or 0) - draw.choice((2, 20))), "unit": "mm"}, "max")


@contradiction("a service less often in the park than elsewhere")
def park(rows: Ground, draw: Random) -> Fault | None:
    found = [row for row in rows.listed(Interval) if row.riding is None and row.hours is not None]
    if not found:
        return None
    row = draw.choice(found)
    return _new(row, riding=draw.choice(("park", "race", "mud")), hours=f"{(row.hours or 0) * 1.5:.0f}")


@contradiction("a pressure for a negative chamber that has no valve")
def negative(rows: Ground, draw: Random) -> Fault | None:
    found = [row for row in rows.listed(Guide) if row.pressure is not None and row.spring is not None]
    found = [row for row in found if (s := rows.one(Spring, row.spring or "")) is not None and s.negative == "port"]
    if not found:
        return None
    row = draw.choice(found)
    puts = written(row, {"chamber": "negative"})
    return None if puts is None else Fault(puts, puts[-1].row, "positive", "negative")


@contradiction("a guide line without gear among those with it", missed="a guide of few lines")
def gear(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Guide)
    if row is None or row.mass_is not in ("with gear", "without"):
        return None
    return one_cell(row, "mass_is", "without" if row.mass_is == "with gear" else "with gear")


@contradiction("clicks counted from the other end", missed="clicks near the middle of the range")
def other_end(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Guide)
    damper = None if row is None else _damper_of(rows, row)
    if row is None or damper is None or row.rebound_clicks is None or damper.rebound_clicks is None:
        return None
    other = damper.rebound_clicks - row.rebound_clicks
    return one_cell(row, "rebound_clicks", str(other)) if abs(other - row.rebound_clicks) >= 5 and other > 0 else None


@contradiction("a reading beyond the travel")
def reading_travel(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Reading)
    fits = [] if row is None else [fit.travel_mm for fit in rows.where(Fit, "chassis", row.chassis)]
    return (
        None
        if row is None or not fits
        else one_cell(row, "at_travel_mm", f"{max(fits) + draw.choice((10, 30, 100)):g}")
    )


@contradiction("a reading at full travel that is not")
def reading_state(rows: Ground, draw: Random) -> Fault | None:
    found = [
        row for row in rows.listed(Reading) if row.state in ("at sag", "extended") and row.at_travel_mm is not None
    ]
    return one_cell(draw.choice(found), "state", "full travel") if found else None


@contradiction("a reading with more spacers than allowed")
def reading_spacers(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Reading)
    return None if row is None or row.pressure is None else one_cell(row, "spacers", draw.choice(("9", "12")))


@contradiction("the pressure of a coil")
def reading_coil(rows: Ground, draw: Random) -> Fault | None:
    coil, row = _fit(rows, draw, "coil"), pick(rows, draw, Reading)
    if coil is None or row is None or row.pressure is None:
        return None
    return _new(
        row,
        chassis=coil.chassis,
        spring=coil.spring,
        travel_from_mm="",
        travel_to_mm="",
        damper="",
        variant="",
        wheel_size="",
        spacers="",
        model_year_from="",
        model_year_to="",
        at_travel_mm="30",
    )


@contradiction("a level's datum without a level")
def datum(rows: Ground, draw: Random) -> Fault | None:
    row = _drawn(rows, draw, Fill, level_mm=None, level_datum=None)
    return None if row is None else one_cell(row, "level_datum", "top of the stanchion")


# ---- sources, orders of work


@contradiction("a document older than the bicycle fork")
def ancient(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Source)
    return (
        None
        if row is None or row.published_on is None
        else one_cell(row, "published_on", draw.choice(("1024", "1219", "1921")))
    )


def _steps(rows: Ground, draw: Random) -> list[Step]:
    row = pick(rows, draw, Procedure)
    return [] if row is None else sorted(rows.where(Step, "procedure", row.id), key=lambda each: each.order)


@contradiction("an order of work opens before the air is out")
def under_air(rows: Ground, draw: Random) -> Fault | None:
    steps = [step for step in _steps(rows, draw) if step.action == "empty" and step.chamber is None]
    return one_cell(draw.choice(steps), "order", "900") if steps else None


@contradiction("an order of work without a tightening")
def not_tightened(rows: Ground, draw: Random) -> Fault | None:
    every = _steps(rows, draw)
    loosened = {step.fastener_position for step in every if step.action in ("loosen", "back-off", "free", "remove")}
    steps = [step for step in every if step.action == "tighten" and step.fastener_position in loosened]
    if not steps:
        return None
    step = draw.choice(steps)
    return Fault((Put(step, None),), step, step.id, "")


@contradiction("an order of work that fills for another construction only")
def other_construction(rows: Ground, draw: Random) -> Fault | None:
    steps = [step for step in _steps(rows, draw) if step.action == "fill" and not step.when]
    return one_cell(draw.choice(steps), "when", "damper_kind=open bath") if steps else None


@contradiction("two steps at one place")
def one_place(rows: Ground, draw: Random) -> Fault | None:
    every = _steps(rows, draw)
    if len(every) < 2:
        return None
    at = draw.randrange(1, len(every))
    return one_cell(every[at], "order", str(every[at - 1].order))


@contradiction("a step without what it works on")
def step_without(rows: Ground, draw: Random) -> Fault | None:
    steps = [step for step in _steps(rows, draw) if step.action in ("fill", "grease", "tighten", "loosen")]
    if not steps:
        return None
    step = draw.choice(steps)
    column = {"fill": "chamber", "grease": "place"}.get(step.action, "fastener_position")
    return one_cell(step, column, "")
