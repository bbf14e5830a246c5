"""Contradictions of statements: fits, fills, greases, uses, limits, intervals, guides and readings."""

from random import Random

from app.catalogue.tables import (
    Fill,
    Fit,
    Grease,
    Guide,
    Interval,
    Limit,
    Part,
    Reading,
    Spacer,
    Spring,
    Use,
)
from tests.faults.contradictions import as_new, contradiction, damper_of, drawn, fit_of_kind, spring_of
from tests.faults.fault import Fault, Ground, one_cell, pick, several_cells, written


@contradiction("a coil with volume spacers")
def coil_spacers(rows: Ground, draw: Random) -> Fault | None:
    fit, air = fit_of_kind(rows, draw, "coil"), pick(rows, draw, Spacer)
    if fit is None or air is None:
        return None
    return several_cells(
        fit, {"spacer": air.id, "spacer_limit": draw.choice("345"), "spacers_fitted": "1"}, "spacer_limit"
    )


@contradiction("a coil with a fill limit")
def coil_limit(rows: Ground, draw: Random) -> Fault | None:
    fit = fit_of_kind(rows, draw, "coil")
    return (
        None if fit is None else several_cells(fit, {"pressure_limit": "120", "pressure_unit": "psi"}, "pressure_limit")
    )


@contradiction("travel spacers on a spring set by its shaft")
def travel_spacers(rows: Ground, draw: Random) -> Fault | None:
    found = [
        fit for fit in rows.listed(Fit) if (s := spring_of(rows, fit)) is not None and s.travel_set_by == "shaft length"
    ]
    return several_cells(draw.choice(found), {"travel_spacers": draw.choice("12")}, "travel_spacers") if found else None


@contradiction("the spacer of another fork", missed="the only fit of its chassis with a spacer")
def other_spacer(rows: Ground, draw: Random) -> Fault | None:
    fit, other = pick(rows, draw, Fit), pick(rows, draw, Spacer)
    return None if fit is None or fit.spacer is None or other is None else one_cell(fit, "spacer", other.id)


@contradiction("oil above the piston of a coil")
def piston(rows: Ground, draw: Random) -> Fault | None:
    coil = fit_of_kind(rows, draw, "coil")
    fill = drawn(rows, draw, Fill, chamber="above the air piston")
    if coil is None or fill is None:
        return None
    chamber = draw.choice(("above the air piston", "negative chamber"))
    return as_new(
        fill, chassis=coil.chassis, spring=coil.spring, damper="", chamber=chamber, value="2", min="", max="", unit="mL"
    )


@contradiction("a fill for a spring of another fork")
def other_spring(rows: Ground, draw: Random) -> Fault | None:
    fill, fit = pick(rows, draw, draw.choice((Fill, Grease, Guide, Reading))), pick(rows, draw, Fit)
    if fill is None or fit is None or fill["chassis"] == fit.chassis or not rows.where(Fit, "chassis", fill["chassis"]):
        return None
    if any(each.spring == fit.spring for each in rows.where(Fit, "chassis", fill["chassis"])):
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
    return several_cells(row, {"max": str(max(row.wheel_size or (0,)) - draw.choice((2, 20))), "unit": "mm"}, "max")


@contradiction("a service less often in the park than elsewhere")
def park(rows: Ground, draw: Random) -> Fault | None:
    found = [row for row in rows.listed(Interval) if row.riding is None and row.hours is not None]
    if not found:
        return None
    row = draw.choice(found)
    return as_new(row, riding=draw.choice(("park", "race", "mud")), hours=f"{(row.hours or 0) * 1.5:.0f}")


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
    damper = None if row is None else damper_of(rows, row)
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
    coil, row = fit_of_kind(rows, draw, "coil"), pick(rows, draw, Reading)
    if coil is None or row is None or row.pressure is None:
        return None
    return as_new(
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
    row = drawn(rows, draw, Fill, level_mm=None, level_datum=None)
    return None if row is None else one_cell(row, "level_datum", "top of the stanchion")
