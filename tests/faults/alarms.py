"""False alarms: the findings in a large clean catalogue, and the time to judge a one-row edit in it."""

import multiprocessing
import os
import tempfile
import time
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from random import Random
from statistics import quantiles
from threading import Event, Thread
from typing import NamedTuple

from app.catalogue.catalogue import Catalogue
from app.catalogue.rows import MemoryRows, Overlay
from app.catalogue.tables import STATEMENTS, TABLES, Row, from_cells
from app.catalogue.writing import BATCH, NewRevision
from app.database.connections import Database
from app.database.migrating import migrate
from app.rules.engine import judge_all, judge_change
from app.rules.view import Change
from tests import catalogue_generator
from tests.faults.trying import SEED, TODAY


class Clean(NamedTuple):
    """The result for a whole clean catalogue: statements, findings by severity and rule, rows with one, time, and the
    peak MiB, with the process's share of shared pages."""

    statements: int
    findings: Counter[tuple[str, str]]
    touched: int
    seconds: float
    processor_seconds: float
    mebibytes: float


def stored(path: Path, chassis: int, seed: int = 11) -> int:
    """Write a generated catalogue into a new SQLite file without judging it; returns the number of its rows."""
    database = Database(f"sqlite:///{path}")
    migrate(database, "catalogue")
    count = 0
    with database.write() as connection:
        revision = NewRevision(connection)
        held: dict[type[Row], list[Row]] = defaultdict(list)
        for name, cells in catalogue_generator.cells(chassis, seed):
            table = TABLES[name]
            held[table].append(table.from_parsed({**dict.fromkeys(table.columns()), **from_cells(table, cells)}))
            count += 1
            if len(held[table]) == BATCH:
                revision.put(table, held.pop(table))
        for table, rows in held.items():
            revision.put(table, rows)
        revision.record("clean", "tests")
    database.close()
    return count


class Memory:
    """The peak memory of this process inside the `with` block, sampled five times a second."""

    def __enter__(self) -> "Memory":
        self.mebibytes = 0.0
        self._over = Event()
        self._watch = Thread(target=self._look)
        self._watch.start()
        return self

    def __exit__(self, *of: object) -> None:
        self._over.set()
        self._watch.join()

    def _look(self) -> None:
        while not self._over.wait(0.2):
            self.mebibytes = max(self.mebibytes, _proportional_kib() / 1024)


def _proportional_kib() -> int:
    """The memory of this process, with its share of shared pages."""
    text = Path("/proc/self/smaps_rollup").read_text("ascii")
    return int(text.partition("Pss:")[2].split()[0])


def alarms(path: Path) -> Clean:
    """Judge the whole catalogue; every finding is a false alarm."""
    findings: Counter[tuple[str, str]] = Counter()
    touched: set[tuple[str | None, str | None]] = set()
    database = Database(f"sqlite:///{path}")
    with Catalogue(database).snapshot() as snapshot, Memory() as memory:
        statements = sum(1 for table in STATEMENTS for _ in snapshot.values(table, "id"))
        start, used = time.perf_counter(), time.process_time()
        for finding in judge_all(snapshot, TODAY):
            findings[finding.severity, finding.rule] += 1
            touched.add((finding.table, finding.id))
        seconds = time.perf_counter() - start
        processor_seconds = time.process_time() - used
    database.close()
    return Clean(statements, findings, len(touched), seconds, processor_seconds, memory.mebibytes)


def edits(database: Database, count: int = 300) -> tuple[list[float], list[float]]:
    """Milliseconds to judge each edit, in wall and processor time. An edit copies a random cell from one statement to
    another of the same table."""
    draw = Random(SEED)
    taken: list[float] = []
    used: list[float] = []
    with Catalogue(database).snapshot() as snapshot:
        pools: dict[type[Row], list[Row]] = {}
        for table in STATEMENTS:
            ids = list(snapshot.values(table, "id"))
            pools[table] = list(snapshot.many(table, draw.sample(ids, min(200, len(ids)))).values())
        for _ in range(count):
            table = draw.choice(STATEMENTS)
            row, sister = draw.choice(pools[table]), draw.choice(pools[table])
            name = draw.choice([name for name in table.columns() if name not in ("id", *table.about)])
            after = row.model.from_parsed({**row.values(), name: getattr(sister, name)})
            overlay = Overlay(snapshot, MemoryRows([after]), {})
            start, processor = time.perf_counter(), time.process_time()
            judge_change(overlay, [Change(table, "put", row.id, row, after)], TODAY, snapshot)
            taken.append((time.perf_counter() - start) * 1000)
            used.append((time.process_time() - processor) * 1000)
    return taken, used


def in_its_own_process(path: Path) -> Clean:
    """Run the check in its own process, so that the memory measured is that of the check alone."""
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as processes:
        return processes.submit(alarms, path).result()


def report(chassis: int, path: Path | None = None) -> None:
    """Print both for a catalogue of `chassis` chassis, or for an existing catalogue if a path is given."""
    with tempfile.TemporaryDirectory() as folder:
        file = path or Path(folder) / "large.db"
        if path is None:
            print(f"{chassis} chassis, {stored(file, chassis)} rows")
        clean = in_its_own_process(file)
        print(f"{clean.statements} statements; findings {dict(clean.findings)}; rows with one: {clean.touched}")
        print(f"full check: {clean.seconds:.1f} s, {clean.processor_seconds:.1f} s of the processor, "
              f"at most {clean.mebibytes:.0f} MiB")  # fmt: skip
        database = Database(f"sqlite:///{file}")
        taken, used = edits(database)
        database.close()
    print(f"load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    for what, each in (("by the clock", taken), ("of the processor", used)):
        cuts = quantiles(each, n=20)
        print(f"one-row edit judged: median {cuts[9]:.1f} ms, p95 {cuts[18]:.1f} ms {what}, {len(each)} edits")
