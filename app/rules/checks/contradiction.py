"""Contradiction: two statements apply together and disagree, and neither is declared an exception to the other."""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date

from app.catalogue.agreement import agree, differences, subject
from app.catalogue.scopes import contains, narrower, overlap
from app.catalogue.tables import Statement
from app.rules.checks.slips import written
from app.rules.family import Family
from app.rules.registry import Violation, edit, rule

UNREADABLE = ("unit-unknown", "unit-of-another-kind", "unit-missing", "figure-not-positive", "limits-crossed",
              "span-reversed", "id-taken", "reference-missing")  # fmt: skip
LONGEST_CHAIN = 16  # exceptions to exceptions; a longer chain is a circle


def _named(family: Family, row: Statement) -> Statement | None:
    """The statement that an exception names, if it is in the family."""
    return family.same_table(row).get(row.exception_to or "")


def _replaces(family: Family, row: Statement, other: Statement) -> bool:
    """True if the source of `row` supersedes that of `other`."""
    source = family.sources.get(row.source or "")
    return source is not None and other.source in (source.supersedes or ())


def _overrules(family: Family, row: Statement, other: Statement, depth: int = 0) -> bool:
    """True when `row` is an exception to `other`: by name, because `other` agrees with the one named, or along a chain.

    Design, section 3: the exception also overrules every statement of its subject that contains its scope and agrees
    with the one named.
    """
    named = _named(family, row)
    if named is None or depth > LONGEST_CHAIN:
        return False
    if named is other:
        return True
    if not contains(family.scope(other), family.scope(row)):
        return False
    return agree(other, named) or _overrules(family, named, other, depth + 1)


@rule(
    "disagree-unrelated",
    shape="family",
    silenced_by=(*UNREADABLE, "exception-not-narrower", "exception-to-other-subject"),
    passes=edit("limits", "limit-rotor-2", chassis="fork-a", subject="rotor diameter", max="203", unit="mm",
                source="bulletin-a", page="1"),
    fails=edit("limits", "limit-rotor-2", chassis="fork-a", subject="rotor diameter", max="180", unit="mm",
               source="bulletin-a", page="1"),
)  # fmt: skip
def disagree_unrelated(family: Family, today: date) -> Iterator[Violation]:
    """Two statements apply to the same configuration and disagree, and neither is declared an exception to the other.

    A mechanic would get two instructions for one bolt. Only someone who knows the sources can say which one applies.

    Fix: if the new row is from a newer edition, enter it under the id of the old row to replace it. If it is from a
    document that replaces the old one, name that in supersedes of the source. Otherwise correct the figure, narrow a
    scope, or name the row that this source overrules in exception_to.
    """
    for group in family.shared_subjects:
        conflicts: dict[int, set[int]] = defaultdict(set)
        for index, (row, scope) in enumerate(group):
            for earlier, (other, its) in enumerate(group[:index]):
                if not overlap(scope, its) or agree(row, other):
                    continue
                if scope == its and (_replaces(family, row, other) or _replaces(family, other, row)):
                    continue  # the answer shows only the newer one
                if not _overrules(family, row, other) and not _overrules(family, other, row):
                    conflicts[index].add(earlier)
                    conflicts[earlier].add(index)
        if conflicts:
            yield from _outliers([row for row, _ in group], conflicts)


def _outliers(group: list[Statement], conflicts: dict[int, set[int]]) -> Iterator[Violation]:
    """One violation for each statement that must go before the rest agree, the one in most conflicts first."""
    while conflicts:
        index = max(conflicts, key=lambda each: (len(conflicts[each]), group[each].id))
        against = conflicts.pop(index)
        for each in against:
            conflicts[each].discard(index)
            if not conflicts[each]:
                del conflicts[each]
        row, other = group[index], min((group[each] for each in against), key=lambda each: each.id)
        columns = differences(row, other)
        text = "; ".join(
            f"{name}: {row.id} says {written(row, name)}, {other.id} says {written(other, name)}" for name in columns
        )
        yield Violation(row, columns[0], text, other, mutual=True)


@rule(
    "exception-not-narrower",
    shape="family",
    silenced_by=("exception-to-other-subject",),
    passes=edit("torques", "torque-foot-damper-2024", model_year_from="2023"),
    fails=edit("torques", "torque-foot-damper-2024", model_year_from="2022"),
)
def exception_not_narrower(family: Family, today: date) -> Iterator[Violation]:
    """A statement is declared an exception to one with the same scope, or with a scope that does not contain its own.

    An exception overrules only part of a wider statement. Otherwise neither of the two takes precedence.

    Fix: narrow the scope of the exception, or replace the old statement under its own id.
    """
    for row in family.given("exception_to"):
        named = _named(family, row)
        if named is not None and not narrower(family.scope(row), family.scope(named)):
            yield Violation(row, "exception_to", f"its scope is not strictly within that of {named.id}", named)


@rule(
    "exception-to-other-subject",
    shape="family",
    silenced_by=("reference-missing",),
    passes=edit("torques", "torque-pinch", exception_to=""),
    fails=edit("torques", "torque-pinch", exception_to="torque-cap"),
)
def exception_to_other_subject(family: Family, today: date) -> Iterator[Violation]:
    """A statement is declared an exception to one about something else.

    The torque of one bolt cannot overrule that of another. The id is probably wrong.

    Fix: name a statement of the same table about the same subject, or clear the cell.
    """
    for row in family.given("exception_to"):
        if (row.table, row.exception_to or "") in family.absent:
            continue
        named = _named(family, row)
        if named is None:
            yield Violation(row, "exception_to", f"{row.exception_to} is about another chassis")
        elif subject(row, family.parts) != subject(named, family.parts):
            yield Violation(row, "exception_to", f"{named.id} is about something else", named)
