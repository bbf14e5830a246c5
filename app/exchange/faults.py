"""Findings while reading: the place in the file, the value, and how to write it. Text from a file is shortened."""

from app.exchange.shown import shortened
from app.rules.finding import Finding
from app.rules.registry import Rule


def found(
    rule: Rule,
    text: str,
    *,
    table: str | None = None,
    row: int | None = None,
    id: str | None = None,
    column: str | None = None,
    value: str | None = None,
    fix: str | None = None,
) -> Finding:
    """A finding of a reading rule; `fix` replaces the rule's own fix if more can be said."""
    shown = None if value is None else shortened(value)
    return Finding(rule.slug, rule.severity, table, id, column, shown, text, None, fix or rule.fix, row)
