"""Finds names, part numbers and ids despite typos, with an index in memory for each table, built on first use.

Each word of the query is matched with the words of the rows: equal, a prefix, or a few letters off (three-letter pieces
select the words worth comparing). The rows with the best words are then compared in full. The query has no syntax:
everything but letters and digits separates words.
"""

import re
import threading
import unicodedata
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import chain
from operator import itemgetter
from typing import Any, NamedTuple
from weakref import WeakKeyDictionary

from cachetools import LRUCache
from rapidfuzz import process
from rapidfuzz.distance import OSA
from sqlalchemy import bindparam, or_, select

from app.catalogue.metadata import as_held
from app.catalogue.rows import Snapshot, holding
from app.catalogue.stored import SQL
from app.catalogue.tables import TABLES, Maker, Row

MOST_WORDS = 12
LEAST = 0.6  # a row below this score is not found
WORD_LEAST = 0.7
RARE = 300  # rows selected by the rarer words; further words only rank these
COMPARED = 100  # rows compared in full
COMPARED_WORDS = 5000  # words compared with one word of the query, those with its rarest pieces first
MOST_INDEXES = 32  # indexes kept in memory
MANY = 2000  # rows that contain even the rarest word of a query: comparing more would block others
_PARTS = re.compile(r"[^\W_]+")
_LETTERS_OR_DIGITS = re.compile(r"[^\W\d_]+|\d+")
_NAMES = ("name", "title", "part_number", "model_code")
SEARCHED: dict[str, type[Row]] = {
    name: table for name, table in TABLES.items() if any(column in table.columns() for column in _NAMES)
}


class Hit(NamedTuple):
    """A row that was found; `score` is 1 for identical text and LEAST for the least similar."""

    id: str
    score: float


class Partial(NamedTuple):
    """A row with some of the query's words, and the similarity (0 to 1) of each."""

    id: str
    words: Mapping[str, float]


def plain(text: str) -> str:
    """The text in lower case without accents."""
    if text.isascii():
        return text.lower()
    decomposed = unicodedata.normalize("NFKD", text)
    return "".join(letter for letter in decomposed if not unicodedata.combining(letter)).casefold()


def words(text: str) -> list[str]:
    """The words of a text: runs of letters and digits."""
    return _PARTS.findall(plain(text))


def _go_on() -> None:
    """The default for `if_many`, which is called before many rows are compared: nothing is blocked, so do nothing."""


