"""`python -m tests.load.mixed [--minutes 1]`: the service under a typical day's mix, and under overload.

Lookups at 80 % of the measured capacity; beside them imports and jobs on the bench log, eight clients that read an
answer a little at a time, eight that send a body in drips, and 500 silent connections. Expected: no error; constant
memory; under overload 503 with Retry-After, and normal answers again within 5 s; after SIGTERM, running requests finish
within 10 s. Exits with 1 if one of these fails."""

import argparse
import asyncio
import os
import random
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import suppress
from pathlib import Path
from typing import Any

import httpx

from app.access import keys
from app.database.connections import Database
from app.database.migrating import migrate
from app.exchange.loading import Entry, load
from tests.bench.working import FORK
from tests.conftest import SEED_DATA
from tests.load.servers import ROOT, memory

IDLE, SLOW = 500, 8
SHARE = 0.8
AT_ONCE = 16
CHASSIS = ("quembry-trivet-35", "lommeris-haar-42", "tarnoch-raddle-37")


class Day:
    """A process that serves the demo, the requests sent to it, and the answers."""

    def __init__(self, folder: Path) -> None:
        urls = {name: f"sqlite:///{folder / name}.db" for name in ("legwork", "shop")}
        catalogue, shop = (Database(url) for url in urls.values())
        migrate(catalogue, "catalogue")
        migrate(shop, "shop")
        assert load(catalogue, SEED_DATA, Entry("the demo", "load"))["accepted"]
        token = keys.add(shop, "load", ["admin"]).token
        catalogue.close()
        shop.close()
        given = {
            "LEGWORK_DATABASE_URL": urls["legwork"], "LEGWORK_SHOP_DATABASE_URL": urls["shop"],
            "LEGWORK_WRITE_RATE": "100000/minute", "LEGWORK_KEEP_ALIVE_TIMEOUT": "3600",
            "LEGWORK_LOG_LEVEL": "warning",
        }  # fmt: skip
        self.process = subprocess.Popen(
            [sys.executable, "-m", "app", "serve", "--port", "0"], env={**os.environ, **given}, cwd=ROOT, text=True,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        )  # fmt: skip
        assert self.process.stderr is not None
        said = self.process.stderr.readline()
        if "Legwork answers at" not in said:
            raise RuntimeError(f"it did not start: {said}")
        self.url = said.split()[-1].rstrip("/")
        self.port = int(self.url.rpartition(":")[2])
        self.key = {"Authorization": f"Bearer {token}"}
        self.seen: Counter[str] = Counter()
        self.took: list[float] = []
        self.held: list[float] = []
        self.chance = random.Random(3)

    def address(self) -> str:
        """A lookup: half of them repeated, half new."""
        if self.chance.random() < 0.5:
            return f"{self.url}/v1/search?q=trivet{self.chance.randrange(10**6)}"
        question = self.chance.choice(("fits", "fits", "sheet", "fits.csv"))
        units = self.chance.choice(("metric", "imperial", "published"))
        return f"{self.url}/v1/chassis/{self.chance.choice(CHASSIS)}/{question}?units={units}"

    async def ask(self, client: httpx.AsyncClient, kind: str, method: str, address: str, **more: Any) -> None:
        """One request, counted by kind and status."""
        begun = time.perf_counter()
        try:
            answer = await client.request(method, address, **more)
        except httpx.TransportError as error:
            self.seen[f"{kind} {type(error).__name__}"] += 1
            return
        self.seen[f"{kind} {answer.status_code}"] += 1
        if kind == "lookup":
            self.took.append(time.perf_counter() - begun)


async def capacity(day: Day, seconds: float) -> float:
    """Lookups a second for 16 clients that each wait for their answer."""
    until, answered = time.monotonic() + seconds, 0
    async with httpx.AsyncClient(timeout=30, limits=httpx.Limits(max_connections=AT_ONCE)) as client:

        async def one() -> None:
            nonlocal answered
            while time.monotonic() < until:
                await day.ask(client, "warm", "GET", day.address())
                answered += 1

        await asyncio.gather(*(one() for _ in range(AT_ONCE)))
    return answered / seconds


