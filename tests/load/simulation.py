"""`python -m tests.load.simulation`: the workers that a day's requests need, and the hit rate of their caches.

It simulates one worker of many: questions from a Zipf distribution, and an LRU cache that a revision empties (or only
the part for the family that the revision changes), at the given processor costs. HTTP caches in front answer pinned
questions, which do not arrive. A peak is twice the mean; a worker gets at most 60 % of a core. The costs are measured,
not simulated; seeds are fixed."""

import argparse
import math
import random
from bisect import bisect
from dataclasses import dataclass
from functools import cache
from itertools import accumulate

from cachetools import LRUCache

PEAK = 2.0
FILLED = 0.6
LONGEST = 60_000
"""The most requests simulated for one worker; the rates of longer runs are those of their second half."""


@dataclass(frozen=True)
class Day:
    """The requests of a day, the number of questions, and the set-up of the service."""

    requests: float
    revisions_an_hour: float
    families: int = 1
    """Number of parts of the cache that are emptied separately; 1: every revision empties all of it."""
    pinned: float = 0.0
    questions: int = 1_000_000
    exponent: float = 1.0
    answers_kept: int = 4_300
    """32 MB at 5.8 kB of body and 1.5 kB of overhead."""


@dataclass(frozen=True)
class Costs:
    """Seconds of processor time."""

    hot: float
    cold: float


@cache
def zipf(questions: int, exponent: float) -> list[float]:
    """Weights of the ranks, cumulated."""
    return list(accumulate(1 / rank**exponent for rank in range(1, questions + 1)))


def found(day: Day, rate: float, seed: int = 1) -> float:
    """The share of one worker's questions, at `rate` a second, that its cache answers."""
    chance = random.Random(seed)
    weights = zipf(day.questions, day.exponent)
    total = weights[-1]
    kept: LRUCache[int, bool] = LRUCache(day.answers_kept)
    between = rate * 3600 / day.revisions_an_hour
    asked = int(min(LONGEST, max(between * 4, 20_000)))
    emptied = between * chance.random()
    hits = 0
    for number in range(asked):
        if number >= emptied:
            emptied += between
            family = chance.randrange(day.families)
            for question in [each for each in kept if each % day.families == family]:
                del kept[question]
        question = bisect(weights, chance.random() * total)
        if question in kept:
            kept[question]
            hits += number >= asked // 2
        else:
            kept[question] = True
    return hits / (asked - asked // 2)


def workers(day: Day, costs: Costs) -> tuple[int, float]:
    """The number of workers needed and the hit rate of their caches: with more workers each gets fewer questions and
    hits."""
    peak = day.requests / 86_400 * PEAK * (1 - day.pinned)
    number, hits = 1, 0.0
    for _ in range(3):
        hits = found(day, peak / number)
        wanted = max(1, math.ceil(peak * (hits * costs.hot + (1 - hits) * costs.cold) / FILLED))
        if wanted <= number:
            break
        number = wanted
    return number, hits


def refused(lag_s: float, after_s: float) -> float:
    """The share of clients refused with 503 that send `min_revision=` this soon after their write; exponential lag."""
    return math.exp(-after_s / lag_s)


def main() -> None:
    """Print the tables of tests/replicas/README.md."""
    wants = argparse.ArgumentParser(prog="python -m tests.load.simulation")
    wants.add_argument("--hot", type=float, default=184, help="µs of processor time of an answer that is kept")
    wants.add_argument("--cold", type=float, default=7_390, help="µs of one that is not")
    wanted = wants.parse_args()
    costs = Costs(wanted.hot / 1e6, wanted.cold / 1e6)
    print("| requests a day | revisions an hour | caches emptied | pinned | found in the worker | workers |")
    print("|---|---|---|---|---|---|")
    for requests in (1e7, 1e8, 1e9):
        for day in (
            Day(requests, 1), Day(requests, 60), Day(requests, 60, families=1000), Day(requests, 60, pinned=0.9),
            Day(requests, 60, families=1000, pinned=0.9, answers_kept=43_000),
        ):  # fmt: skip
            number, hits = workers(day, costs)
            part = "whole" if day.families == 1 else f"1 in {day.families:,}"
            more = "" if day.answers_kept == Day.answers_kept else f", {day.answers_kept:,} answers kept"
            print(
                f"| {requests:.0e} | {day.revisions_an_hour:g} | {part}{more} | {day.pinned:.0%} | {hits:.0%} "
                f"| {number:,} |",
                flush=True,
            )
    print("\n| mean lag | refused 0.1 s after the write | 1 s after |\n|---|---|---|")
    for lag in (0.01, 0.1, 1.0):
        print(f"| {lag:g} s | {refused(lag, 0.1):.1%} | {refused(lag, 1):.1%} |")


if __name__ == "__main__":
    main()
