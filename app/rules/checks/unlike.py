"""Slips of a name: the one drive, oil or unit that differs from all its siblings."""

from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import date
from functools import lru_cache
from operator import attrgetter
from typing import Any

from app.catalogue.agreement import unit_of
from app.catalogue.tables import Fastener, Fill, Fit, Guide, Row, Statement, Torque, is_row_of
from app.rules.checks.envelope import FORM
from app.rules.checks.slips import BEYOND
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule
from app.rules.siblings import ENOUGH
from app.rules.view import cell
from app.units.table import Kind, Unit, units_of


def _odd_one(rows: list[tuple[Row, str]], least: int) -> Iterator[tuple[Row, str, str, Row]]:
    """The row whose text differs from all the others, in at least `least` rows: row, its text, theirs, one of them."""
    counts = Counter(text for _, text in rows)
    if len(counts) != 2 or len(rows) < least:
        return
    (usual, _), (odd, times) = counts.most_common(2)
    if times == 1:
        row = next(row for row, text in rows if text == odd)
        yield row, odd, usual, next(row for row, text in rows if text == usual)


@rule(
    "drive-differs-from-siblings",
    shape="family",
    severity="warn",
    tables=(Fastener,),
    silenced_by=("key-not-of-standard",),
    passes=edit("fasteners", "foot-spring", drives="hex 5 mm;hex 6 mm"),
    fails=edit("fasteners", "foot-spring", drives="hex 6 mm"),
)
def drive_differs_from_siblings(family: Family, today: date) -> Iterator[Violation]:
    """One fastener has another drive than all others of its position, kind and thread in the family.

    Bolts with the same thread and place are the same part. A wrong key rounds the socket.

    Fix: check the drive against the page.
    """
    groups: dict[tuple[str, str, str | None], list[tuple[Row, str]]] = defaultdict(list)
    for row in family.own_fasteners.values():
        if row.drives:
            groups[row.position, row.kind, row.thread].append((row, row.drives[0]))
    for group in groups.values():
        for odd, drive, usual, other in _odd_one(group, 2):
            yield Violation(odd, "drives", f"{drive}; its siblings have {usual}", other, mutual=len(group) == 2)


@rule(
    "fluid-differs-from-siblings",
    shape="family",
    severity="warn",
    tables=(Fill,),
    silenced_by=("fluid-of-another-use", "reference-missing"),
    passes=edit("fills", "fill-damper-leg-old", fluid="oil-bath"),
    fails=edit("fills", "fill-damper-leg-old", fluid="oil-damper"),
)
def fluid_differs_from_siblings(family: Family, today: date) -> Iterator[Violation]:
    """One lower leg takes another kind of oil than all the others of the family.

    Bath oil clings and damper oil runs. The two cells were probably swapped.

    Fix: check the fluid against the page.
    """
    legs: list[tuple[Row, str]] = []
    for row in family.of(Fill):
        fluid = family.fluids.get(row.fluid or "")
        if fluid is not None and row.chamber.endswith("lower leg"):
            legs.append((row, fluid.kind))
    for odd, kind, usual, other in _odd_one(legs, ENOUGH + 1):
        yield Violation(odd, "fluid", f"{cell(odd, 'fluid')} is a {kind}; its siblings take a {usual}", other)


NOMINAL = ("value", "min", "max")  # the first one given represents the row
UNIT_COLUMNS: tuple[tuple[type[Statement], tuple[str, ...], str, Kind], ...] = (
    (Torque, NOMINAL, "unit", "torque"), (Fill, NOMINAL, "unit", "volume"),
    (Fit, ("pressure_limit",), "pressure_unit", "pressure"), (Guide, ("pressure",), "pressure_unit", "pressure"),
    (Guide, ("rider_mass_from",), "mass_unit", "mass"),
)  # fmt: skip


@rule(
    "unit-unlike-source",
    shape="family",
    severity="warn",
    tables=(Torque, Fill, Fit, Guide),
    beside=(Fastener,),
    silenced_by=(*FORM, *BEYOND, "unit-slip", "digit-slip"),
    passes=edit("torques", "torque-cap", value="18", unit="ft·lbf", source="bulletin-a", page="3"),
    fails=edit("torques", "torque-cap", value="18", unit="ft·lbf"),
)
def unit_unlike_source(family: Family, today: date) -> Iterator[Violation]:
    """One figure of a source is in another unit than all the others of its kind in that source.

    A manual prints one unit per column. If the digits also match a sibling's in the usual unit, the unit is wrong.

    Fix: check the unit against the page; if it is right, set confirmed after reading it twice.
    """
    for table, columns, unit_column, kind in UNIT_COLUMNS:
        if table not in family.judged:
            continue
        held = family.statements[table]
        printed = set(map(attrgetter("source", unit_column), held))
        sources = Counter(source for source, unit in printed if source is not None and unit is not None)
        for several in sorted(source for source, units in sources.items() if units > 1):
            rows = [row for row in held if row.source == several and getattr(row, unit_column) is not None]
            rows = [row for row in rows if _stated(row, columns) is not None]
            counts = Counter(getattr(row, unit_column) for row in rows)
            if len(counts) > 1 and len(rows) > ENOUGH:
                yield from _unlike(family, rows, columns, unit_column, kind)


def _stated(row: Statement, columns: tuple[str, ...]) -> Any:
    return next((value for name in columns if (value := getattr(row, name)) is not None), None)


def _unlike(
    family: Family, rows: list[Statement], columns: tuple[str, ...], unit_column: str, kind: Kind
) -> Iterator[Violation]:
    """The one row in another unit; certain if a sibling of its place has the same digits in the usual unit."""
    units = Counter(_size(kind, row[unit_column]) for row in rows)
    (usual, _), (odd, times), *more = [*units.most_common(), (None, 0)]
    if times != 1 or usual is None or odd is None or more[1:]:
        return
    row = next(row for row in rows if _size(kind, row[unit_column]) is odd)
    if row.confirmed:
        return
    same = [each for each in rows if each is not row and _stated(each, columns) == _stated(row, columns)]
    twin = next((each for each in same if _place(family, each) == _place(family, row)), None)
    text = f"{cell(row, unit_column)}; the others of {row.source} are in {usual.name}"
    yield Violation(row, unit_column, text, twin, "warn" if twin is None else "reject")


@lru_cache(maxsize=1024)
def _size(kind: Kind, spelling: str) -> Unit | None:
    """The unit with this spelling; the first of several equal units, such as cm³ and mL."""
    unit = unit_of(kind, spelling)
    return unit if unit is None else next(each for each in units_of(kind) if each.factor == unit.factor)


def _place(family: Family, row: Statement) -> str | None:
    """The place that siblings share: the position of a fastener, the chamber of a fill."""
    if is_row_of(row, Torque):
        fastener = family.fasteners.get(row.fastener)
        return row.id if fastener is None else fastener.position
    return row.chamber if is_row_of(row, Fill) else None
