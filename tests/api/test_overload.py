"""More requests than a worker can answer: the excess is refused quickly, the rest answered quickly, then all is
normal."""

import asyncio
import statistics
import time
from collections import Counter
from collections.abc import Iterator

import pytest
from starlette.types import Message, Receive, Scope, Send

from app.settings import Settings
from app.web.middleware import waiting
from app.web.middleware.waiting import Waiting
from tests.api.conftest import Server

LAG_S = 0.4
WORK_S = 0.04
"""How long `/v1/work` blocks the event loop: at most 25 a second are possible."""


class Asked:
    """Statuses by path, seconds to answer for the requests that were answered, and everything else that was sent."""

    def __init__(self) -> None:
        self.seen: Counter[tuple[str, int]] = Counter()
        self.took: list[float] = []
        self.sent_away: list[bytes] = []

    async def __call__(self, port: int, path: str) -> int:
        begun = time.monotonic()
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.write(f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n".encode())
        answer = await reader.read()
        writer.close()
        status = int(answer.split(b" ", 2)[1])
        self.seen[path, status] += 1
        if status == 200 and path == "/v1/work":
            self.took.append(time.monotonic() - begun)
        if status == 503:
            self.sent_away.append(answer.lower())
        return status


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    one = Server(Settings(port=0, max_lag=LAG_S, log_level="warning"), "httptools")
    yield one
    one.stop()


async def sent(asked: Asked, port: int, path: str, rate: float, seconds: float) -> list[asyncio.Task[int]]:
    """Sends that many a second without waiting for answers; the last ones are still running on return."""
    until, due, under_way = time.monotonic() + seconds, time.monotonic(), []
    while due < until:
        under_way.append(asyncio.create_task(asked(port, path)))
        due += 1 / rate
        await asyncio.sleep(max(0, due - time.monotonic()))
    return under_way


def test_too_much_is_sent_away_and_over_as_soon_as_it_ends(server: Server) -> None:
    """Three times the capacity for four seconds: in a plain queue the last would wait eight. Each request has its own
    connection, so under uvloop most of the queue is in the kernel."""
    asked = Asked()

    async def overload() -> float:
        under_way = await asyncio.gather(
            sent(asked, server.port, "/v1/work", 3 / WORK_S, 4),
            sent(asked, server.port, "/healthz", 5, 4),
            sent(asked, server.port, "/readyz", 5, 4),
        )
        ended, well = time.monotonic(), 0
        while well < 10:
            well = well + 1 if await asked(server.port, "/v1/work") == 200 else 0
        well_after = time.monotonic() - ended
        await asyncio.gather(*(task for tasks in under_way for task in tasks))
        return well_after

    well_after = asyncio.run(overload())
    nearly_all = statistics.quantiles(asked.took, n=100)[98]
    print(f"{asked.seen}, p99 {nearly_all:.2f} s, well again after {well_after:.2f} s")
    assert well_after < 5
    assert asked.seen.keys() == {("/v1/work", 200), ("/v1/work", 503), ("/healthz", 200), ("/readyz", 200)}
    assert asked.seen["/v1/work", 503] > 50
    assert asked.seen["/v1/work", 200] > 50
    for line in (b"retry-after: 1\r\n", b"application/problem+json", b"content-security-policy: ", b"x-request-id: "):
        assert all(line in answer for answer in asked.sent_away)
    assert nearly_all < 5 * LAG_S


def test_what_can_be_answered_is_never_sent_away(server: Server) -> None:
    """Five at once are a queue of 0.2 s; a few requests that arrive during a pause are not a queue."""
    asked = Asked()

    async def busy() -> None:
        for _ in range(3):
            await asyncio.gather(*(asked(server.port, "/v1/work") for _ in range(5)))
        for _ in range(2):
            pause = asyncio.create_task(asked(server.port, "/v1/halt"))
            await asyncio.sleep(0.1)
            await asyncio.gather(pause, *(asked(server.port, "/v1/work") for _ in range(4)))

    asyncio.run(busy())
    assert asked.seen == {("/v1/work", 200): 23, ("/v1/halt", 200): 2}


@pytest.mark.parametrize(
    ("steps", "sent_away"),
    [
        ([30.0], 0),  # the process was paused
        ([0.1] * 9, 0),
        ([0.1] * 12, 2),  # the ones that waited more than a second
        ([0.1, 0.1, 5.0, 0.1, 0.1], 0),  # the pause counts for a quarter of a second
        ([5.0, 5.0, 5.0, 5.0, 5.0, 5.0], 2),  # six in a row are not a pause
    ],
)
def test_a_queue_differs_from_a_pause(monkeypatch: pytest.MonkeyPatch, steps: list[float], sent_away: int) -> None:
    """Requests that arrive at one moment, each started one step after the last; the limit is a second."""
    now = 1_000.0
    monkeypatch.setattr(waiting, "perf_counter", lambda: now)
    answered: list[int] = []

    async def inner(scope: Scope, receive: Receive, send: Send) -> None:
        answered.append(200)

    async def receive() -> Message:
        raise AssertionError("no body was promised")

    async def send(message: Message) -> None:
        answered.extend([message["status"]] if "status" in message else [])

    layer = Waiting(inner, 1.0)

    async def begin(came: float, path: str = "/v1/makers") -> None:
        await layer({"type": "http", "path": path, "headers": [], "state": {"came": came}}, receive, send)

    now += 600  # no requests for ten minutes
    came = now

    async def all_of_them() -> None:
        nonlocal now
        await begin(came)
        for step in steps:
            now += step
            await begin(came)
        await begin(came, "/healthz")
        await begin(now)

    asyncio.run(all_of_them())
    assert Counter(answered) == Counter({200: len(steps) + 3 - sent_away, 503: sent_away})
