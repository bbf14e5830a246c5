"""The closed lists of words (`words.csv`): positions, places, jobs and so on, with their synonyms. Common practice, no
source.

A cell may hold any text, so that history and mirrors stay readable; the rules refuse what is not in the list. A synonym
counts as its word wherever two cells are compared, and is written back as it was.
"""

import csv
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files

from rapidfuzz import fuzz, process

LISTS: dict[str, str] = {
    "subject": "quantity that a limit is about",
    "operation": "service that has an interval",
    "job": "job that has an order of work",
    "position": "where a fastener or a part is",
    "side": "leg or side",
    "place": "where grease goes",
    "part kind": "kind of part",
}
"""The lists with their meanings, in the order in which they are shown."""
OWN = "own:"
"""Begins a word that is not in the list but the shop's own."""
MOST_SUGGESTED = 4
_ALIKE = 75  # least likeness of a suggestion, of 100
_NEXT_BEST = 5  # a suggestion may be this much less alike than the best
_SPELT = {"tire": "tyre", "calliper": "caliper", "center": "centre", "aluminum": "aluminium", "thru": "through"}
_BREAK = re.compile(r"[\s\-_‐-―/]+")


class Word(str):
    """A cell that is written otherwise than its word: it equals the word, and is `written` as it was."""

    written: str

    def __new__(cls, word: str, written: str) -> "Word":
        made = super().__new__(cls, word)
        made.written = written
        return made


@dataclass(frozen=True, slots=True)
class ListedWord:
    """One word of a list. `used_by` are the questions that a limit of this subject decides."""

    word: str
    meaning: str
    synonyms: tuple[str, ...]
    used_by: tuple[str, ...]


def written(value: str) -> str:
    """The text of a cell as it was written."""
    return value.written if isinstance(value, Word) else value


def read(name: str, text: str) -> str:
    """The value of a cell: its word, or the text itself if it means none."""
    word = meant(name, text)
    return text if word in (None, text) else Word(str(word), text)


@lru_cache(maxsize=4096)
def meant(name: str, text: str) -> str | None:
    """The word of a list that a text means: itself, in another spelling, or as a synonym. None if there is none."""
    return _by_spelling(name).get(_folded(own_word(text) or text))


def is_spelt_otherwise(word: str, text: str) -> bool:
    """Whether a text is the word but for capitals, hyphens, spaces, plural, or British and American spelling."""
    return _folded(word) == _folded(text)


def own_word(text: str) -> str | None:
    """The text after `own:`; None if it does not begin so."""
    return text[len(OWN) :].strip() if text.casefold().startswith(OWN) else None


def nearest(name: str, text: str) -> list[str]:
    """The words that may have been meant, the likeliest first; several if the text could mean any of them."""
    spellings = {_plain(spelling): each.word for each in words(name) for spelling in (each.word, *each.synonyms)}
    found = process.extract(
        _plain(own_word(text) or text), list(spellings), scorer=fuzz.WRatio, score_cutoff=_ALIKE, limit=None
    )
    close = [spellings[spelling] for spelling, score, _ in found if score >= found[0][1] - _NEXT_BEST]
    return list(dict.fromkeys(close))[:MOST_SUGGESTED]


def words(name: str) -> tuple[ListedWord, ...]:
    """The words of a list, in the order of the file."""
    return _lists()[name]


def listed(name: str) -> tuple[str, ...]:
    """The words of a list alone."""
    return tuple(each.word for each in words(name))


def spellings_of(name: str, text: str) -> tuple[str, ...]:
    """The texts of cells that count as the same word, in small letters: the word, its synonyms and the text itself."""
    word = meant(name, text)
    every = next(((each.word, *each.synonyms) for each in words(name) if each.word == word), ())
    return tuple(sorted({each.lower() for each in (*every, written(text))}))


@cache
def _lists() -> dict[str, tuple[ListedWord, ...]]:
    found: dict[str, list[ListedWord]] = {name: [] for name in LISTS}
    source = files("app.catalogue").joinpath("words.csv").read_text(encoding="utf-8")
    for line in csv.DictReader(source.splitlines(), strict=True):
        found[line["list"]].append(
            ListedWord(line["word"], line["meaning"], _parts(line["synonyms"]), _parts(line["used_by"]))
        )
    return {name: tuple(each) for name, each in found.items()}


def _parts(cell: str) -> tuple[str, ...]:
    return tuple(part for part in cell.split(";") if part)


@cache
def _by_spelling(name: str) -> dict[str, str]:
    return {_folded(spelling): each.word for each in words(name) for spelling in (each.word, *each.synonyms)}


def _tokens(text: str) -> Iterable[str]:
    for token in _BREAK.split(text.casefold().strip()):
        one = token[:-1] if len(token) > 3 and token.endswith("s") and not token.endswith("ss") else token
        yield _SPELT.get(one, one)


def _folded(text: str) -> str:
    """Equal for all spellings of one word: `Foot-Bolts`, `footbolt` and `foot bolt`."""
    return "".join(_tokens(text))


def _plain(text: str) -> str:
    return " ".join(_tokens(text))
