"""Form of rows: references exist, ids are free, texts are readable, statements are not empty or repeated."""

import re
from collections.abc import Iterator
from datetime import date

from app.catalogue.scopes import Scope, overlap
from app.catalogue.serials import serial_range, shape
from app.catalogue.tables import (
    STATEMENTS,
    TABLES,
    Part,
    Procedure,
    Reading,
    Row,
    Source,
    Spring,
    Statement,
    Step,
    Variant,
    is_row_of,
)
from app.rules.columns import said
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule
from app.rules.view import ChangeView, EntityView, RowView, references

ABOUT: dict[type[Row], tuple[str, ...]] = {table: table.about for table in STATEMENTS}
SLOT = re.compile(r"\{([^{}]*)\}")
SLOT_NEEDS = {
    "torque": "fastener_position", "volume": "chamber", "grease": "place", "extent": "place", "turns": "turns",
    "count": None, "filling": None, "second": None, "extra": None, "sag": None, "proof": None, "height": None,
    "clicks": None, "preload": None, "noted": None,
}  # fmt: skip
CONDITIONS = (
    "spring_kind", "foot_joint", "adjuster_at", "crowns", "travel_set_by", "damper_kind", "negative",
    "second_positive", "seal_head",
)  # fmt: skip


@rule(
    "reference-missing",
    shape="row",
    tables=[table for table in TABLES.values() if references(table)],
    reads=(),  # no column of the row decides: what it names exists unless `absent` lists it
    passes=edit("torques", "torque-cap", fastener="cap-a"),
    fails=edit("parts", "ring-a", superseded_by="ring-z"),
)
def reference_missing(view: RowView, today: date) -> Iterator[Violation]:
    """A row names something that is not in the catalogue.

    Rows are joined by their ids. With a wrong id the row is never found, or gives a wrong answer.

    Fix: correct the id, or add the row it names to the same package. To withdraw a row, withdraw every row that names
    it too.
    """
    if not view.absent:
        return
    for reference in references(view.row.model):
        value = getattr(view.row, reference.column)
        if value is None:
            continue
        for id in value if reference.many else (value,):
            if (reference.table.table, id) in view.absent:
                yield Violation(view.row, reference.column, f"there is no row {id} in {reference.table.table}")


@rule(
    "superseded-by-itself",
    shape="row",
    tables=(Spring, Part),
    passes=edit("parts", "ring-a", superseded_by=""),
    fails=edit("parts", "ring-a", superseded_by="ring-a"),
)
def superseded_by_itself(view: RowView, today: date) -> Iterator[Violation]:
    """A part or spring is listed as its own replacement.

    If you follow the replacement, you go round in a circle.

    Fix: name the part that replaces it, or leave the cell empty.
    """
    if view.row["superseded_by"] == view.row.id:
        yield Violation(view.row, "superseded_by", f"{view.row.id} cannot replace itself")


@rule(
    "supersedes-itself",
    shape="row",
    tables=(Source,),
    passes=edit("sources", "bulletin-a", supersedes="manual-a-first"),
    fails=edit("sources", "bulletin-a", supersedes="manual-a-first;bulletin-a"),
)
def supersedes_itself(view: RowView, today: date) -> Iterator[Violation]:
    """A source is listed among the documents that it replaces.

    Its own figures would be hidden behind themselves.

    Fix: name only the other documents that it replaces.
    """
    if view.row.id in (view.row["supersedes"] or ()):
        yield Violation(view.row, "supersedes", f"{view.row.id} cannot replace itself")


@rule(
    "id-taken",
    shape="entity",
    tables=STATEMENTS,
    passes=edit("readings", "reading-other", chassis="fork-a", state="at sag", source="bench-a", at_travel_mm="31"),
    fails=edit("readings", "torque-cap", chassis="fork-a", state="at sag", source="bench-a", at_travel_mm="31"),
)
def id_taken(view: EntityView, today: date) -> Iterator[Violation]:
    """Two statements of different tables have the same id.

    A statement is found by its id alone, whatever its table. An answer could not say which of the two it refers to.

    Fix: give the newer of the two another id.
    """
    tables = [row.table for row in view.referrers]
    if len(tables) > 1:
        others = [table for table in tables if table != view.row.table]
        other = next(row for row in view.referrers if row.table == others[0])
        yield Violation(view.row, "id", f"{view.row.id} is also the id of a row in {', '.join(others)}", other)


@rule(
    "subject-changed",
    shape="change",
    tables=STATEMENTS,
    passes=edit("torques", "torque-cap", value="24"),
    fails=edit("torques", "torque-cap", stage="2"),
)
def subject_changed(view: ChangeView, today: date) -> Iterator[Violation]:
    """A statement is changed into one about something else.

    An id always belongs to one subject. Anyone who has printed or stored it would suddenly see another bolt.

    Fix: withdraw this statement and add one with a new id.
    """
    before, after = view.change.before, view.change.after
    if before is None or after is None:
        return
    for name in ABOUT[after.model]:
        if name != "id" and getattr(before, name) != getattr(after, name):
            if after.model.columns()[name].compared_by is not None:
                continue  # another part of the same kind is the same subject
            was = getattr(before, name)
            yield Violation(
                after, name, f"{name} was {'not given' if was is None else was}; a statement cannot change its subject"
            )
            return


