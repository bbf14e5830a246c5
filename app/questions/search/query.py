"""The words of a search: which of them are a wheel, a year or a length, and how alike two words are. Pure."""

import re
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from typing import NamedTuple

from rapidfuzz.distance import OSA

from app.catalogue.search import MOST_WORDS, plain
from app.units.measure import WHEEL_NAMES

LIKE_LEAST = 0.75
JOINED = 3  # words that may be run together: "lowerlegkit"
LETTERS_LEAST = 3  # shorter words must be exact, and so must numbers
_WORD = re.compile(r"\d+[.,]\d+[a-z]*|[^\W_]+")
_WHEEL = re.compile(r"(\d\d(?:[.,]5)?)(?:ers?|in|inch)?")
_LENGTH = re.compile(r"(\d{2,3})(?:mm)?")
_YEAR = re.compile(r"(?:19|20)\d\d")
_EMPTY = frozenset(re.findall(r"\w+", "a an and for from how in is it much my of on or the to what which with"))


class QueryWord(NamedTuple):
    """One word of a search, with what else it may mean: a wheel (bead seat diameter), a travel in mm, a model year."""

    text: str
    wheel: int | None = None
    travel: int | None = None
    year: int | None = None


def read_query(text: str) -> list[QueryWord]:
    """The words of a text, in small letters without accents. Words such as "the" are left out beside others."""
    found = list(dict.fromkeys(_WORD.findall(plain(text))))[:MOST_WORDS]
    telling = [word for word in found if word not in _EMPTY] or found
    return [_query_word(word) for word in telling]


def _query_word(word: str) -> QueryWord:
    wheel, travel, year = _WHEEL.fullmatch(word), _LENGTH.fullmatch(word), _YEAR.fullmatch(word)
    return QueryWord(
        word,
        wheel=WHEEL_NAMES.get(wheel[1].replace(",", ".")) if wheel else None,
        travel=int(travel[1]) if travel else None,
        year=int(year[0]) if year else None,
    )


def regrouped(asked: Sequence[QueryWord], has: Callable[[str], bool]) -> list[QueryWord]:
    """The words with those of a name put together that were split ("rad dle"), and those split that were run together
    ("raddletopcap"). `has` tells whether a name of the catalogue has exactly this word."""
    found: list[QueryWord] = []
    rest = list(asked)
    while rest:
        word = rest.pop(0)
        if rest and not (has(word.text) or has(rest[0].text)) and has(word.text + rest[0].text):
            found.append(_query_word(word.text + rest.pop(0).text))
            continue
        ends = range(len(word.text) - LETTERS_LEAST, LETTERS_LEAST, -1)
        end = None if has(word.text) else next((end for end in ends if has(word.text[:end])), None)
        found += [word] if end is None else [_query_word(word.text[:end]), _query_word(word.text[end:])]
    return found


def single(*texts: str) -> list[str]:
    """The words of some texts."""
    return [word for text in texts for word in _WORD.findall(plain(text))]


def spoken(*texts: str) -> set[str]:
    """The words of some texts, and neighbouring ones run together: "top cap" gives top, cap, topcap."""
    return {word for text in texts for word in _spoken(text)}


@lru_cache(maxsize=16384)
def _spoken(text: str) -> tuple[str, ...]:
    parts = single(text)
    return tuple("".join(parts[at:end]) for at in range(len(parts)) for end in range(at + 1, at + 1 + JOINED))


def best(asked: str, words: Iterable[str]) -> float:
    """How alike a word is to the most similar of several: 1 for the same, 0 for none."""
    return max((alike(asked, word) for word in words), default=0.0)


@lru_cache(maxsize=65536)
def alike(asked: str, word: str) -> float:
    """How alike two words are, 0 to 1. Numbers and short words are the same or not; a plural counts as its singular."""
    if asked == word:
        return 1.0
    if not asked.isalpha() or len(asked) < LETTERS_LEAST:
        return 0.0
    if asked.removesuffix("s") == word.removesuffix("s"):
        return 0.99
    if word.startswith(asked):
        return 0.85 + 0.1 * len(asked) / len(word)
    score = OSA.normalized_similarity(asked, word) if min(len(asked), len(word)) > LETTERS_LEAST else 0.0
    return score if score >= LIKE_LEAST else 0.0