async def lookups(day: Day, client: httpx.AsyncClient, rate: float, until: float) -> None:
    """That many a second, each sent on time whether or not earlier ones are answered."""
    under_way: set[asyncio.Task[object]] = set()
    due = time.monotonic()
    while (now := time.monotonic()) < until:
        while due <= now and len(under_way) < 48:
            task: asyncio.Task[object] = asyncio.create_task(day.ask(client, "lookup", "GET", day.address()))
            under_way.add(task)
            task.add_done_callback(under_way.discard)
            due += 1 / rate
        due = max(due, now - 1)  # requests that this machine could not send are not sent later in a burst
        await asyncio.sleep(0.005)
    await asyncio.gather(*under_way)


async def writes(day: Day, client: httpx.AsyncClient, until: float) -> None:
    """An import and a job on the bench log, about once a second each."""
    made = await client.post(f"{day.url}/v1/forks", json=dict(FORK), headers=day.key)
    fork, number = made.json()["fork"]["id"], 0
    while time.monotonic() < until:
        number += 1
        row = {"id": "load-maker", "name": f"Load {number}"}
        body = {"changes": [{"table": "makers", "op": "put", "row": row}], "reason": f"load {number}"}
        await day.ask(client, "import", "POST", f"{day.url}/v1/imports", json=body, headers=day.key)
        job = {"job": "lower-leg-service", "note": f"{number}"}
        if number % 10 == 1:
            await day.ask(client, "job", "POST", f"{day.url}/v1/forks/{fork}/services", json=job, headers=day.key)
        await asyncio.sleep(1)


