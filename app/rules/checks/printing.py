"""Slips in printing: a converted figure in a table printed in round steps."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date
from decimal import Decimal

from app.catalogue.agreement import unit_of
from app.catalogue.tables import Torque
from app.rules.checks.envelope import FORM
from app.rules.checks.slips import BEYOND
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule
from app.rules.siblings import ENOUGH

SMALLER = 2  # compare a figure with those down to half of it: small torques are printed with more decimals
TELLING = 3  # a figure with this many significant digits looks converted


@rule(
    "torque-finer-than-table",
    shape="family",
    severity="warn",
    tables=(Torque,),
    silenced_by=(*FORM, *BEYOND, "unit-slip", "digit-slip", "unit-unlike-source", "disagree-unrelated",
                 "torque-differs-from-siblings", "torque-differs-from-twin", "exception-far-off", "torque-unusual"),
    passes=edit("torques", "torque-foot-damper-2024", value="6.85"),
    fails=edit("torques", "torque-foot-damper-2024", value="6.84"),
)  # fmt: skip
def torque_finer_than_table(family: Family, today: date) -> Iterator[Violation]:
    """A torque has more decimals than the maker's other torques of that size or more for the chassis.

    Makers print a table in one step (common practice, no source). 9.59 among 8, 10 and 24 was converted, but a figure
    is kept as published. Halves and quarters count as round.

    Fix: enter figure and unit as the page prints them; if it is printed so, set confirmed after a second look.
    """
    tables: dict[tuple[object, ...], list[tuple[Decimal, str, Torque]]] = defaultdict(list)
    for row in family.of(Torque):
        source = family.sources.get(row.source or "")
        column = next((name for name in ("value", "min", "max") if getattr(row, name) is not None), None)
        if source is not None and source.maker is not None and column is not None and row.unit is not None:
            tables[row.chassis, source.maker, unit_of("torque", row.unit)].append((getattr(row, column), column, row))
    for table in tables.values():
        for figure, column, row in table:
            if row.confirmed or not _worked_out(figure):
                continue
            beside = [other for other, _, each in table if each is not row and other * SMALLER >= figure]
            if len(beside) >= ENOUGH and _decimals(figure) > max(map(_decimals, beside)):
                most = max(map(_decimals, beside))
                yield Violation(row, column, f"{figure} {row.unit}; the others have {most or 'no'} decimals at most")


def _worked_out(figure: Decimal) -> bool:
    digits = figure.as_tuple().digits
    return len(digits) >= TELLING and digits[-1] not in (0, 5)


def _decimals(figure: Decimal) -> int:
    return max(0, -int(figure.as_tuple().exponent))
