"""A large import during lookups: `python -m tests.load.importing [--rows 1000000] [--rate 100]`.

The demo is served from core 0 and queried at a fixed rate; then a process on core 1 loads a package of that many
generated rows, with all rules. It prints time and memory of the import, and how long lookups took before and during it.
It fails if a lookup is refused, or if one question gets two different answers at one revision."""

import argparse
import asyncio
import hashlib
import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import httpx

from tests.catalogue_generator import write_package
from tests.load.servers import ROOT, Variant, legwork, memory, running

ROWS_OF_A_CHASSIS = 90
QUESTIONS = [
    f"/v1/chassis/quembry-trivet-35/{what}"
    for what in (
        "fits?travel=150",
        "fits?model_year=2023",
        "sheet?travel=150",
        "sheet?travel=160",
        "setup?rider_mass=80",
    )
] + ["/v1/revisions/latest", "/v1/makers?limit=5", "/v1/search?q=trivet"]


class Asking:
    """Sends lookups at a fixed rate, however long the answers take, and keeps their times and contents."""

    def __init__(self, port: int, rate: float) -> None:
        self.client = httpx.AsyncClient(base_url=f"http://127.0.0.1:{port}", timeout=30)
        self.rate = rate
        self.took: list[float] = []
        self.said: dict[tuple[str, int], str] = {}
        self.chance = random.Random(5)

    async def until(self, finished: asyncio.Event) -> list[float]:
        """Sends until then; returns the milliseconds of every answer."""
        self.took = []
        asked: set[asyncio.Task[None]] = set()
        next_at = time.perf_counter()
        while not finished.is_set():
            asked.add(asyncio.create_task(self._one()))
            asked = {task for task in asked if not task.done() or task.result() is not None}
            next_at += 1 / self.rate
            await asyncio.sleep(max(0.0, next_at - time.perf_counter()))
        await asyncio.gather(*asked)
        return self.took

    async def _one(self) -> None:
        url = self.chance.choice(QUESTIONS)
        begun = time.perf_counter()
        answer = (await self.client.get(url)).raise_for_status()
        self.took.append((time.perf_counter() - begun) * 1000)
        key = (url, answer.json()["revision"])
        digest = hashlib.sha256(answer.content).hexdigest()
        if self.said.setdefault(key, digest) != digest:
            raise AssertionError(f"{url} was answered in two ways at revision {key[1]}")


async def watched(package: Path, database: Path, port: int, rate: float) -> None:
    """Quiet first, then during the import; prints both."""
    asking, finished = Asking(port, rate), asyncio.Event()
    asyncio.get_running_loop().call_later(20, finished.set)
    quiet = await asking.until(finished)
    finished, begun = asyncio.Event(), time.monotonic()
    load = subprocess.Popen(
        ["taskset", "-c", "1", sys.executable, "-m", "app", "load", str(package), "--database", str(database)], cwd=ROOT
    )
    peak = 0.0

    async def watch() -> None:
        nonlocal peak
        while load.poll() is None:
            try:
                peak = max(peak, memory(load.pid))
            except (OSError, ValueError):  # it has just ended
                break
            await asyncio.sleep(0.2)
        finished.set()

    watching = asyncio.create_task(watch())
    meanwhile = await asking.until(finished)
    await watching
    took = time.monotonic() - begun
    if load.wait() != 0:
        raise RuntimeError("the load was refused")
    await asyncio.sleep(0.5)
    last = (await asking.client.get("/v1/revisions/latest")).json()
    await asking.client.aclose()
    print(f"{last['recorded']['added']:,} rows loaded with all rules in {took:.0f} s, {peak:.0f} MB at most")
    for name, times in (("quiet", quiet), ("meanwhile", meanwhile)):
        ordered = sorted(times)
        middle, high = ordered[len(ordered) // 2], ordered[int(len(ordered) * 0.99)]
        print(f"lookups {name}: {len(ordered):,} asked, median {middle:.1f} ms, p99 {high:.1f} ms")
    print(f"{len(asking.said)} questions and revisions, each answered in one way")


def main() -> None:
    """Make the package, serve the demo, watch."""
    wants = argparse.ArgumentParser(prog="python -m tests.load.importing")
    wants.add_argument("--rows", type=int, default=1_000_000)
    wants.add_argument("--rate", type=float, default=100)
    wanted = wants.parse_args()
    with tempfile.TemporaryDirectory(prefix="legwork-load-") as made:
        folder, database = Path(made) / "package", Path(made) / "legwork.db"
        print(f"{write_package(folder, max(2, wanted.rows // ROWS_OF_A_CHASSIS)):,} rows written")
        environment = {
            "LEGWORK_LOG_LEVEL": "warning",
            "LEGWORK_SHOP_DATABASE_URL": f"sqlite:///{Path(made) / 'shop.db'}",
        }
        os.environ.update(environment)
        served = Variant("the demo", [*legwork(database), "--demo"], QUESTIONS[0], environment)
        with running(served, QUESTIONS[0]) as (port, _, _):
            asyncio.run(watched(folder, database, port, wanted.rate))


if __name__ == "__main__":
    main()
