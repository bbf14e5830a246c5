"""The closed lists of words with their meanings and synonyms, and the columns that hold them."""

from typing import NotRequired

from pydantic import TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.tables import TABLES
from app.catalogue.words import LISTS, OWN, words

UNCHECKED = "no question checks this; shown as printed"
"""Said of a limit whose subject decides no question."""
HOW = (
    f"A synonym counts as its word, but is refused when it is entered. A word of your own begins with {OWN} and gets a "
    "warning."
)


class WordRow(TypedDict):
    """One word of a list. `used_by` are the questions that a limit of this subject decides; else `note` says so."""

    list: str
    word: str
    meaning: str
    synonyms: list[str]
    used_by: NotRequired[list[str]]
    note: NotRequired[str]


class WordListRow(TypedDict):
    """One list, with the columns that hold its words."""

    name: str
    meaning: str
    columns: list[str]


class WordsAnswer(TypedDict):
    """All words, list by list."""

    text: str
    lists: list[WordListRow]
    words: list[WordRow]


WORDS = TypeAdapter(WordsAnswer)


def all_words() -> WordsAnswer:
    """Every list and every word."""
    lists: list[WordListRow] = [
        {"name": name, "meaning": meaning, "columns": _columns(name)} for name, meaning in LISTS.items()
    ]
    return {"text": HOW, "lists": lists, "words": [row for name in LISTS for row in _rows(name)]}


def unchecked(subject: str) -> bool:
    """Whether no question checks a limit of this subject."""
    return not any(each.word == subject and each.used_by for each in words("subject"))


def _columns(name: str) -> list[str]:
    return [
        f"{table.table}.{column.name}"
        for table in TABLES.values()
        for column in table.columns().values()
        if column.kind.words == name
    ]


def _rows(name: str) -> list[WordRow]:
    found: list[WordRow] = []
    for each in words(name):
        row: WordRow = {
            "list": name, "word": each.word, "meaning": each.meaning, "synonyms": list(each.synonyms),
        }  # fmt: skip
        if each.used_by:
            row["used_by"] = list(each.used_by)
        elif name == "subject":
            row["note"] = UNCHECKED
        found.append(row)
    return found
