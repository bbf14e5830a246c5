"""Contradictions of springs, dampers, spacers, parts, fluids, fasteners and documents."""

from random import Random

from app.catalogue.tables import (
    Damper,
    Fastener,
    Fill,
    Fit,
    Fluid,
    Grease,
    Guide,
    Part,
    Procedure,
    Source,
    Spacer,
    Spring,
    Step,
    Torque,
)
from tests.faults.contradictions import as_new, contradiction, damper_of, drawn, spring_of
from tests.faults.fault import Fault, Ground, Put, one_cell, pick, several_cells, spoilt


@contradiction("an air spring with the rate of a coil")
def air_rate(rows: Ground, draw: Random) -> Fault | None:
    row = drawn(rows, draw, Spring, kind="air")
    return (
        None
        if row is None
        else several_cells(
            row, {"rate": draw.choice(("7.5", "48")), "rate_unit": draw.choice(("N/mm", "lbf/in"))}, "rate"
        )
    )


@contradiction("a coil with a chamber or a fill limit")
def coil_chamber(rows: Ground, draw: Random) -> Fault | None:
    row = drawn(rows, draw, Spring, kind="coil")
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
    others = [each["part_number"] for each in rows.where(table, "maker", row.maker) if each.id != row.id]
    given = [number for number in others if number is not None]
    return one_cell(row, "part_number", draw.choice(given)) if given else None


@contradiction("a spring called as another of its fork")
def spring_name(rows: Ground, draw: Random) -> Fault | None:
    fit = pick(rows, draw, Fit)
    row = None if fit is None else spring_of(rows, fit)
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
    row = None if guide is None else damper_of(rows, guide)
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
    row = None if fill is None or fill["fluid"] is None else rows.one(Fluid, fill["fluid"])
    return None if row is None else one_cell(row, "seal_safe", "false")


@contradiction("a fluid of another use than its fills", missed="both are used in a lower leg and above an air piston")
def other_use(rows: Ground, draw: Random) -> Fault | None:
    fill = pick(rows, draw, Fill)
    row = None if fill is None or fill.fluid is None else rows.one(Fluid, fill.fluid)
    return None if row is None or row.kind not in ("bath oil", "damper oil") else one_cell(row, "kind", "grease")


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
    return as_new(row, stage="2", value=f"{float(row.value) * draw.choice((0.5, 0.6, 0.75)):.3g}", min="", max="")


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
