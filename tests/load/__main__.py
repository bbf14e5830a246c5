"""`python -m tests.load [--rounds 5] [--seconds 3] [--chassis 20000]` prints the table of tests/load/README.md, with
ratios.

Every variant serves from core 0 and wrk sends requests from core 1. The variants take turns, round by round. Each
figure is the median of its rounds, and a ratio is the median of the ratios within a round. Needs wrk; uvx fetches
Datasette."""

import argparse
import json
import shutil
import sqlite3
import statistics
import sys
import tempfile
import time
from collections import defaultdict
from contextlib import ExitStack
from pathlib import Path

import httpx

from tests.load.catalogue import write
from tests.load.servers import Run, Variant, blast, legwork, memory, running, yardstick

ASKED = "/v1/chassis/fork-{chassis}/fits?model_year={year}"
ONE = "/v1/chassis/fork-000017/fits?model_year=2019"
QUIET = {"LEGWORK_LOG_LEVEL": "warning", "LEGWORK_METRICS": "off"}
DATASETTE = "datasette==0.65.2"
QUERY = """
select f.id, f.travel_mm, f.axle_to_crown_mm, f.spacer, f.spacer_limit, f.spacers_fitted, f.pressure_limit,
 f.pressure_unit, f.page, g.name, g.part_number, g.kind, s.title, s.edition from fits f
 join springs g on g.id = f.spring left join sources s on s.id = f.source where f.chassis = :chassis
 and f.model_year_from <= :year and f.model_year_to >= :year
"""


def variants(large: Path, small: Path, shop: Path, tag: str, answer: Path) -> list[Variant]:
    """The variants to time, in the order of the table; `answer` is the recorded one of ONE."""
    shop_at = {"LEGWORK_SHOP_DATABASE_URL": f"sqlite:///{shop}"}
    query = httpx.QueryParams({"sql": " ".join(QUERY.split()), "_shape": "array"})
    datasette = f"/{large.stem}.json?{query}&chassis=fork-{{chassis}}&year={{year}}"
    keeping_nothing = {**QUIET, **shop_at, "LEGWORK_CACHE_BYTES": "0"}
    return [
        Variant("bare ASGI, constant body (the ceiling)", yardstick("bare"), "/"),
        Variant("bare ASGI, Legwork's own answer", yardstick("repeating"), "/", {"YARDSTICK_ANSWER": str(answer)}),
        Variant("FastAPI, constant body", yardstick("framework"), ASKED),
        Variant("SQLModel as tutorials do it", yardstick("idiomatic"), ASKED, {"YARDSTICK_DATABASE": str(large)}),
        Variant("Datasette, the same query", _datasette(large), datasette),
        Variant("Legwork, cold", legwork(large), ASKED, keeping_nothing),
        Variant("Legwork, cold, a twentieth of the data", legwork(small), ASKED, keeping_nothing),
        Variant("Legwork, hot, bare", legwork(large), ONE, {**QUIET, **shop_at}),
        Variant("Legwork, hot, as shipped", legwork(large), ONE, shop_at),
        Variant("Legwork, 304", legwork(large), ONE, {**QUIET, **shop_at}, header=tag, status=304),
        Variant("Legwork, 304, as shipped", legwork(large), ONE, shop_at, header=tag, status=304),
    ]


def _datasette(path: Path) -> list[str]:
    uvx = shutil.which("uvx", path=str(Path(sys.executable).parent)) or "uvx"
    return [uvx, "--from", DATASETTE, "datasette", "serve", str(path), "--port", "{port}"]


