"""The words of the page as evidence: the figures they contain, and the weight of a finding that they support.

Two classes matter here. An *impossible* row is refused whatever the page says. An *implausible* row is refused until
it has `as_printed`, the words of the page, and they contain the doubtful figure. It is then accepted and shown as
"unusual, as printed". Pure.
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
SAID_OF_IT = ("id", "page", "as_printed", "note")  # columns without a figure of the row
UNUSUAL = "unusual, as printed: "


@lru_cache(maxsize=4096)
def _figures(words: str) -> frozenset[Decimal]:
    """The figures in a text; a comma is read both as the decimal point and as the thousands separator."""
    found: set[Decimal] = set()
    for token in NUMBER.findall(words):
        for reading in (token.replace(",", "."), token.replace(",", "")):
            if reading.count(".") <= 1:
                found.add(Decimal(reading))
    return frozenset(found)


def prints(row: Row, column: str | None) -> bool:
    """True when the words of the page contain every figure of a cell. Any words support a name or a word."""
    words = row.as_printed
    if words is None:
        return False
    if column is None or (described := row.model.columns().get(column)) is None or described.refers_to is not None:
        return True
    wanted = _figures(cell(row, column) or "")
    return wanted <= _figures(words)


def holds_a_figure(row: Row) -> bool:
    """True when the words of the page contain at least one figure of the row, or the row has none."""
    columns = [
        name
        for name, described in row.model.columns().items()
        if name not in SAID_OF_IT and described.refers_to is None and _figures(cell(row, name) or "")
    ]
    return not columns or any(prints(row, name) for name in columns)


def panels(
    group: Sequence[T], row_of: Callable[[T], Row], column: str | None = None
) -> Iterator[tuple[Sequence[T], T | None]]:
    """The siblings to compare, and the one that is judged: first all without words, then each with words.

    A figure confirmed by the page is no evidence for or against its siblings.
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
    """The severity of a violation: that of the rule, or less if the page supports the figure.

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
