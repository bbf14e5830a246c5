"""The forks that a search names, and the figures of them that it asks for."""

from collections.abc import Collection, Sequence
from typing import NamedTuple
from urllib.parse import urlencode

from app.catalogue.rows import Snapshot
from app.catalogue.search import LEAST, Partial, index_of
from app.catalogue.tables import Chassis, Fit, Variant
from app.questions.configuration.region import Given
from app.questions.search.figures import ORDER, fork_figures
from app.questions.search.hits import ForkFigure, SearchHit, row_hits
from app.questions.search.query import QueryWord, alike, best, regrouped, single, spoken
from app.questions.sheet.gather import gather
from app.units.measure import Measure, parse_measure
from app.units.preferences import Units

FORKS = 4
"""Forks whose figures are looked up for one search."""
_CONSIDERED = 40
_NAME_LEAST = 0.7
_NEARLY = 0.9  # of the best fork's score
_OTHER_WORDS = 0.95
"""A word that figures contain, but not in the name of their place."""


class ForkAnswers(NamedTuple):
    """The requested figures, best first, and their forks.

    `not_found` are words that match neither; `left_out` is how many further forks match as well.
    """

    hits: list[SearchHit]
    forks: list[SearchHit]
    not_found: list[str]
    left_out: int


class _Named(NamedTuple):
    """A fork with the score of each word, and the configuration that the words select."""

    chassis: Chassis
    words: dict[str, float]
    given: Given
    parameters: dict[str, str]

    @property
    def likeness(self) -> float:
        return sum(self.words.values())


def fork_answers(snapshot: Snapshot, asked: Sequence[QueryWord], units: Units) -> ForkAnswers:
    """The figures that the other words match, for the forks that some of the words name."""
    index = index_of(snapshot, Chassis)
    words = regrouped(asked, index.has)
    partial = index.partial([word.text for word in words], _CONSIDERED, snapshot.require_thread)
    named = _likeliest(snapshot, words, [each for each in partial if _by_name(each)])
    forks, left_out = named[:FORKS], len(named) - FORKS
    if len(forks) > 1:
        snapshot.require_thread()  # each costs a sheet
    ranked: list[tuple[tuple[float, int, int, str, str], SearchHit]] = []
    met: set[str] = set()
    for fork in forks:
        met |= fork.words.keys()
        if all(fork.words.get(word.text, 0.0) >= 1 for word in words):
            continue  # every word names the fork: no figure was asked for
        href = f"/v1/chassis/{fork.chassis.id}/sheet" + (f"?{urlencode(fork.parameters)}" if fork.parameters else "")
        for figure in fork_figures(gather(snapshot, fork.chassis.id, fork.given), units, href):
            of_place, of_others = spoken(*figure.place), spoken(*figure.words)
            scores = {word.text: _score(word.text, of_place, of_others, fork) for word in words}
            if not any(score > fork.words.get(word, 0.0) for word, score in scores.items()):
                continue
            met |= {word for word, score in scores.items() if score}
            figure.hit["score"] = round(sum(scores.values()) / len(words), 4)
            if figure.hit["score"] >= LEAST:
                ranked.append((_rank(figure, scores), figure.hit))
    ranked.sort(key=lambda each: each[0])
    hits = [hit for _, hit in ranked]
    of_forks = row_hits(snapshot, [(fork.chassis, round(fork.likeness / len(words), 4)) for fork in forks])
    for fork, hit in zip(forks, of_forks, strict=True):
        hit["href"] = f"{hit['href']}/sheet?{urlencode(fork.parameters)}" if fork.parameters else hit["href"]
    not_found = [word.text for word in words if word.text not in met] if forks else []
    return ForkAnswers(_full(hits), of_forks, not_found, max(left_out, 0) if hits else 0)


def _full(hits: list[SearchHit]) -> list[SearchHit]:
    """Drops figures that match only some words if others match every word."""
    best_score = hits[0]["score"] if hits else 0.0
    return [hit for hit in hits if hit["score"] >= best_score - 0.12]


