"""Request metrics of this worker in the Prometheus text format 1.0.

Labels are route templates, methods and statuses from closed lists: never a path, a query or a client.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator

from prometheus_client import CollectorRegistry, ProcessCollector
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, HistogramMetricFamily
from prometheus_client.exposition import generate_latest
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector

BOUNDS_S = (0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)
"""Upper bounds of the duration histogram, in seconds."""
NO_ROUTE = "none"
"""The route label of requests that matched no route."""
METHODS = frozenset({"GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE"})


class Counts(Collector):
    """Counters without a lock, because only the event loop changes them; formatted when Prometheus reads them."""

    def __init__(self) -> None:
        self.timed: defaultdict[tuple[str, str, int], list[float]] = defaultdict(_nothing)
        self.in_flight = 0
        self.revision: int | None = None
        self.registry = CollectorRegistry()
        self.registry.register(self)
        ProcessCollector(registry=self.registry)

    def add(self, route: str, method: str, status: int, seconds: float) -> None:
        """Count one answered request."""
        timed = self.timed[route, method if method in METHODS else "other", status]
        timed[bisect_left(BOUNDS_S, seconds)] += 1
        timed[-1] += seconds

    def text(self, revision: int | None) -> bytes:
        """All metrics; `revision` is None while the catalogue cannot be read."""
        self.revision = revision
        return generate_latest(self.registry)

    def collect(self) -> Iterator[Metric]:
        """The collector interface of prometheus_client."""
        requests = CounterMetricFamily("legwork_requests", "Requests answered.", labels=["route", "method", "status"])
        refused: defaultdict[int, float] = defaultdict(float)
        by_route: defaultdict[str, list[float]] = defaultdict(_nothing)
        for (route, method, status), timed in self.timed.items():
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
        yield GaugeMetricFamily("legwork_requests_in_flight", "Requests being answered.", self.in_flight)
        yield GaugeMetricFamily(
            "legwork_catalogue_readable", "1 while the catalogue can be read.", self.revision is not None
        )
        if self.revision is not None:
            yield GaugeMetricFamily("legwork_catalogue_revision", "The latest revision.", self.revision)


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
