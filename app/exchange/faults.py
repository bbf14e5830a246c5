"""Findings while reading: the place in the file, the value, and how to write it. Text from a file is shortened."""

import unicodedata

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
    fix: str | None = None,
) -> Finding:
    """A finding of a reading rule; `fix` replaces the rule's own fix if more can be said."""
    shown = None if value is None else shortened(value)
    return Finding(rule.slug, rule.severity, table, id, column, shown, text, None, fix or rule.fix, row)


def shortened(value: str) -> str:
    """Text from a file as it may be shown: on one line, at most SHOWN characters, nothing that moves a cursor.

    A space that cannot be seen, at an end or other than the plain one, is shown as ␣.
    """
    inside = value.strip(" ")
    left = len(value) - len(value.lstrip(" "))
    shown = "␣" * left + inside + "␣" * (len(value) - left - len(inside))
    plain = "".join(_visible(character) for character in shown[: SHOWN + 1])
    return plain if len(value) <= SHOWN else plain[:SHOWN] + f"… ({len(value)} characters)"


def _visible(character: str) -> str:
    if character != " " and (character.isspace() or unicodedata.category(character) in ("Zs", "Cf")):
        return "␣"
    return character if character.isprintable() else "�"


def letter(position: int) -> str:
    """The letter a spreadsheet shows above a column, counted from 0: A … Z, AA …"""
    name = ""
    position += 1
    while position:
        position, rest = divmod(position - 1, 26)
        name = chr(65 + rest) + name
    return name
