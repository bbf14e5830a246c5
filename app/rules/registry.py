"""The rules by their slugs, each with its doc, its examples and the shape it sees. A rule without a doc is an error.

A docstring has three paragraphs: the fault, why it is wrong, and `Fix:` how to correct it.
"""

import inspect
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal, NamedTuple

from app.catalogue.tables import Row
from app.rules.finding import Severity

RuleShape = Literal["row", "family", "entity", "identity", "change", "reading"]
Nature = Literal["impossible", "implausible", "advice", "completeness"]


class Violation(NamedTuple):
    """One fault found by a rule: the row, its column, a sentence, the row it conflicts with, its own severity.

    `mutual`: either row could be the faulty one, so a change names the row that it changed. `figures`: the doubtful
    cells, if they are not those of `column`; the words of the page must contain one of them. `nature`: set by a rule
    that is split into an impossible and an implausible half.
    """

    row: Row
    column: str | None
    text: str
    other: Row | None = None
    severity: Severity | None = None
    mutual: bool = False
    figures: tuple[tuple[Row, str | None], ...] = ()
    nature: Nature | None = None


class RowEdit(NamedTuple):
    """A one-row edit of the clean catalogue: cells to write into a row. An unknown id makes a new row."""

    table: str
    id: str
    cells: dict[str, str]


def edit(table: str, id: str, **cells: str) -> RowEdit:
    """An example: these cells of that row; an empty text clears the cell."""
    return RowEdit(table, id, cells)


JudgeFunction = Callable[[Any, date], Iterator[Violation]]
Reads = Callable[[type[Row]], tuple[str, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """One consistency check. `tables` are the tables whose rows (row, change) or entities (entity) it judges.

    For a family rule, `tables` are those in whose rows it can find faults, and `beside` those it also reads. Chassis,
    variants and everything that rows name are always available. Without tables it judges the statements of each table
    separately. `reads` gives the only columns that decide whether a row is at fault; None if any column or other rows
    may decide. `printed` is the failing example of an implausible rule with the words of the page; it is accepted.
    `only_with` names a column that a row must have to be at fault.
    """

    slug: str
    family: str
    shape: RuleShape
    severity: Severity
    nature: Nature
    what: str
    why: str
    fix: str
    silenced_by: tuple[str, ...]
    tables: tuple[type[Row], ...]
    passes: RowEdit | None
    fails: RowEdit | None
    judge: JudgeFunction | None
    reads: Reads | None = None
    beside: tuple[type[Row], ...] = ()
    printed: RowEdit | None = None
    only_with: str | None = None


RULES: dict[str, Rule] = {}

# The family of the rules in each module.
FAMILIES = {
    "form": "form", "figures": "form", "identity": "form", "duplicates": "form",
    "contradiction": "contradiction",
    "envelope": "envelope", "belonging": "envelope", "ratings": "envelope",
    "air": "physics", "chambers": "physics", "bands": "physics", "bolts": "physics", "fluids": "physics",
    "construction": "physics", "dimensions": "physics", "setups": "physics", "usual": "physics",
    "slips": "slips", "unlike": "slips", "twins": "slips", "ladders": "slips", "orders": "slips",
    "printing": "slips",
    "kinds": "relations", "frames": "relations", "fitting": "relations", "naming": "relations", "work": "relations",
    "things": "relations", "readings": "relations", "words": "relations",
    "odd": "slips",
    "provenance": "provenance",
    "completeness": "completeness",
}  # fmt: skip


def rule(
    slug: str,
    *,
    shape: RuleShape,
    severity: Severity = "reject",
    nature: Nature | None = None,
    tables: Iterable[type[Row]] = (),
    silenced_by: tuple[str, ...] = (),
    passes: RowEdit,
    fails: RowEdit,
    printed: RowEdit | None = None,
    reads: Reads | tuple[str, ...] | None = None,
    beside: tuple[type[Row], ...] = (),
    only_with: str | None = None,
) -> Callable[[JudgeFunction], JudgeFunction]:
    """Register a rule. Its module gives its family. No tables means all.

    `reads` is for row rules, `beside` for family rules. A rule that refuses is `impossible` and one that warns is
    `advice`, unless `nature` is given. `printed` is derived from `fails` if it is not given.
    """

    def register(judge: JudgeFunction) -> JudgeFunction:
        family = FAMILIES[judge.__module__.rsplit(".", 1)[-1]]
        columns = (lambda _: reads) if isinstance(reads, tuple) else reads
        own = _nature(family, severity) if nature is None else nature
        words = _with_words(fails) if own == "implausible" and printed is None else printed
        _add(
            slug, family, shape, severity, own, judge.__doc__, silenced_by, tuple(tables), passes, fails, judge,
            columns, beside, words, only_with,
        )  # fmt: skip
        return judge

    return register


def reading_rule(slug: str, doc: str, severity: Severity = "reject") -> Rule:
    """Register a fault found while reading a package: a doc in the form of a rule's docstring, without a function."""
    return _add(slug, "reading", "reading", severity, _nature("reading", severity), doc, (), (), None, None, None)


def _nature(family: str, severity: Severity) -> Nature:
    if family == "completeness":
        return "completeness"
    return "impossible" if severity == "reject" else "advice"


def _with_words(fails: RowEdit) -> RowEdit:
    """The failing example with the words of a page that prints its figures."""
    return fails._replace(
        cells={**fails.cells, "as_printed": "printed so: " + ", ".join(filter(None, fails.cells.values()))}
    )


def _add(
    slug: str,
    family: str,
    shape: RuleShape,
    severity: Severity,
    nature: Nature,
    doc: str | None,
    silenced_by: tuple[str, ...],
    tables: tuple[type[Row], ...],
    passes: RowEdit | None,
    fails: RowEdit | None,
    judge: JudgeFunction | None,
    reads: Reads | None = None,
    beside: tuple[type[Row], ...] = (),
    printed: RowEdit | None = None,
    only_with: str | None = None,
) -> Rule:
    paragraphs = [" ".join(part.split()) for part in inspect.cleandoc(doc or "").split("\n\n")]
    if len(paragraphs) != 3 or not paragraphs[2].startswith("Fix: "):
        raise ValueError(f"rule {slug} needs a doc of three paragraphs, the last one beginning with 'Fix: '")
    if slug in RULES:
        raise ValueError(f"there are two rules {slug}")
    what, why, fix = paragraphs
    made = Rule(
        slug, family, shape, severity, nature, what, why, fix.removeprefix("Fix: "), silenced_by, tables, passes,
        fails, judge, reads, beside, printed, only_with,
    )  # fmt: skip
    RULES[slug] = made
    return made
