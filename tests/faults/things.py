"""Slips in the things that statements are about: oils, bolts, variants, steps, parts, documents; empty statements."""

import re
from random import Random

from app.catalogue.tables import (
    STATEMENTS,
    Chassis,
    Fastener,
    Fluid,
    Guide,
    Part,
    Procedure,
    Reading,
    Source,
    Spring,
    Step,
    Use,
    Variant,
    is_row_of,
)
from tests.faults.digits import exchanged
from tests.faults.fault import (
    Fault,
    Ground,
    Put,
    instead,
    kind,
    one_cell,
    pick,
    pick_statement,
    plain,
    several_cells,
    spoilt,
)


@kind("decimal point slipped: oil properties", beyond=True, missed="another real oil has that figure")
def oil(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Fluid)
    column = draw.choice(("density_15_g_per_ml", "viscosity_40_cst", "viscosity_100_cst"))
    if row is None or not (text := row.cells()[column]):
        return None
    return one_cell(row, column, plain(float(text) * draw.choice((10, 0.1))))


@kind("an oil given the grade of a grease", beyond=False)
def graded_oil(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Fluid)
    if row is None or row.kind not in ("damper oil", "bath oil"):
        return None
    return one_cell(row, "nlgi", draw.choice(("0", "1", "2")))


@kind("a digit too many in clicks", beyond=True)
def clicks(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Guide)
    column = draw.choice(("rebound_clicks", "compression_clicks"))
    text = "" if row is None else row.cells()[column]
    return None if row is None or text in ("", "0") else one_cell(row, column, text + draw.choice("0123"))


@kind("a sag in millimetres or with a digit too many", beyond=True, missed="the millimetres could be a percentage")
def sag(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Guide)
    if row is None or row.sag_percent is None:
        return None
    chassis = rows.one(Chassis, row.chassis)
    travel = None if chassis is None else chassis.travel_max_mm
    if travel is None:
        return None
    millimetres = plain(float(row.sag_percent) / 100 * travel)
    return one_cell(row, "sag_percent", draw.choice((millimetres, f"{row.sag_percent}0")))


@kind("a guide for the other sort of spring", beyond=False, missed="a line that names neither spring nor pressure")
def other_sort(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Guide)
    if row is None or row.chamber is None:
        return None
    if draw.random() < 0.5:
        spring = pick(rows, draw, Spring)
        if spring is None or spring.kind == "coil":
            return None
        return one_cell(row, "spring_choice", spring.id)
    return instead(row, f"{row.id}-x", chamber="positive" if row.chamber == "coil" else "coil")


@kind("a figure left out, its unit kept", beyond=False, missed="another figure of the row has the same unit")
def left_out(rows: Ground, draw: Random) -> Fault | None:
    row = pick_statement(rows, draw)
    names = [name for name in ("value", "max", "pressure", "pressure_limit") if row and row.cells().get(name)]
    return None if row is None or not names else one_cell(row, draw.choice(names), "")


@kind("a row without what it says", beyond=False)
def emptied(rows: Ground, draw: Random) -> Fault | None:
    row = pick_statement(rows, draw)
    if row is None or is_row_of(row, Use) or "travel_mm" in row.cells():
        return None
    kept = {"id", "chassis", "source", "page", "fastener", "chamber", "place", "job", "part", "subject", "operation"}
    cells = {name: "" for name, text in row.cells().items() if text and name not in kept}
    return several_cells(row, cells, next(iter(cells))) if cells else None


@kind("an id that another statement bears", beyond=False)
def taken(rows: Ground, draw: Random) -> Fault | None:
    row, other = pick_statement(rows, draw), pick_statement(rows, draw)
    if row is None or other is None or row.model is other.model:
        return None
    return instead(row, other.id, page="3")


@kind("a statement rewritten into another", beyond=False)
def rewritten(rows: Ground, draw: Random) -> Fault | None:
    """The id of one line with the cells of the next."""
    table = draw.choice(STATEMENTS)
    row, other = pick(rows, draw, table), pick(rows, draw, table)
    if row is None or other is None or is_row_of(row, Reading) or row.id == other.id:
        return None
    after = spoilt(row, **{**other.cells(), "id": row.id})
    return None if after is None else Fault((Put(row, after),), after, row.id, other.id)


@kind("a serial range misread", beyond=False, missed="the misread range has the same shape and runs upwards")
def serial(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Variant)
    if row is None or not row.serial_from or not row.serial_to:
        return None
    choice = draw.random()
    if choice < 0.4:
        return several_cells(row, {"serial_from": row.serial_to, "serial_to": row.serial_from}, "serial_from")
    column = draw.choice(("serial_from", "serial_to"))
    text = row.cells()[column]
    wrong = text[:-1] if choice < 0.7 else exchanged(text, draw)
    return None if wrong is None else one_cell(row, column, wrong)


