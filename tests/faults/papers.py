"""Faults of provenance: no source, an old one, a second opinion; names that lead nowhere."""

from random import Random

from app.catalogue.tables import Fill, Fit, Guide, Interval, Limit, Source, Torque, from_cells
from tests.faults.fault import Fault, Ground, Put, instead, kind, one_cell, pick, pick_statement, plain, spoilt

Figured = Torque | Fill | Limit | Guide | Fit
FIGURES: dict[type[Figured], tuple[str, ...]] = {
    Torque: ("value", "min", "max"),
    Fill: ("value", "min", "max"),
    Limit: ("max", "min"),
    Guide: ("pressure", "pressure_min", "pressure_max"),
    Fit: ("axle_to_crown_mm",),
}


def _changed(row: Figured, draw: Random) -> dict[str, str]:
    """The figures of a statement, off by a fifth to three fifths."""
    factor = draw.choice((1, -1)) * draw.uniform(0.2, 0.6)
    cells = row.cells()
    return {name: plain(float(cells[name]) * (1 + factor)) for name in FIGURES[row.model] if cells[name]}


@kind("a second opinion under another id", beyond=True)
def second_opinion(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, draw.choice(tuple(FIGURES)))
    other = pick(rows, draw, Source)
    if row is None or other is None or other.id == row.source or not (cells := _changed(row, draw)):
        return None
    after = spoilt(row, id=f"{row.id}-x", source=other.id, page="3", exception_to="", **cells)
    column = next(iter(cells))
    return None if after is None else Fault((Put(None, after),), after, row.cells()[column], cells[column])


@kind("an exception that names nothing", beyond=True)
def nameless_exception(rows: Ground, draw: Random) -> Fault | None:
    row = pick_statement(rows, draw)
    return None if row is None or row.exception_to is None else one_cell(row, "exception_to", "")


@kind("an older edition over a newer", beyond=False)
def older_edition(rows: Ground, draw: Random) -> Fault | None:
    """A figure of the first edition replaces that of a later edition of the same series, years afterwards."""
    row = pick(rows, draw, draw.choice(tuple(FIGURES)))
    source = None if row is None else rows.one(Source, row.source or "")
    if row is None or source is None or source.series is None or source.published_on is None:
        return None
    year = int(source.published_on[:4]) - draw.randint(1, 3)
    first = {**source.cells(), "id": f"{source.id}-first", "edition": "first", "published_on": str(year)}
    older = Source.checked(from_cells(Source, first))
    after = spoilt(row, source=older.id, **_changed(row, draw))
    return None if after is None else Fault((Put(None, older), Put(row, after)), after, source.id, older.id)


@kind("no source", beyond=False)
def no_source(rows: Ground, draw: Random) -> Fault | None:
    row = pick_statement(rows, draw)
    return None if row is None else one_cell(row, "source", "")


@kind("no page", beyond=False, missed="the user's own measurement has no page")
def no_page(rows: Ground, draw: Random) -> Fault | None:
    row = pick_statement(rows, draw)
    return None if row is None else one_cell(row, "page", "")


REFERENCES = ("source", "spring", "damper", "fastener", "fluid", "part", "spacer", "variant", "chassis")


@kind("a name that leads nowhere", beyond=False)
def nowhere(rows: Ground, draw: Random) -> Fault | None:
    """A reference with its last letter lost or doubled."""
    row = pick_statement(rows, draw)
    given = [name for name in REFERENCES if row and row.cells().get(name)]
    if row is None or not given:
        return None
    column = draw.choice(given)
    text = row.cells()[column]
    wrong = draw.choice((text[:-1], text + text[-1]))
    return instead(row, f"{row.id}-x", chassis=wrong) if column == "chassis" else one_cell(row, column, wrong)


@kind("a unit that is none, or of another quantity", beyond=False)
def no_unit(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, draw.choice((Torque, Fill, Limit, Guide, Fit)))
    column = "pressure_unit" if (row.model in (Guide, Fit)) else "unit"
    if row is None or not row.cells()[column]:
        return None
    return one_cell(row, column, draw.choice(("", "J", "N", "kg·m", "bars?", "g/mL")))


@kind("a row copied twice", beyond=False, missed="the figure may have been read twice")
def copied(rows: Ground, draw: Random) -> Fault | None:
    row = pick_statement(rows, draw)
    after = None if row is None else spoilt(row, id=f"{row.id}-x")
    return None if after is None else Fault((Put(None, after),), after, "", after.id)


@kind("the hours of two services exchanged", beyond=True)
def services(rows: Ground, draw: Random) -> Fault | None:
    row = pick(rows, draw, Interval)
    if row is None or row.hours is None:
        return None
    others = [
        each
        for each in rows.where(Interval, "chassis", row.chassis)
        if each.operation != row.operation and each.riding == row.riding and each.hours and each.hours != row.hours
    ]
    if not others:
        return None
    other = draw.choice(others)
    mine, theirs = one_cell(row, "hours", str(other.hours)), one_cell(other, "hours", str(row.hours))
    return None if mine is None or theirs is None else Fault((*mine.puts, *theirs.puts), mine.row, mine.was, mine.now)
