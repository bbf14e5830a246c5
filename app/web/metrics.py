"""Request metrics of all workers of a service in the Prometheus text format 1.0.

Labels are route templates, methods and statuses from closed lists: never a path, a query or a client.
"""

import asyncio
import json
import os
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from prometheus_client import CollectorRegistry, ProcessCollector
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, HistogramMetricFamily
from prometheus_client.exposition import generate_latest
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector

BOUNDS_S = (0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)
"""Upper bounds of the duration histogram, in seconds."""
WRITTEN_EVERY_S = 0.5
NO_ROUTE = "none"
"""The route label of requests that matched no route."""
METHODS = frozenset({"GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE"})


class Counts(Collector):
    """Counters that only the event loop changes, so without a lock; formatted for Prometheus when they are read.

    Of several workers each writes its counters to a file in `folder`, at most WRITTEN_EVERY_S late, and the one that is
    read adds those of the others. A worker that ended still counts, or counters would run backwards.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder
        self._writing: asyncio.TimerHandle | None = None
        self.timed: defaultdict[tuple[str, str, int], list[float]] = defaultdict(_nothing)
        self.in_flight = 0
        self.revision: int | None = None
        self.registry = CollectorRegistry()
        self.registry.register(self)
        if folder is None:
            ProcessCollector(registry=self.registry)

    def add(self, route: str, method: str, status: int, seconds: float) -> None:
        """Count one answered request."""
        timed = self.timed[route, method if method in METHODS else "other", status]
        timed[bisect_left(BOUNDS_S, seconds)] += 1
        timed[-1] += seconds
        if self.folder is not None and self._writing is None:
            self._writing = asyncio.get_running_loop().call_later(WRITTEN_EVERY_S, self._write, self.folder)

    def _write(self, folder: Path) -> None:
        self._writing = None
        counted = [[*labels, timed] for labels, timed in self.timed.items()]
        part = folder / f"part-{os.getpid()}"
        with suppress(OSError):  # a full disk makes them late; the next write has all of them
            part.write_text(json.dumps({"in_flight": self.in_flight, "timed": counted}))
            part.rename(folder / f"{os.getpid()}.json")

    def _of_all(self) -> tuple[int, dict[tuple[str, str, int], list[float]]]:
        """The requests in flight, and the counters, of all workers together."""
        in_flight, total = self.in_flight, {labels: list(timed) for labels, timed in self.timed.items()}
        others = () if self.folder is None else self.folder.glob("[0-9]*.json")
        for path in others:
            if path.stem == str(os.getpid()):
                continue
            counted = json.loads(path.read_text())
            in_flight += counted["in_flight"] if _is_running(int(path.stem)) else 0
            for route, method, status, timed in counted["timed"]:
                before = total.get((route, method, status), _nothing())
                total[route, method, status] = [sum(pair) for pair in zip(before, timed, strict=True)]
        return in_flight, total

    def text(self, revision: int | None) -> bytes:
        """All metrics; `revision` is None while the catalogue cannot be read."""
        self.revision = revision
        return generate_latest(self.registry)

    def collect(self) -> Iterator[Metric]:
        """The collector interface of prometheus_client."""
        requests = CounterMetricFamily("legwork_requests", "Requests answered.", labels=["route", "method", "status"])
        refused: defaultdict[int, float] = defaultdict(float)
        by_route: defaultdict[str, list[float]] = defaultdict(_nothing)
        in_flight, counted = self._of_all()
        for (route, method, status), timed in counted.items():
            number = sum(timed[:-1])
            requests.add_metric([route, method, str(status)], number)
            by_route[route] = [sum(pair) for pair in zip(by_route[route], timed, strict=True)]
            if status >= 400:
                refused[status] += number
        yield requests
        refusals = CounterMetricFamily("legwork_refusals", "Requests answered with 400 and above.", labels=["status"])
        for status, number in sorted(refused.items()):
            refusals.add_metric([str(status)], number)
        yield refusals
        durations = HistogramMetricFamily(
            "legwork_request_seconds", "From the whole header to the last byte handed over.", labels=["route"]
        )
        for route, timed in by_route.items():
            durations.add_metric([route], _buckets(timed[:-1]), timed[-1])
        yield durations
        yield GaugeMetricFamily("legwork_requests_in_flight", "Requests being answered.", in_flight)
        yield GaugeMetricFamily(
            "legwork_catalogue_readable", "1 while the catalogue can be read.", self.revision is not None
        )
        if self.revision is not None:
            yield GaugeMetricFamily("legwork_catalogue_revision", "The latest revision.", self.revision)


def _is_running(process: int) -> bool:
    try:
        os.kill(process, 0)
    except OSError:
        return False
    return True


def _nothing() -> list[float]:
    """Number of requests within each bound and beyond the last, and their total seconds."""
    return [0.0] * (len(BOUNDS_S) + 2)


def _buckets(counted: list[float]) -> list[tuple[str, float]]:
    """The counts per bound, cumulative as the format requires."""
    so_far, found = 0.0, []
    for bound, number in zip((*map(str, BOUNDS_S), "+Inf"), counted, strict=True):
        so_far += number
        found.append((bound, so_far))
    return found
