"""Slips next to a twin: the bolt on the other side, the statement an exception narrows, a spring's other fits."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from fractions import Fraction
from itertools import combinations, product

from app.catalogue.agreement import pascals
from app.catalogue.scopes import overlap
from app.catalogue.tables import Fastener, Fill, Fit, Row, Statement, Torque
from app.rules.bands import first_known
from app.rules.checks.envelope import FORM
from app.rules.checks.ratings import same_pressure
from app.rules.checks.slips import BEYOND, written
from app.rules.family import NOMINAL, Family
from app.rules.registry import Violation, edit, rule
from app.rules.siblings import ALIKE, ENOUGH
from app.units.table import Kind

TWIN = 1.1  # bolts on both sides take the same torque, apart from rounding in other units
OTHER_SLIPS = ("unit-slip", "digit-slip", "unit-unlike-source", "disagree-unrelated", "torque-differs-from-siblings")


def _nominal(row: Row, kind: Kind, unit: str) -> tuple[str, float] | None:
    """The column and figure that represent a statement, in a common unit: the nominal before the limits."""
    found = first_known(row, NOMINAL, "unit", kind, unit)
    return None if found is None or found[1] <= 0 else found


def _far(one: float, other: float, within: float) -> bool:
    return max(one, other) > within * min(one, other)


def _same_place(one: Fastener, other: Fastener) -> bool:
    return one.id != other.id and one.thread == other.thread and one.drives == other.drives


@rule(
    "torque-differs-from-twin",
    shape="family",
    severity="warn",
    tables=(Torque,),
    beside=(Fastener,),
    silenced_by=(*FORM, *BEYOND, *OTHER_SLIPS),
    passes=edit("torques", "torque-foot-spring", value="7.7", min="", max=""),
    fails=edit("torques", "torque-foot-spring", value="7.8", min="", max=""),
)
def torque_differs_from_twin(family: Family, today: date) -> Iterator[Violation]:
    """Two matching fasteners on the two sides of a fork have different torques.

    Fasteners with the same thread, drive and place nearly always take the same torque. Two lines were probably
    confused.

    Fix: check both torques against the page; if both are right, set confirmed.
    """
    places: dict[tuple[object, ...], list[tuple[Torque, Fastener, str, float]]] = defaultdict(list)
    for each in family.tightened:
        row, fastener, _, torque = each
        if torque > 0 and row.exception_to is None and not row.confirmed and not family.is_not_last_pass(row):
            places[row.chassis, fastener.position, fastener.kind, row.stage or 1].append(each)
    for pairs in places.values():
        for (row, mine, column, here), (other, theirs, _, there) in combinations(pairs, 2):
            if not _far(here, there, TWIN) or not _same_place(mine, theirs):
                continue
            if overlap(family.scope(row), family.scope(other)):
                yield Violation(row, column, f"{here:.3g} N·m; {other.id} has {there:.3g} N·m", other, mutual=True)
                break


MEASURED: tuple[tuple[type[Statement], Kind, str], ...] = ((Torque, "torque", "N·m"), (Fill, "volume", "mL"))


@rule(
    "exception-far-off",
    shape="family",
    severity="warn",
    tables=(Torque, Fill),
    silenced_by=(*FORM, *BEYOND, "exception-not-narrower", "exception-to-other-subject", "unit-slip", "digit-slip",
                 "unit-unlike-source"),
    passes=edit("torques", "torque-foot-damper-2024", value="10.4"),
    fails=edit("torques", "torque-foot-damper-2024", value="10.6"),
)  # fmt: skip
def exception_far_off(family: Family, today: date) -> Iterator[Violation]:
    """An exception is more than half as high again as the statement it narrows, or less than two thirds of it.

    A bulletin corrects a figure by a little. A large difference means a confused unit, or the figure of another line.

    Fix: check figure and unit against the page; if they are right, set confirmed after reading it twice.
    """
    for table, kind, unit in MEASURED:
        for row in family.statements[table] if table in family.judged else ():
            named = family.by_id(table).get(row.exception_to or "")
            if named is None or row.confirmed:
                continue
            here, there = _nominal(row, kind, unit), _nominal(named, kind, unit)
            if here is not None and there is not None and _far(here[1], there[1], ALIKE):
                yield Violation(row, here[0], f"{here[1]:.3g} {unit}; {named.id} has {there[1]:.3g} {unit}", named)


@rule(
    "fill-differs-from-siblings",
    shape="family",
    severity="warn",
    tables=(Fill,),
    silenced_by=(*FORM, *BEYOND, "unit-slip", "digit-slip", "unit-unlike-source", "disagree-unrelated",
                 "fluid-of-another-use"),
    passes=edit("fills", "fill-spring-leg-old", value="15"),
    fails=edit("fills", "fill-spring-leg-old", value="15.1"),
)  # fmt: skip
def fill_differs_from_siblings(family: Family, today: date) -> Iterator[Violation]:
    """A chamber takes over half as much oil again as in other generations or years of the fork, or under two thirds.

    Two swapped digits or the figure of another chamber look like this.

    Fix: check the volume against the page; if it is right, set confirmed after reading it twice.
    """
    chambers: dict[tuple[object, ...], list[Fill]] = defaultdict(list)
    for row in family.of(Fill):
        if row.exception_to is None and not row.confirmed:
            chambers[row.chamber, row.condition, row.damper, row.spring].append(row)
    for rows in chambers.values():
        known = [(found[1], row, found[0]) for row in rows if (found := _nominal(row, "volume", "mL")) is not None]
        if len(known) < 2:
            continue
        ordered = sorted(known, key=lambda each: (each[0], each[1].id))
        middle = ordered[(len(ordered) - 1) // 2]
        for volume, row, column in ordered:
            if _far(volume, middle[0], ALIKE):
                text = f"{volume:.3g} mL; its siblings take near {middle[0]:.3g} mL"
                yield Violation(row, column, text, middle[1], mutual=len(known) == 2)


@rule(
    "pressure-limit-unlike-siblings",
    shape="family",
    severity="warn",
    tables=(Fit,),
    silenced_by=(*FORM, *BEYOND, "unit-slip", "digit-slip", "unit-unlike-source", "disagree-unrelated",
                 "limit-differs-by-wheel", "guide-pressure-above-limit"),
    passes=edit("fits", "fit-150-large", pressure_limit="160", pressure_unit="psi"),
    fails=edit("fits", "fit-150-large", pressure_limit="120", pressure_unit="psi"),
)  # fmt: skip
def pressure_limit_unlike_siblings(family: Family, today: date) -> Iterator[Violation]:
    """One spring of a chassis has another fill limit than all the others, which agree.

    Limits are printed once for a chassis or line by line. One odd figure was copied from another fork. A lower one is
    safe, so it is only a warning; a higher one is refused.

    Fix: check the limit against the page; if it is printed so, copy its words into as_printed.
    """
    chassis: dict[str, list[Fit]] = defaultdict(list)
    for row in family.of(Fit):
        if row.pressure_limit is not None and row.exception_to is None:
            chassis[row.chassis].append(row)
    for rows in chassis.values():
        if len({(row.pressure_limit, row.pressure_unit) for row in rows}) == 1:
            continue
        springs: dict[Fraction | None, set[str]] = defaultdict(set)
        for row in rows:
            springs[_alike(rows, row)].add(row.spring)
        if len(springs) != 2 or None in springs:
            continue
        (odd, few), (_, many) = sorted(springs.items(), key=lambda each: len(each[1]))
        if len(few) != 1 or len(many | few) <= ENOUGH:
            continue
        found = [row for row in rows if _alike(rows, row) == odd]
        other = next(row for row in rows if row not in found)
        if len(found) == 1:
            text = f"{written(found[0], 'pressure_limit')}; the others have {written(other, 'pressure_limit')}"
            if (odd or 0) > (pascals(other.pressure_limit, other.pressure_unit) or 0):
                yield Violation(found[0], "pressure_limit", text, other, "reject", nature="implausible")
            else:
                yield Violation(found[0], "pressure_limit", text, other)


def _alike(rows: list[Fit], row: Fit) -> Fraction | None:
    """The limit, in pascals, of the first row that prints the same limit, perhaps in another unit."""
    first = next((each for each in rows if same_pressure(each, row)), row)
    return pascals(first.pressure_limit, first.pressure_unit)


@rule(
    "spacer-limit-unlike-generation",
    shape="family",
    severity="warn",
    tables=(Fit,),
    silenced_by=(*FORM, "spacers-fill-chamber", "limit-differs-by-wheel", "spacer-limit-grows-with-travel",
                 "disagree-unrelated", "spacers-fitted-above-limit", "spacers-fitted-to-the-limit"),
    passes=edit("fits", "fit-140-old", spacer_limit="4", confirmed="true"),
    fails=edit("fits", "fit-140-old", spacer_limit="4"),
)  # fmt: skip
def spacer_limit_unlike_generation(family: Family, today: date) -> Iterator[Violation]:
    """One spring has another spacer limit in another generation, but the other springs that both use agree.

    At the same travel a spring has the same air left. A maker that does change its limits changes several.

    Fix: check both limits against the pages; if both are right, set confirmed after reading them twice.
    """
    lines: dict[str, dict[tuple[object, ...], list[Fit]]] = defaultdict(lambda: defaultdict(list))
    for row in family.of(Fit):
        if row.spacer_limit is not None and row.exception_to is None:
            key = row.spring, row.travel_mm, row.spacer, row.travel_spacers
            lines[row.chassis][key].append(row)
    for one, other in combinations(lines.values(), 2):
        shared = [key for key in one if key in other]
        unlike = [key for key in shared if _limits(one[key]) != _limits(other[key])]
        if len(unlike) != 1 or len(shared) < ENOUGH:
            continue
        for row, beside in product(one[unlike[0]], other[unlike[0]]):
            if row.spacer_limit != beside.spacer_limit and not row.confirmed and not beside.confirmed:
                text = f"{row.spacer_limit}; {beside.id} has the same spring at that travel and says "
                yield Violation(row, "spacer_limit", text + str(beside.spacer_limit), beside, mutual=True)


def _limits(rows: list[Fit]) -> set[int | None]:
    return {row.spacer_limit for row in rows}
