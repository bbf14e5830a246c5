"""The words of the page as evidence: which figures they hold, and how much a finding counts that they bear out.

Two classes matter here. What is *impossible* is refused whatever the page says. What is *implausible* is refused until
the row carries `as_printed`, the words of the page, and the doubtful figure occurs in them. It is then accepted and
shown as "unusual, as printed". Pure.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from functools import lru_cache
from typing import TypeVar

from app.catalogue.tables import Row
from app.rules.finding import Severity
from app.rules.registry import Rule, Violation
from app.rules.view import cell

T = TypeVar("T")
NUMBER = re.compile(r"[0-9]+(?:[.,][0-9]+)*")
SAID_OF_IT = ("id", "page", "as_printed", "note")  # hold no figure of the row
UNUSUAL = "unusual, as printed: "


@lru_cache(maxsize=4096)
def _figures(words: str) -> frozenset[Decimal]:
    """The figures in a text; a comma is read both as the decimal point and as the mark of thousands."""
    found: set[Decimal] = set()
    for token in NUMBER.findall(words):
        for reading in (token.replace(",", "."), token.replace(",", "")):
            if reading.count(".") <= 1:
                found.add(Decimal(reading))
    return frozenset(found)


def prints(row: Row, column: str | None) -> bool:
    """True when the words of the page hold every figure of a cell. A name or a word is borne out by any words."""
    words = row["as_printed"]
    if words is None:
        return False
    if column is None or (described := row.model.columns().get(column)) is None or described.refers_to is not None:
        return True
    wanted = _figures(cell(row, column) or "")
    return wanted <= _figures(words)


def holds_a_figure(row: Row) -> bool:
    """True when the words of the page hold at least one figure of the row, or the row has none."""
    columns = [
        name
        for name, described in row.model.columns().items()
        if name not in SAID_OF_IT and described.refers_to is None and _figures(cell(row, name) or "")
    ]
    return not columns or any(prints(row, name) for name in columns)


def panels(
    group: Sequence[T], row_of: Callable[[T], Row], column: str | None = None
) -> Iterator[tuple[Sequence[T], T | None]]:
    """The siblings that are compared, and whom the verdict is about: first all without words, then each with words.

    A figure that is printed so is no evidence about its siblings, so it neither convicts nor protects another.
    """
    witnessed = [each for each in group if prints(row_of(each), column)]
    if not witnessed:
        yield group, None
        return
    plain = [each for each in group if not prints(row_of(each), column)]
    if plain:
        yield plain, None
    for each in witnessed:
        yield [*plain, each], each


def weight(rule: Rule, hit: Violation, changed: frozenset[tuple[str, str]]) -> Severity:
    """How much a violation counts: as the rule says, less if the page bears it out.

    `confirmed` is an older mark than `as_printed`. On a stored row it makes a refusal a warning; a new or changed row
    needs the words.
    """
    nature, severity = hit.nature or rule.nature, hit.severity or rule.severity
    if nature not in ("implausible", "advice") or hit.column == "as_printed":
        return severity
    doubted = _doubted(hit)
    decides = nature == "implausible" or any(cell(row, column) for row, column in doubted)
    if decides and any(prints(row, column) for row, column in doubted):
        return "accepted"
    stored = (hit.row.table, hit.row.id) not in changed
    if severity == "reject" and stored and any(getattr(row, "confirmed", None) for row, _ in doubted):
        return "warn"
    return severity


def _doubted(hit: Violation) -> tuple[tuple[Row, str | None], ...]:
    if hit.figures:
        return hit.figures
    own = (hit.row, hit.column)
    return (own, (hit.other, hit.column)) if hit.mutual and hit.other is not None else (own,)