class NameIndex:
    """The words and names of one table's rows, given as (id, names, maker's name), ordered by id."""

    def __init__(self, rows: Iterable[tuple[str, Sequence[str], str]]) -> None:
        self.ids: list[str] = []
        self.keys: list[tuple[str, ...]] = []
        words_of: list[tuple[str, ...]] = []
        rows_of: dict[str, list[int]] = defaultdict(list)
        for at, (id, names, maker) in enumerate(rows):
            parts = [words(name) for name in (id, *names)]
            self.ids.append(id)
            self.keys.append(tuple({"".join(part) for part in parts}))
            words_of.append(tuple(dict.fromkeys(chain(*parts, words(maker)))))
            for word in words_of[-1]:
                rows_of[word].append(at)
        self.words = sorted(rows_of)
        self.rows_of = [rows_of[word] for word in self.words]
        number = {word: at for at, word in enumerate(self.words)}
        self._words_of = [tuple(map(number.__getitem__, each)) for each in words_of]
        self._pieces: dict[str, list[int]] = defaultdict(list)
        for at, word in enumerate(self.words):
            for piece in _pieces(word):
                self._pieces[piece].append(at)

    def search(self, text: str, if_many: Callable[[], None] = _go_on) -> list[Hit]:
        """The rows that match the text, best first, then by id. `if_many` is called before many rows are compared."""
        whole = "".join(words(text))[:200]
        found = []
        for place, (at, score) in enumerate(self._by_words(text, if_many)):
            alike = 0.0
            if place < COMPARED:
                alike = max(OSA.normalized_similarity(whole, key) for key in self.keys[at])
            score = max(alike, 0.9 * score + 0.1 * score * alike)
            if score >= LEAST:
                found.append((-round(score, 4), at))
        return [Hit(self.ids[at], -score) for score, at in sorted(found)]

    def near(self, id: str, most: int, if_many: Callable[[], None] = _go_on) -> list[Hit]:
        """The ids most similar to an unknown one."""
        likely = {at: self.ids[at] for at, _ in self._by_words(id, if_many)[:COMPARED]}
        found = process.extract(id, likely, scorer=OSA.normalized_similarity, score_cutoff=LEAST, limit=most)
        return sorted((Hit(name, round(score, 4)) for name, score, _ in found), key=lambda hit: (-hit.score, hit.id))

    def has(self, word: str) -> bool:
        """Whether some row has exactly this word, in lower case without accents."""
        at = bisect_left(self.words, word)
        return at < len(self.words) and self.words[at] == word

    def partial(self, given: Sequence[str], most: int, if_many: Callable[[], None] = _go_on) -> list[Partial]:
        """The rows with some of these words, best first, at most `most` of them.

        One exact word counts for more than several similar ones. A number must be exact.
        """
        alike = {word: self._words_like(word) for word in given[:MOST_WORDS]}
        alike |= {word: _exact(found) for word, found in alike.items() if word.isdigit()}
        cubed = [{number: score**3 for number, score in found.items()} for found in alike.values() if found]
        return [Partial(self.ids[at], self._best(at, alike)) for at, _ in self._ranked(cubed, if_many)[:most]]

    def _best(self, at: int, alike: Mapping[str, Mapping[int, float]]) -> dict[str, float]:
        """For each word of the query, the similarity of the row's best word; words without a match are left out."""
        best = {word: max(found.get(each, 0.0) for each in self._words_of[at]) for word, found in alike.items()}
        return {word: score for word, score in best.items() if score}

    def _by_words(self, text: str, if_many: Callable[[], None]) -> list[tuple[int, float]]:
        """The rows with words similar to those of a text and their overall score (0 to 1), best first."""
        asked: dict[str, dict[int, float]] = {}
        for given in words(text)[:MOST_WORDS]:
            like = self._words_like(given)
            parts = [given] if like else _LETTERS_OR_DIGITS.findall(given)  # LU4100 may be LU 4100
            asked.update((part, like or self._words_like(part)) for part in parts)
        matched = [found for found in asked.values() if found]
        return [(at, score / len(asked)) for at, score in self._ranked(matched, if_many)]

    def _ranked(self, matched: Iterable[dict[int, float]], if_many: Callable[[], None]) -> list[tuple[int, float]]:
        """The rows that match the words and how well, best first; for each word, the similar words of the index."""
        counted = sorted(
            ((sum(len(self.rows_of[word]) for word in found), found) for found in matched), key=itemgetter(0)
        )
        if counted and counted[0][0] > MANY:
            if_many()
        return sorted(self._met(counted).items(), key=lambda each: (-each[1], each[0]))

    def _met(self, counted: Sequence[tuple[int, dict[int, float]]]) -> dict[int, float]:
        """How well each row matches the words, weighted by how rare each word is and how similar."""
        met: dict[int, float] = {}
        for count, found in counted:
            best: dict[int, float] = {}
            if not met or len(met) + count <= RARE:
                for word, score in sorted(found.items(), key=lambda each: each[1]):
                    best.update(dict.fromkeys(self.rows_of[word], score))
            else:
                for at in met:
                    for word in self._words_of[at]:
                        if word in found and found[word] > best.get(at, 0.0):
                            best[at] = found[word]
            for at, score in best.items():
                met[at] = met.get(at, 0.0) + score
        return met

    def _words_like(self, asked: str) -> dict[int, float]:
        """The words of the index that are similar to a word, with their similarity."""
        found: dict[int, float] = {}
        for length in range(3, len(asked)):
            at = bisect_left(self.words, asked[:length])
            if at < len(self.words) and self.words[at] == asked[:length]:
                found[at] = WORD_LEAST  # words run together
        pieces = sorted((self._pieces[piece] for piece in _pieces(asked) if piece in self._pieces), key=len)
        near: set[int] = set()
        for words_with in pieces[:7]:  # two typos leave at least one of seven pieces intact
            if near and len(near) + len(words_with) > COMPARED_WORDS:
                break
            near.update(words_with)
        if len(asked) > 2 and near:
            least = WORD_LEAST if len(asked) > 3 else 0.66
            places = list(near)
            alike = process.extract(
                asked,
                list(map(self.words.__getitem__, places)),
                scorer=OSA.normalized_similarity,
                score_cutoff=least,
                limit=50,
            )
            found.update((places[at], score) for _, score, at in alike)
        at = bisect_left(self.words, asked)
        while at < len(self.words) and self.words[at].startswith(asked):
            if len(asked) < 3 and self.words[at] != asked:
                break  # too short to be a prefix
            begun = 1.0 if len(self.words[at]) == len(asked) else 0.85 + 0.1 * len(asked) / len(self.words[at])
            found[at] = max(found.get(at, 0), begun)
            at += 1
        return found


