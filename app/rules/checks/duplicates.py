"""One thing or statement under two ids, for example when two workshops enter the same fork."""

from collections.abc import Iterator
from datetime import date
from operator import attrgetter

from app.catalogue.tables import ENTITIES, Reading, Statement
from app.rules.family import Family
from app.rules.identity import IDENTITIES, same_thing
from app.rules.registry import Violation, edit, rule
from app.rules.view import EntityView, cell

SPOKEN_OF = ("page", "confirmed", "note")  # may differ in two copies of one statement


@rule(
    "entity-twice",
    shape="identity",
    severity="warn",
    tables=ENTITIES,
    passes=edit("makers", "example-two", name="Example Two"),
    fails=edit("makers", "example-two", name="EXAMPLE"),
)
def entity_twice(view: EntityView, today: date) -> Iterator[Violation]:
    """Two rows of one table describe the same thing under two ids, and nothing in them distinguishes them.

    A chassis is identified by maker, name and years; a spring or part by maker, name and part number. If you look up
    one of the two ids, you miss what is stated of the other, or get every figure twice.

    Fix: keep one of the two, point the rows that name the other at it, and withdraw the other. If they are two things,
    add what distinguishes them, such as years, a part number or the stanchion diameter.
    """
    row = view.row
    for other in view.referrers:
        if other.id < row.id and same_thing(row, other):
            said = ", ".join(text for name in IDENTITIES[row.model].equal if (text := cell(row, name)) is not None)
            yield Violation(row, None, f"{row.id} and {other.id} are the same: {said}", other)
            return


@rule(
    "statement-twice",
    shape="family",
    severity="warn",
    silenced_by=("stated-twice", "disagree-unrelated"),
    passes=edit("readings", "reading-again", chassis="fork-a", spring="spring-150", spacers="1", state="full travel",
                at_travel_mm="150", pressure="196", pressure_unit="psi", temperature_c="20", source="bench-a"),
    fails=edit("readings", "reading-again", chassis="fork-a", spring="spring-150", spacers="1", state="full travel",
               at_travel_mm="150", pressure="195", pressure_unit="psi", temperature_c="20", source="bench-a"),
)  # fmt: skip
def statement_twice(family: Family, today: date) -> Iterator[Violation]:
    """Two statements have the same subject, scope, source and values.

    One of them was entered twice. It counts twice when readings are averaged, and a correction reaches only one of
    them.

    Fix: withdraw one of the two. If the reading was taken twice, add what distinguishes them.
    """
    for table in family.judged:
        rows = family.statements[table]
        if table is not Reading:  # stated-twice compares the others
            rows = [row for row in rows if row.source is None or row.exception_to is not None]
        if len(rows) < 2:
            continue
        said = attrgetter(*(name for name in table.columns() if name != "id" and name not in SPOKEN_OF))
        seen: dict[tuple[object, ...], Statement] = {}
        for row in rows:
            other = seen.setdefault(said(row), row)
            if other is not row:
                yield Violation(row, None, f"{row.id} and {other.id} say the same", other)