@rule(
    "statement-empty",
    shape="row",
    tables=[table for table in STATEMENTS if said(table)],
    reads=said,
    passes=edit("greases", "grease-wiper", amount=""),
    fails=edit("greases", "grease-wiper", amount="", fluid=""),
)
def statement_empty(view: RowView, today: date) -> Iterator[Violation]:
    """All values of a statement are empty.

    It would be shown as an instruction without content, and would hide that the figure is not known.

    Fix: enter what the source says, or leave the statement out so that the gap is shown.
    """
    for name in said(view.row.model):
        if getattr(view.row, name) is not None:
            return
    columns = view.row.model.columns()
    if "travel_mm" not in columns and "part" not in columns:
        yield Violation(view.row, None, "all its values are empty")


@rule(
    "stated-twice",
    shape="family",
    severity="warn",
    silenced_by=("disagree-unrelated",),
    passes=edit("fills", "fill-again", chassis="fork-a", chamber="spring-side lower leg", fluid="oil-bath", value="10",
                unit="mL", source="bulletin-a", page="2"),
    fails=edit("fills", "fill-again", chassis="fork-a", chamber="spring-side lower leg", fluid="oil-bath", value="10",
               unit="mL", source="manual-a", page="15"),
)  # fmt: skip
def stated_twice(family: Family, today: date) -> Iterator[Violation]:
    """One source states the same subject twice for overlapping scopes.

    Two rows of one fact drift apart, because the next correction reaches only one of them.

    Fix: keep one of the two, or narrow their scopes so that they do not overlap.
    """
    for group in family.shared_subjects:
        seen: list[tuple[Statement, Scope]] = []
        for row, scope in group:
            source = row.source
            if source is None or row.model is Reading or row.exception_to is not None:
                continue
            for other, its in seen:
                if other.source == source and overlap(scope, its):
                    yield Violation(row, "source", f"{source} already states this in {other.id}", other)
                    break
            seen.append((row, scope))


def _serial_columns(table: type[Row]) -> tuple[str, ...]:
    return tuple(name for name in ("serial_pattern", "serial_from", "serial_to") if name in table.columns())


@rule(
    "serial-range-unreadable",
    shape="row",
    tables=(Variant, Procedure, *STATEMENTS),
    reads=_serial_columns,
    passes=edit("variants", "variant-a-pro", serial_to="A22-0001"),
    fails=edit("variants", "variant-a-pro", serial_to="A22-0000"),
)
def serial_range_unreadable(view: RowView, today: date) -> Iterator[Violation]:
    """A serial range runs backwards, its ends differ in length, or they do not match the pattern of the variant.

    Serials are compared as text of equal length. Such a range identifies no fork, or the wrong one.

    Fix: write both ends as stamped, the lower one first, and check the pattern: # is a digit, @ a capital letter.
    """
    row = view.row
    first, last = row["serial_from"], row["serial_to"]
    stated = serial_range(first, last)
    if first is not None and last is not None and (len(first) != len(last) or (stated is not None and stated.empty)):
        yield Violation(row, "serial_to", f"{last} does not come after {first} as text of the same length")
        return
    if not is_row_of(row, Variant) or row.serial_pattern is None:
        return
    for column, serial in (("serial_from", first), ("serial_to", last)):
        if serial is not None and not shape(row.serial_pattern).fullmatch(serial):
            yield Violation(row, column, f"{serial} does not match the pattern {row.serial_pattern}")


@rule(
    "slot-unfillable",
    shape="row",
    tables=(Step,),
    passes=edit("steps", "step-5", text="Tighten the {count} foot bolts to {torque}."),
    fails=edit("steps", "step-5", text="Tighten the foot bolts to {torque}, then fill in {volume}."),
)
def slot_unfillable(view: RowView, today: date) -> Iterator[Violation]:
    """The text of a step has a slot that does not exist, or that the columns of the step cannot fill.

    The job card would print the bare slot instead of the figure the mechanic needs.

    Fix: give {torque} a fastener_position, {volume} a chamber, {grease} and {extent} a place, {turns} its turns.
    """
    row = view.row
    assert is_row_of(row, Step)
    for slot in SLOT.findall(row.text):
        if slot not in SLOT_NEEDS:
            yield Violation(row, "text", f"there is no slot {{{slot}}}")
        elif (needs := SLOT_NEEDS[slot]) is not None and getattr(row, needs) is None:
            yield Violation(row, "text", f"the slot {{{slot}}} needs {needs}, which is empty")


@rule(
    "condition-unreadable",
    shape="row",
    tables=(Step,),
    passes=edit("steps", "step-1", when="foot_joint=bolt into shaft|nut on shaft"),
    fails=edit("steps", "step-1", when="foot_bolt=bolt into shaft"),
)
def condition_unreadable(view: RowView, today: date) -> Iterator[Violation]:
    """A condition of a step has no value, or names a property that steps cannot depend on.

    A condition that is never met drops the step from every job card.

    Fix: write property=value or property=value|value; the properties are spring_kind, foot_joint, adjuster_at, crowns,
    travel_set_by, damper_kind, negative, second_positive and seal_head.
    """
    row = view.row
    assert is_row_of(row, Step)
    for condition in row.when or ():
        name, equals, values = condition.partition("=")
        if name not in CONDITIONS or not equals or not all(value.strip() for value in values.split("|")):
            yield Violation(row, "when", f"“{condition[:60]}” is not a readable condition")