def _exact(found: Mapping[int, float]) -> dict[int, float]:
    return {number: score for number, score in found.items() if score == 1}


def _pieces(word: str) -> set[str]:
    edged = f" {word} "
    return {edged[at : at + 3] for at in range(len(edged) - 2)}


class _Indexes:
    """The indexes of one database, by table and revision. Only one is built at a time."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.kept: LRUCache[tuple[str, int], NameIndex] = LRUCache(MOST_INDEXES)

    def of(self, snapshot: Snapshot, table: type[Row]) -> NameIndex:
        with snapshot.exclusive(self.lock):
            index = self.kept.get((table.table, snapshot.revision))
            if index is None:
                snapshot.require_thread()
                index = self._unchanged(snapshot, table) or _built(snapshot, table)
                self.kept[table.table, snapshot.revision] = index
            return index

    def _unchanged(self, snapshot: Snapshot, table: type[Row]) -> NameIndex | None:
        """The latest index that is still valid: neither the table nor a maker has changed since."""
        for name, revision in list(self.kept):
            between = {"low": min(revision, snapshot.revision), "high": max(revision, snapshot.revision)}
            if name == table.table and not any(
                snapshot.connection.execute(_changed(source), between).first() for source in (table, Maker)
            ):
                return self.kept[name, revision]
        return None


_INDEXES: WeakKeyDictionary[Any, _Indexes] = WeakKeyDictionary()
_GUARD = threading.Lock()


def found(snapshot: Snapshot, table: type[Row], text: str) -> list[Hit]:
    """The rows of a table that match the text, best first, then by id."""
    return index_of(snapshot, table).search(text, snapshot.require_thread)


def index_of(snapshot: Snapshot, table: type[Row]) -> NameIndex:
    """The index at a revision, for a table with names."""
    with _GUARD:
        indexes = _INDEXES.setdefault(snapshot.cache_key, _Indexes())
    return indexes.of(snapshot, table)


def _built(snapshot: Snapshot, table: type[Row]) -> NameIndex:
    stored = SQL[table]
    columns = table.columns()
    given = [name for name in _NAMES if name in columns]
    maker = [name for name in ("maker",) if name in columns]
    named = (as_held(stored.c[name]) for name in ("id", *given, *maker))
    statement = holding(table).with_only_columns(*named).order_by(stored.c.id)
    makers = {row.id: row.name for row in snapshot.all(Maker)} if maker else {}
    rows = snapshot.connection.execute(statement, {"n": snapshot.revision}).fetchall()
    last = 1 + len(given)
    return NameIndex(
        (row[0], [name for name in row[1:last] if name], makers.get(row[last], row[last] or "") if maker else "")
        for row in rows
    )


def _changed(table: type[Row]) -> Any:
    stored = SQL[table]
    ends = (stored.c.revision_from, stored.c.revision_to)
    within = (end.between(bindparam("low") + 1, bindparam("high")) for end in ends)
    return select(stored.c.id).where(or_(*within)).limit(1)
