"""Findings while reading: the place in the file, the value, and how to write it. Text from a file is shortened."""

from app.rules.finding import Finding
from app.rules.registry import Rule

SHOWN = 60


def found(
    rule: Rule,
    text: str,
    *,
    table: str | None = None,
    row: int | None = None,
    id: str | None = None,
    column: str | None = None,
    value: str | None = None,
    mend: str | None = None,
) -> Finding:
    """A finding of a reading rule; `mend` replaces the rule's own fix if more can be said."""
    shown = None if value is None else shortened(value)
    return Finding(rule.slug, rule.severity, table, id, column, shown, text, None, mend or rule.mend, row)


def shortened(value: str) -> str:
    """Text from a file, safe to show: on one line, at most SHOWN characters, no control characters."""
    plain = "".join(character if character.isprintable() else "�" for character in value[: SHOWN + 1])
    return plain if len(value) <= SHOWN else plain[:SHOWN] + f"… ({len(value)} characters)"


def letter(position: int) -> str:
    """The letter a spreadsheet shows above a column, counted from 0: A … Z, AA …"""
    name = ""
    position += 1
    while position:
        position, rest = divmod(position - 1, 26)
        name = chr(65 + rest) + name
    return name
