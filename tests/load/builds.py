"""`python -m tests.load.builds OTHER`: the processor time of every question and page, next to another build,
whose working tree is the folder OTHER.

Both builds answer from the demo of the other one, each from its own database, in processes of their own and without a
socket. They are asked in turns: every address of a kind by one build, then by the other; the ratio of a round compares
the two, and the table shows the median of the rounds. So a busy machine, which slows both, moves it little. Cold keeps
no answers; --hot keeps them as shipped, --rate adds a read rate."""

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO

from tests.load.servers import ROOT

ASKER = Path(__file__).parent / "in_process.py"
LOADER = """
import sys
from pathlib import Path
from app.database.connections import Database
from app.database.migrating import migrate
from app.exchange.loading import Entry, load
database = Database(sys.argv[1])
migrate(database, "catalogue")
report = load(database, Path(sys.argv[2]), Entry("the demo", "load"))
assert report["accepted"], report["findings"][:3]
"""
FORK = "/v1/chassis/tarnoch-raddle-37"
FORKS = (
    f"{FORK}/{{}}?travel=160&model_year=2023&wheel_size=29", f"{FORK}/{{}}?travel=160&model_year=2023",
    "/v1/chassis/quembry-trivet-35/{}?travel=150", "/v1/chassis/lommeris-haar-42/{}?travel=200",
    "/v1/chassis/quembry-crock-39/{}?travel=170", "/v1/chassis/pellugar-godwit-37/{}?travel=160",
)  # fmt: skip
FRAME = "/v1/frames/gorsewade-stile-l/fork-check?chassis={}&travel={}&wheel_size=29"
QUESTIONS = {
    "fits": [each.format("fits") for each in FORKS],
    "sheet": [each.format("sheet") for each in FORKS],
    "set-up": [f"{each.format('setup')}&rider_mass={mass}" for each in FORKS for mass in (65, 80)],
    "job card": [
        f"{each.format('job-card')}&job={job}" for each in FORKS for job in ("lower-leg-service", "full-service")
    ],
    "fork check": [FRAME.format(*each) for each in (("tarnoch-raddle-37", 170), ("pellugar-godwit-37", 160))],
    "identify": ["/v1/identify?stanchion_diameter=37&wheel_size=29&model_year=2023"],
    "search": ["/v1/search?q=radle", "/v1/search?q=raddle+top+cap", "/v1/search?q=haar"],
}
FORMS = {"": "application/json", ", page": "text/html"}


class Build:
    """One build in a process that is asked by lines."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process

    def seconds(self, times: int, accept: str, address: str) -> tuple[int, float]:
        """The status, and the processor time of asking so often."""
        asked, said = _pipe(self.process.stdin), _pipe(self.process.stdout)
        asked.write(f"{times} {accept} {address}\n")
        asked.flush()
        found = json.loads(said.readline())
        return found["status"], found["seconds"]


def _pipe(stream: IO[str] | None) -> IO[str]:
    assert stream is not None
    return stream


@contextmanager
def built(tree: Path, package: Path, folder: Path, settings: dict[str, object]) -> Iterator[Build]:
    """The build of a working tree on a package."""
    folder.mkdir()
    url = f"sqlite:///{folder / 'legwork.db'}"
    given = {**os.environ, "PYTHONPATH": str(tree), "LEGWORK_SHOP_DATABASE_URL": f"sqlite:///{folder / 'shop.db'}"}
    subprocess.run([sys.executable, "-c", LOADER, url, str(package)], cwd=tree, env=given, check=True)
    command = [sys.executable, str(ASKER), url, json.dumps(settings)]
    process = subprocess.Popen(command, cwd=tree, env=given, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    try:
        yield Build(process)
    finally:
        process.terminate()
        process.wait(20)


def rounds(ours: Build, theirs: Build, number: int, times: int) -> Iterator[tuple[str, float, float, float, int]]:
    """For each kind its name, milliseconds of ours and theirs, the ratio, and how many addresses both answered."""
    for kind, addresses in QUESTIONS.items():
        for form, accept in FORMS.items():
            answered = [
                address for address in addresses
                if all(each.seconds(0, accept, address)[0] == 200 for each in (ours, theirs))
            ]  # fmt: skip
            spent: list[list[float]] = []
            for turn in range(number if answered else 0):
                pair = (ours, theirs) if turn % 2 else (theirs, ours)
                took = {id(each): sum(each.seconds(times, accept, one)[1] for one in answered) for each in pair}
                spent.append([took[id(ours)], took[id(theirs)]])
            if spent:
                mine, other = (1000 * min(column) / times / len(answered) for column in zip(*spent, strict=True))
                yield kind + form, mine, other, statistics.median(a / b for a, b in spent), len(answered)


def main() -> None:
    """Load the demo into both builds, ask in turns, print."""
    wants = argparse.ArgumentParser(prog="python -m tests.load.builds")
    wants.add_argument("other", type=Path)
    wants.add_argument("--rounds", type=int, default=9)
    wants.add_argument("--times", type=int, default=4)
    wants.add_argument("--hot", action="store_true")
    wants.add_argument("--rate", action="store_true")
    wanted = wants.parse_args()
    other = wanted.other.resolve()
    settings: dict[str, object] = {} if wanted.hot else {"cache_bytes": 0}
    if wanted.rate:
        settings["read_rate"] = "100000000/minute"
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="legwork-builds-")))
        ours, theirs = (
            stack.enter_context(built(tree, other / "seed_data", folder / name, settings))
            for name, tree in (("ours", ROOT), ("theirs", other))
        )
        print("| question | addresses | ours ms | theirs ms | ratio |\n|---|---|---|---|---|", flush=True)
        for kind, mine, its, ratio, count in rounds(ours, theirs, wanted.rounds, wanted.times):
            print(f"| {kind} | {count} | {mine:.2f} | {its:.2f} | {ratio:.2f} |", flush=True)


if __name__ == "__main__":
    main()