def quiet(day: Day) -> socket.socket:
    """A connection that gets one answer and is silent after that."""
    line = socket.create_connection(("127.0.0.1", day.port), timeout=30)
    line.sendall(b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
    answer = line.recv(4096)
    assert answer.startswith(b"HTTP/1.1 200")
    while not answer.endswith(b"}"):  # header and body may arrive separately
        answer += line.recv(4096)
    return line


async def slow_reader(day: Day, until: float) -> None:
    """Reads an answer of 300 kB a few bytes at a time, to the end."""
    head = b"GET /v1/fits?limit=1000 HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n"
    while time.monotonic() < until:
        reader, writer = await asyncio.open_connection("127.0.0.1", day.port, limit=4096)
        writer.write(head)
        whole = await reader.read(64)
        while part := await reader.read(4096):
            whole += part
            await asyncio.sleep(0.05)
        writer.close()
        day.seen[f"slow reader {whole.split(b' ', 2)[1].decode()}"] += 1


async def slow_writer(day: Day, until: float) -> None:
    """Sends a body of 2 kB over two seconds, or stops in it; then 408 is right."""
    body = b'{"questions": ["/v1/convert?value=6.8&from=Nm&to=in-lb"]}'.ljust(2_000)
    while time.monotonic() < until:
        reader, writer = await asyncio.open_connection("127.0.0.1", day.port)
        head = "POST /v1/batch HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nConnection: close\r\n"
        writer.write(f"{head}Content-Length: {len(body)}\r\n\r\n".encode())
        for start in range(0, len(body), 100):
            writer.write(body[start : start + 100])
            await asyncio.sleep(0.1)
        answer = await reader.read(200)
        writer.close()
        day.seen[f"slow writer {answer.split(b' ', 2)[1].decode() if answer else 'nothing'}"] += 1


async def watch(day: Day, until: float) -> None:
    """Records the memory once a second."""
    while time.monotonic() < until:
        day.held.append(memory(day.process.pid))
        await asyncio.sleep(1)


async def overload(day: Day, rate: float) -> tuple[list[float], int, float]:
    """That many new lookups a second for five seconds, each on its own connection: waiting times of those answered, how
    many were refused, and seconds until all is normal."""
    took: list[float] = []
    shed = 0

    async def one(name: str) -> None:
        nonlocal shed
        begun = time.monotonic()
        reader, writer = await asyncio.open_connection("127.0.0.1", day.port)
        writer.write(f"GET /v1/search?q={name} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n".encode())
        answer = await reader.read()
        writer.close()
        if answer.split(b" ", 2)[1] == b"200":
            took.append(time.monotonic() - begun)
        else:
            assert answer.startswith(b"HTTP/1.1 503 "), answer
            assert b"\r\nretry-after: " in answer.lower()
            shed += 1

    due, until, under_way = time.monotonic(), time.monotonic() + 5, []
    while due < until:
        under_way.append(asyncio.create_task(one(f"trivet{len(under_way)}")))
        due += 1 / rate
        await asyncio.sleep(max(0, due - time.monotonic()))
    begun = time.monotonic()
    async with httpx.AsyncClient(timeout=30) as client:
        well = 0
        while well < 20:
            well = well + 1 if (await client.get(day.address())).status_code == 200 else 0
    well_again = time.monotonic() - begun
    await asyncio.gather(*under_way)
    return took, shed, well_again


async def stopped(day: Day) -> tuple[list[int], float, int]:
    """SIGTERM during two exports and twenty searches: their statuses, the seconds it took, the exit code."""
    async with httpx.AsyncClient(timeout=60) as client:
        under_way = [asyncio.create_task(client.get(f"{day.url}/v1/export?revision=1")) for _ in range(2)]
        under_way += [asyncio.create_task(client.get(f"{day.url}/v1/search?q=haar{n}")) for n in range(20)]
        await asyncio.sleep(0.2)
        begun = time.monotonic()
        day.process.send_signal(signal.SIGTERM)
        answers = await asyncio.gather(*under_way, return_exceptions=True)
        code = await asyncio.to_thread(day.process.wait, 30)
    statuses = [answer.status_code if isinstance(answer, httpx.Response) else 0 for answer in answers]
    return statuses, time.monotonic() - begun, code


async def run(day: Day, minutes: float) -> list[str]:
    """Runs the day; returns the expectations that failed."""
    most = await capacity(day, 10)
    day.seen.clear()
    print(f"capacity {most:.0f} lookups/s with {AT_ONCE} clients that share the machine; asked at {most * SHARE:.0f}/s")
    idle = [quiet(day) for _ in range(IDLE)]
    until = time.monotonic() + minutes * 60
    async with httpx.AsyncClient(timeout=30, limits=httpx.Limits(max_connections=64)) as client:
        await asyncio.gather(
            lookups(day, client, most * SHARE, until), writes(day, client, until), watch(day, until),
            *(slow_reader(day, until) for _ in range(SLOW)), *(slow_writer(day, until) for _ in range(SLOW)),
        )  # fmt: skip
    print(f"{minutes:g} minutes: {dict(sorted(day.seen.items()))}")
    took = statistics.quantiles(day.took, n=100)
    middle, most_of, nearly = (took[part] * 1000 for part in (49, 94, 98))
    print(f"{len(day.took)} lookups: p50 {middle:.1f} ms, p95 {most_of:.1f} ms, p99 {nearly:.1f} ms")
    quarter = max(1, len(day.held) // 4)
    before, after = (statistics.median(part) for part in (day.held[quarter : 2 * quarter], day.held[-quarter:]))
    sys.stdout.flush()
    print(f"memory: second quarter {before:.0f} MB, last quarter {after:.0f} MB, most {max(day.held):.0f} MB")
    answered, shed, well_again = await overload(day, 3 * most)
    longest = statistics.quantiles(answered, n=100)[98] if len(answered) > 1 else 0.0
    print(
        f"overload, {3 * most:.0f} lookups/s on new connections: {len(answered)} answered, p99 {longest:.1f} s, "
        f"{shed} sent away with 503 and Retry-After, well again after {well_again:.2f} s"
    )
    for line in idle:  # still open: they sent nothing and were not closed
        line.setblocking(False)
        with suppress(BlockingIOError):
            day.seen[f"idle {'closed' if line.recv(1) == b'' else 'spoken to'}"] += 1
        line.close()
    statuses, seconds, code = await stopped(day)
    print(f"SIGTERM: {dict(Counter(statuses))}, ended after {seconds:.1f} s with {code}")
    wrong = [f"{what}: {count}" for what, count in day.seen.items() if what.split()[-1] not in ("200", "201", "304")]
    wrong += ["memory grew"] if after > before * 1.1 + 5 else []
    wrong += ["nothing was sent away"] if not shed else []
    wrong += ["it took over 5 s to be well"] if well_again > 5 else []
    wrong += ["what was under way was cut off"] if set(statuses) - {200} else []
    wrong += ["it did not end in time"] if seconds > 11 or code else []
    return wrong


def main() -> None:
    """Make the databases, serve, send, print."""
    wants = argparse.ArgumentParser(prog="python -m tests.load.mixed")
    wants.add_argument("--minutes", type=float, default=1)
    wanted = wants.parse_args()
    with tempfile.TemporaryDirectory(prefix="legwork-mixed-") as folder:
        day = Day(Path(folder))
        try:
            wrong = asyncio.run(run(day, wanted.minutes))
        finally:
            day.process.kill()
            day.process.wait()
    print("\n".join(wrong) or "all of it held")
    sys.exit(bool(wrong))


if __name__ == "__main__":
    main()