def _by_name(each: Partial) -> bool:
    return any(score >= _NAME_LEAST and word.isalpha() for word, score in each.words.items())


def _likeliest(snapshot: Snapshot, words: Sequence[QueryWord], partial: Sequence[Partial]) -> list[_Named]:
    """The forks that the words name best: all that score nearly as high as the first."""
    rows = snapshot.many(Chassis, [each.id for each in partial])
    named = [_narrowed(snapshot, words, rows[each.id], dict(each.words)) for each in partial]
    named.sort(key=lambda fork: (-sum(score**3 for score in fork.words.values()), fork.chassis.id))
    most = sum(score**3 for score in named[0].words.values()) if named else 0.0
    return [fork for fork in named if sum(score**3 for score in fork.words.values()) >= _NEARLY * most]


def _narrowed(snapshot: Snapshot, words: Sequence[QueryWord], chassis: Chassis, met: dict[str, float]) -> _Named:
    """A fork with the model year, travel, wheel and variant named by words, as far as the fork has them."""
    year: int | None = None
    travel: Measure | None = None
    wheel: int | None = None
    parameters: dict[str, str] = {}
    for word in words:
        if met.get(word.text, 0.0) >= 1:
            continue
        if word.year is not None and _within(word.year, chassis.model_year_from, chassis.model_year_to):
            year = word.year
            parameters["model_year"] = word.text
        elif word.wheel is not None and word.wheel in (chassis.wheel_sizes or ()):
            wheel = word.wheel
            parameters["wheel_size"] = str(word.wheel)
        elif word.travel is not None and _is_travel(snapshot, chassis, word.travel):
            travel = parse_measure(str(word.travel), kind="length", usual="mm", parameter="travel")
            parameters["travel"] = str(word.travel)
        else:
            continue
        met[word.text] = 1.0
    variant = _variant(snapshot, chassis, [word.text for word in words if met.get(word.text, 0.0) < 1], year)
    if variant is not None:
        parameters["variant"] = variant.id
        own = spoken(variant.name, variant.model_code or "")
        met |= {word.text: 1.0 for word in words if word.text in own}
    given = Given(travel, year, None if variant is None else variant.id, None, None, wheel)
    return _Named(chassis, met, given, parameters)


def _within(year: int, first: int | None, last: int | None) -> bool:
    return (first is None or first <= year) and (last is None or year <= last)


def _is_travel(snapshot: Snapshot, chassis: Chassis, travel: int) -> bool:
    low, high = chassis.travel_min_mm, chassis.travel_max_mm
    if low is not None and high is not None and not low <= travel <= high:
        return False
    return any(fit.travel_mm == travel for fit in snapshot.where(Fit, "chassis", chassis.id))


def _variant(snapshot: Snapshot, chassis: Chassis, left: Sequence[str], year: int | None) -> Variant | None:
    """The one variant of a fork that a word names. Variants not made in `year` are left out."""
    if not left:
        return None
    named = [
        each for each in snapshot.where(Variant, "chassis", chassis.id)
        if (year is None or _within(year, each.model_year_from, each.model_year_to))
        and not spoken(each.name, each.model_code or "").isdisjoint(left)
    ]  # fmt: skip
    return named[0] if len(named) == 1 else None


def _score(word: str, of_place: Collection[str], of_others: Collection[str], fork: _Named) -> float:
    own = fork.words.get(word, 0.0)
    return own if own >= 1 else max(own, best(word, of_place), _OTHER_WORDS * best(word, of_others))


def _rank(figure: ForkFigure, scores: dict[str, float]) -> tuple[float, int, int, str, str]:
    """Best score first, then the place with the fewest additional words, then by kind."""
    beside = sum(1 for word in single(*figure.place) if not any(alike(asked, word) for asked in scores))
    hit = figure.hit
    return (-round(hit["score"], 2), beside, ORDER.index(hit["kind"]), hit["name"], hit["id"])
