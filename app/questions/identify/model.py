"""How likely each chassis is, given clues that may be inaccurate or wrong, and the most informative check. Pure.

The error model is simple and stated: a clue is wrong one time in ten, and then equals any fork's value in the
catalogue; a diameter is read to about ± 0.2 mm. A value that the catalogue lacks counts neither for nor against a
chassis. Before the first clue every chassis is equally likely.
"""

import heapq
import math
from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from rapidfuzz import fuzz, process

from app.catalogue.serials import Run, shape
from app.questions.identify.index import CLUES, SPREAD_MM, Attribute, ClueReading, Index, entropy

WRONG = 0.1
AGREES_WITHIN = 2.5  # standard deviations
PLAUSIBLE = 1 / 20  # share of the best one's likelihood
LEAST_BITS = 0.02
LIKE_MARK = 82  # of 100: the minimum similarity of a mark
LIKE_MAKER = 82

Agreement = Literal["agrees", "disagrees", "unknown"]
Clue = str | int | float
CluesGiven = Mapping[str, Clue | tuple[str, ...]]
"""Clues by parameter; marks may be several, each its own clue."""


def each_clue(given: CluesGiven) -> list[tuple[str, Clue]]:
    """The clues one by one."""
    found: list[tuple[str, Clue]] = []
    for name, value in given.items():
        found += [(name, each) for each in value] if isinstance(value, tuple) else [(name, value)]
    return found


@dataclass(frozen=True, slots=True)
class Ranking:
    """Posterior of each chassis by position, 0 for non-candidates; `best` are the likeliest, in order.

    `plausible` are the candidates at least a twentieth as likely as the best. `fits` counts, per clue, the chassis that
    do not disagree with it; `judged` gives the verdict on each value.
    """

    posterior: list[float]
    best: list[int]
    plausible: list[int]
    fits: dict[tuple[str, Clue], int]
    judged: dict[tuple[str, Clue], list[Agreement]]


@dataclass(frozen=True, slots=True)
class ClueCheck:
    """A check to make: its expected information in bits, and each reading with its probability and what it leaves."""

    clue: str
    bits: float
    readings: list[tuple[str, float, int]]


@dataclass(frozen=True, slots=True)
class Weighed:
    """A clue compared with every value of its attribute: its likelihood if it is right (0 to 1), and whether it
    agrees.
    """

    right: list[float]
    judged: list[Agreement]


def weigh(clue: str, given: str | int | float, index: Index) -> Weighed:
    """Weigh one clue; unknown values weigh 0 here and are judged "unknown"."""
    attribute = index.attributes[clue]
    least = math.exp(-0.5 * AGREES_WITHIN**2) if clue in SPREAD_MM else 0.5
    likeness = _likeness(clue, given, index)
    right = [0.0] * len(attribute.values)
    judged: list[Agreement] = ["unknown" if value is None else "disagrees" for value in attribute.values]
    for reading, numbers in attribute.holding.items():
        if alike := likeness(reading):
            for number in numbers:
                right[number] += alike / len(attribute.values[number] or ())
                if alike >= least:
                    judged[number] = "agrees"
    return Weighed(right, judged)


def _likeness(clue: str, given: str | int | float, index: Index) -> Callable[[ClueReading], float]:
    """How well one reading of the catalogue explains the given clue, 0 to 1."""
    if clue in SPREAD_MM:
        spread, measured = SPREAD_MM[clue], float(given)

        def near(reading: ClueReading) -> float:
            assert isinstance(reading, int | float)
            return math.exp(-0.5 * ((reading - measured) / spread) ** 2)

        return near
    if clue == "serial":
        serial = str(given).upper()
        shapes = {pattern for pattern in index.attributes["serial"].labels if shape(pattern).fullmatch(serial)}
        return lambda run: float(isinstance(run, Run) and run.pattern in shapes and run.holds(serial))
    if clue == "mark":
        return _among(_like_marks(str(given).casefold(), index.attributes["mark"]))
    if clue == "maker":
        return _among(_like_makers(str(given).casefold(), index))
    if clue == "steerer":
        text = str(given).casefold()
        return lambda reading: float(text in str(reading))
    return lambda reading: float(reading == given)


def _among(found: set[str]) -> Callable[[ClueReading], float]:
    return lambda reading: float(reading in found)


def _like_marks(text: str, attribute: Attribute) -> set[str]:
    known = attribute.labels
    if text in known:
        return {text}
    return {
        mark for mark, _, _ in process.extract_iter(text, known, scorer=fuzz.token_set_ratio, score_cutoff=LIKE_MARK)
    }


def _like_makers(text: str, index: Index) -> set[str]:
    if text in index.makers:
        return {index.makers[text]}
    best = process.extractOne(text, index.makers.keys(), scorer=fuzz.ratio, score_cutoff=LIKE_MAKER)
    return {index.makers[best[0]]} if best else set()


