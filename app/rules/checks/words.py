"""Words of the closed lists: a cell holds a word of its list, or a word of the shop's own that says so."""

from collections.abc import Iterator
from datetime import date
from functools import cache

from app.catalogue.tables import TABLES, Row
from app.catalogue.words import OWN, is_spelt_otherwise, meant, nearest, own_word
from app.rules.registry import Violation, edit, rule
from app.rules.view import RowView, cell


@cache
def word_columns(table: type[Row]) -> tuple[tuple[str, str], ...]:
    """The columns of a table that hold words, each with its list."""
    return tuple((name, column.kind.words) for name, column in table.columns().items() if column.kind.words is not None)


WORDED = tuple(table for table in TABLES.values() if word_columns(table))


@rule(
    "word-unknown",
    shape="row",
    tables=WORDED,
    passes=edit("limits", "limit-rider", subject="rider mass", max="119"),
    fails=edit("limits", "limit-rider", subject="Rider weight"),
)
def word_unknown(view: RowView, today: date) -> Iterator[Violation]:
    """A word is not in the list of its column: a synonym, a slip, or a word that could mean several things.

    A question cannot use a word that it does not know: the limit, grease or torque would be missing from it. A stored
    synonym counts as its word. A different spelling of a word is only a warning.

    Fix: write the word of the list (`/v1/words`), or `own: ` and a word of your own.
    """
    for name, words in word_columns(view.row.model):
        text = cell(view.row, name)
        if text is None or text == view.row[name] == meant(words, text):
            continue
        word = meant(words, text)
        if word is not None and is_spelt_otherwise(word, text):
            yield Violation(view.row, name, f"“{text}” is read as {word}", severity="warn", nature="advice")
        elif word is not None:
            yield Violation(view.row, name, f"“{text}” means {word}: write {word}")
        elif not own_word(text):
            yield Violation(view.row, name, f"“{text}” is not a {words} of the list{_instead(words, text)}")


def _instead(words: str, text: str) -> str:
    near = nearest(words, text)
    several = f"{', '.join(near[:-1])} or {near[-1]}" if len(near) > 1 else "".join(near)
    return f"; did you mean {several}?" if near else ""


@rule(
    "word-own",
    shape="row",
    severity="warn",
    tables=WORDED,
    passes=edit("greases", "grease-new", chassis="fork-a", place="coil", fluid="grease-a", source="manual-a",
                page="15"),
    fails=edit("greases", "grease-new", chassis="fork-a", place="own: lever pivot", fluid="grease-a", source="manual-a",
               page="15"),
)  # fmt: skip
def word_own(view: RowView, today: date) -> Iterator[Violation]:
    """A word is the shop's own, not one of the list.

    The row is stored and shown as printed, but no question uses it, and other shops have another word for the same.

    Fix: use a word of the list (`/v1/words`) if one says the same.
    """
    for name, words in word_columns(view.row.model):
        text = cell(view.row, name)
        if text is not None and own_word(text) and meant(words, text) is None:
            yield Violation(view.row, name, f"“{text[len(OWN) :].strip()}” is the shop's own word")
