"""Text from a file as it may be shown, and column letters. Light, because child processes import it."""

import unicodedata

SHOWN = 60


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