def main() -> None:
    """Make the catalogues, start everything, take turns, print."""
    wants = argparse.ArgumentParser(prog="python -m tests.load")
    wants.add_argument("--rounds", type=int, default=5)
    wants.add_argument("--seconds", type=float, default=3)
    wants.add_argument("--chassis", type=int, default=20_000)
    wants.add_argument("--keep", type=Path, help="A folder where the catalogues are, or are made and left.")
    wanted = wants.parse_args()
    if shutil.which("wrk") is None:
        sys.exit("This needs wrk (apt-get install wrk).")
    with ExitStack() as stack:
        folder = wanted.keep or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="legwork-load-")))
        folder.mkdir(parents=True, exist_ok=True)
        large, small = (_made(folder, count) for count in (wanted.chassis, wanted.chassis // 20))
        tag = _recorded(large, folder / "shop.db", folder / "answer.json")
        ports = {}
        for each in variants(large, small, folder / "shop.db", tag, folder / "answer.json"):
            first = each.path.replace("{chassis}", "000017").replace("{year}", "2019")
            port, pid, start = stack.enter_context(running(each, first))
            ports[each.name] = (each, port, pid, start)
        runs: dict[str, list[Run]] = defaultdict(list)
        for _ in range(wanted.rounds):
            for name, (each, port, _, _) in ports.items():
                count = wanted.chassis // 20 if "twentieth" in name else wanted.chassis
                runs[name].append(blast(each, port, wanted.seconds, count))
        _table(runs, {name: (memory(pid), start) for name, (_, _, pid, start) in ports.items()})
        _batch_and_search(ports["Legwork, cold"][1], ports["Legwork, hot, bare"][1], wanted.chassis)


def _made(folder: Path, chassis: int) -> Path:
    path = folder / f"c{chassis}.db"
    if not path.exists():
        begun = time.monotonic()
        rows = write(path, chassis)
        print(f"{rows:,} rows of {chassis:,} chassis written in {time.monotonic() - begun:.0f} s")
    with sqlite3.connect(path) as connection:
        counts = [connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in ("fits", "torques")]
    print(f"{path.name}: {counts[0]:,} fits, {counts[1]:,} torques, {path.stat().st_size / 1e6:.0f} MB")
    return path


def _recorded(database: Path, shop: Path, into: Path) -> str:
    """Records the answer to ONE; returns its entity tag."""
    asked = Variant("one", legwork(database), ONE, {**QUIET, "LEGWORK_SHOP_DATABASE_URL": f"sqlite:///{shop}"})
    with running(asked, ONE) as (port, _, _):
        found = httpx.get(f"http://127.0.0.1:{port}{ONE}", headers={"Accept-Encoding": "identity"})
    print(f"The answer that is asked hot: {len(found.content):,} bytes of body, {len(found.headers)} header lines")
    theirs = {"date", "server"}  # the server's own, which it adds again
    headers = [(name, value) for name, value in found.headers.items() if name not in theirs]
    into.write_text(json.dumps({"headers": headers, "body": found.text}))
    return found.headers["etag"]


def _table(runs: dict[str, list[Run]], of_process: dict[str, tuple[float, float]]) -> None:
    yardsticks = [list(runs.values())[place] for place in (0, 1, 2)]
    print(
        "\n| variant | requests/s | p50 ms | p99 ms | MB | start s | to the ceiling | to its own answer | to FastAPI |"
    )
    print("|---|---|---|---|---|---|---|---|---|")
    for name, each in runs.items():
        rate, p50, p99 = (statistics.median(getattr(run, what) for run in each) for what in ("rate", "p50", "p99"))
        ratios = [
            statistics.median(run.rate / other.rate for run, other in zip(each, others, strict=True))
            for others in yardsticks
        ]
        refused = sum(run.refused for run in each)
        held, start = of_process[name]
        note = f" ({refused} refused)" if refused else ""
        print(
            f"| {name}{note} | {rate:,.0f} | {p50:.2f} | {p99:.2f} | {held:.0f} | {start:.2f} "
            f"| {' | '.join(f'{ratio:.3f}' for ratio in ratios)} |"
        )


def _batch_and_search(cold: int, hot: int, chassis: int) -> None:
    """500 different fits in one batch, sent once and again; a search for each of 200 names; milliseconds by the
    client's clock."""
    with httpx.Client(timeout=60) as client:
        for what, port, times in (("cold", cold, 7), ("kept", hot, 14)):
            took = []
            for start in range(times):
                first = start * 500 if what == "cold" else 0
                asked = [f"/v1/chassis/fork-{(first + n) % chassis:06d}/fits?model_year=2019" for n in range(500)]
                begun = time.perf_counter()
                found = client.post(f"http://127.0.0.1:{port}/v1/batch", json={"questions": asked}).raise_for_status()
                took.append((time.perf_counter() - begun) * 1000)
                assert len(found.json()["answers"]) == 500, "a batch was cut"
            print(f"A batch of 500 fits, {what}: median {statistics.median(took):.0f} ms of {len(took)}")
    with httpx.Client(base_url=f"http://127.0.0.1:{cold}", timeout=60) as client:
        names = [row["name"] for row in client.get("/v1/chassis?limit=200").raise_for_status().json()["rows"]]
        took = []
        for name in names:
            begun = time.perf_counter()
            client.get("/v1/search", params={"q": name}).raise_for_status()
            took.append((time.perf_counter() - begun) * 1000)
        print(f"A search: median {statistics.median(took):.1f} ms, p95 {sorted(took)[int(len(took) * 0.95)]:.1f} ms")


if __name__ == "__main__":
    main()