def rank(index: Index, given: CluesGiven, most: int) -> Ranking:
    """Weigh all clues. A candidate disagrees with at most half of them, and not with all its known values."""
    size = len(index.ids)
    scores, tally = [0.0] * size, [0] * size
    fits: dict[tuple[str, Clue], int] = {}
    judged: dict[tuple[str, Clue], list[Agreement]] = {}
    clues = each_clue(given)
    for clue, reading in clues:
        attribute, weighed = index.attributes[clue], weigh(clue, reading, index)
        judged[clue, reading] = weighed.judged
        logs = _log_likelihoods(attribute, weighed.right)
        points = [_POINTS[each] for each in weighed.judged]
        scores = [score + logs[number] for score, number in zip(scores, attribute.of, strict=True)]
        tally = [count + points[number] for count, number in zip(tally, attribute.of, strict=True)]
        against = zip(attribute.counts, weighed.judged, strict=True)
        fits[clue, reading] = size - sum(count for count, each in against if each == "disagrees")
    fine_tallies = {each for each in set(tally) if _passes(each, len(clues))}
    passes = [each in fine_tallies for each in tally]
    highest = max((score for score, fine in zip(scores, passes, strict=True) if fine), default=0.0)
    weights = [math.exp(score - highest) if fine else 0.0 for score, fine in zip(scores, passes, strict=True)]
    total = sum(weights) or 1.0
    posterior = [weight / total for weight in weights]
    least = PLAUSIBLE / total * (1 - 1e-9)
    plausible = [place for place, share in enumerate(posterior) if share >= least]
    edge = heapq.nlargest(most, posterior)[-1:] or [0.0]
    shown = [place for place, share in enumerate(posterior) if share >= edge[0] and share > 0]
    shown.sort(key=lambda place: (-posterior[place], index.ids[place]))
    return Ranking(posterior, shown[:most], plausible if shown else [], fits, judged)


_POINTS: Mapping[Agreement, int] = {"agrees": 1, "unknown": 0, "disagrees": 100}


def _passes(tally: int, clues: int) -> bool:
    """Whether a chassis with these agreements and disagreements (100 each) is still a candidate."""
    against, favour = divmod(tally, 100)
    return against <= clues // 2 and (favour > 0 or against == 0)


def _log_likelihoods(attribute: Attribute, right: Sequence[float]) -> list[float]:
    """Per value the log of (1 − wrong)·right + wrong·background; an unknown value gets that of an average chassis."""
    known = sum(count for value, count in zip(attribute.values, attribute.counts, strict=True) if value is not None)
    average = sum(each * count for each, count in zip(right, attribute.counts, strict=True)) / max(known, 1)
    background = max(average, 1 / (known + 1))
    unknown = math.log((1 - WRONG) * average + WRONG * background)
    return [
        unknown if value is None else math.log((1 - WRONG) * each + WRONG * background)
        for value, each in zip(attribute.values, right, strict=True)
    ]


def next_check(index: Index, ranking: Ranking, asked: Collection[str]) -> ClueCheck | None:
    """The check not yet made with the most expected information; None if nothing distinguishes the plausible chassis.

    The information is about the whole posterior, so that an earlier wrong clue can still be found out.
    """
    if len(ranking.plausible) < 2:
        return None
    chosen: tuple[float, str] | None = None
    for clue in CLUES:
        attribute = index.attributes[clue]
        if clue in asked or _information(attribute, _masses(attribute, ranking, whole=False)) < LEAST_BITS:
            continue
        bits = _information(attribute, _masses(attribute, ranking, whole=True))
        if chosen is None or bits > chosen[0] + 1e-9:
            chosen = bits, clue
    return None if chosen is None else _check(chosen[1], index, ranking)


def _masses(attribute: Attribute, ranking: Ranking, *, whole: bool) -> dict[int, float]:
    """The posterior by value: of all chassis, or of the plausible ones scaled to 1."""
    masses = [0.0] * len(attribute.values)
    if whole:
        for number, share in zip(attribute.of, ranking.posterior, strict=True):
            masses[number] += share
    else:
        for place in ranking.plausible:
            masses[attribute.of[place]] += ranking.posterior[place]
    total = sum(masses)
    return {number: mass / total for number, mass in enumerate(masses) if mass}


def _information(attribute: Attribute, masses: Mapping[int, float]) -> float:
    """The bits of information in a right reading about the chassis: H(reading) − H(reading | chassis), where it
    is known.
    """
    readings = [0.0] * len(attribute.labels)
    known = unsure = 0.0
    for number, mass in masses.items():
        shares = attribute.shares[number]
        if shares:
            known += mass
            unsure += mass * attribute.unsure[number]
        for label, share in shares:
            readings[label] += mass * share
    return known * entropy(mass / known for mass in readings if mass) - unsure if known else 0.0


def _check(clue: str, index: Index, ranking: Ranking) -> ClueCheck:
    """The possible readings of the plausible chassis, likeliest first, and how many each leaves."""
    attribute = index.attributes[clue]
    masses = _masses(attribute, ranking, whole=False)
    counts = Counter(attribute.of[place] for place in ranking.plausible)
    unknown = sum(count for number, count in counts.items() if attribute.values[number] is None)
    readings: dict[str, float] = {}
    leaves: Counter[str] = Counter()
    for number, mass in masses.items():
        for label, share in attribute.shares[number]:
            name = attribute.labels[label]
            readings[name] = readings.get(name, 0.0) + mass * share
            leaves[name] += counts[number]
    known = sum(readings.values())
    ordered = sorted(readings, key=lambda name: (-readings[name], name))
    return ClueCheck(
        clue,
        _information(attribute, masses),
        [(name, readings[name] / known, leaves[name] + unknown) for name in ordered],
    )