@kind("years or dampers of another variant", beyond=False)
def variant(rows: Ground, draw: Random) -> Fault | None:
    row = pick_statement(rows, draw)
    other = pick(rows, draw, Variant)
    if row is None or other is None or other.chassis == row.chassis:
        return None
    return one_cell(row, "variant", other.id)


@kind("years that no fork of the variant has", beyond=False, missed="the variant states no years of its own")
def variant_years(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Variant)
    chassis = None if row is None else rows.one(Chassis, row.chassis)
    if row is None or chassis is None or row.model_year_to is None or chassis.model_year_to is None:
        return None
    if row.model_year_to >= chassis.model_year_to:
        return None
    said = [each for table in STATEMENTS for each in rows.where(table, "chassis", row.chassis) if each.variant is None]
    if not said:
        return None
    year = str(row.model_year_to + 1)
    return several_cells(draw.choice(said), {"variant": row.id, "model_year_from": year}, "variant")


@kind("digits exchanged in a date of publication", beyond=False, missed="an earlier year that is possible")
def published(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Source)
    text = None if row is None or row.published_on is None else exchanged(row.published_on[:4], draw)
    return None if row is None or text is None else one_cell(row, "published_on", text + (row.published_on or "")[4:])


@kind("a thread misread", beyond=False, missed="the torque also suits the misread thread")
def thread(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Fastener)
    if row is None or row.thread is None:
        return None
    wrong = (row.thread.replace("M", "N"), row.thread.replace("M", "M1"), f"M{draw.choice((3, 4, 5, 6, 8, 10))}")
    return one_cell(row, "thread", draw.choice(wrong))


@kind("the key of the next size", beyond=False, missed="the only bolt of its place, without a standard")
def key(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Fastener)
    sizes = [int(drive[4:-3]) for drive in (row.drives or () if row else ()) if re.fullmatch(r"hex [0-9]+ mm", drive)]
    if row is None or not sizes:
        return None
    return one_cell(row, "drives", f"hex {sizes[0] + draw.choice((-1, 1))} mm")


@kind("a step misspelt", beyond=False, missed="the step's text needs none of its columns")
def step(rows: Ground, draw: Random) -> Fault | None:
    """A slot or a condition with a missing letter, or a slot with its column left empty."""
    row = pick(rows, draw, Step)
    if row is None:
        return None
    if row.when and draw.random() < 0.4:
        return one_cell(row, "when", row.cells()["when"].replace("_", " ", 1).replace("=", "", draw.randint(0, 1)))
    if "{" not in row.text:
        return None
    if draw.random() < 0.5:
        at = row.text.index("{") + 2
        return one_cell(row, "text", row.text[:at] + row.text[at + 1 :])
    given = [name for name in ("fastener_position", "chamber", "place", "turns") if row.cells()[name]]
    return one_cell(row, draw.choice(given), "") if given else None


@kind("a filling step left out", beyond=False, missed="there is a warning, but as incomplete, which does not count")
def unfilled(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Step)
    if row is None or row.action != "fill":
        return None
    others = [each for each in rows.where(Step, "procedure", row.procedure) if each.chamber == row.chamber]
    if rows.one(Procedure, row.procedure) is None or not any(each.action == "empty" for each in others):
        return None
    return Fault((Put(row, None),), row, row.id, "")


@kind("a part or spring superseded by itself or still named", beyond=False)
def superseded(rows: Ground, draw: Random) -> Fault | None:
    row: Part | Spring | None = pick(rows, draw, Part) if draw.random() < 0.5 else pick(rows, draw, Spring)
    if row is None:
        return None
    if draw.random() < 0.5:
        return one_cell(row, "superseded_by", row.id)
    other = pick(rows, draw, row.model)
    named = rows.where(Use, "part", row.id) if is_row_of(row, Part) else [1]
    if other is None or not named or other.id == row.id:
        return None
    after = spoilt(row, superseded_by=other.id)
    return None if after is None else Fault((Put(row, after),), after, "", other.id)


@kind("the manual of another maker", beyond=False, missed="the other maker makes something that the row names")
def other_manual(rows: Ground, draw: Random) -> Fault | None:
    row, source = pick_statement(rows, draw), pick(rows, draw, Source)
    own = None if row is None else rows.one(Source, row.source or "")
    if row is None or source is None or own is None or source.maker in (None, own.maker) or source.kind == "measured":
        return None
    return one_cell(row, "source", source.id)
