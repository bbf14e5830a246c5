"""False alarms: what the rules say of a large clean catalogue; and how long a one-row edit takes to judge in it."""

import os
import resource
import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random
from statistics import quantiles
from typing import NamedTuple

from app.catalogue.catalogue import Catalogue
from app.catalogue.rows import MemoryRows, Overlay
from app.catalogue.tables import STATEMENTS, Row
from app.database.connections import Database
from app.database.migrating import migrate
from app.exchange.loading import Entry, load
from app.rules.engine import judge_all, judge_change
from app.rules.view import Change
from tests.catalogue_generator import write_package
from tests.faults.trying import SEED, TODAY


class Clean(NamedTuple):
    """A clean catalogue judged whole: its rows, the findings by rule and severity, rows with one, seconds, MiB."""

    chassis: int
    statements: int
    rows: int
    findings: Counter[tuple[str, str]]
    touched: int
    seconds: float
    mebibytes: float


def stored(folder: Path, chassis: int, seed: int = 11) -> tuple[Database, int]:
    """A generated catalogue in SQLite, and the number of its rows. The load must be accepted."""
    rows = write_package(folder / "package", chassis, seed)
    database = Database(f"sqlite:///{folder / 'large.db'}")
    migrate(database, "catalogue")
    report = load(database, folder / "package", Entry("clean", "tests"), today=TODAY)
    assert report["accepted"], report["findings"][:5]
    return database, rows


def alarms(database: Database, chassis: int, rows: int) -> Clean:
    """Judge the whole catalogue; what is found in it is a false alarm."""
    findings: Counter[tuple[str, str]] = Counter()
    touched: set[tuple[str | None, str | None]] = set()
    with Catalogue(database).at() as at:
        statements = sum(1 for table in STATEMENTS for _ in at.values(table, "id"))
        start = time.perf_counter()
        for finding in judge_all(at, TODAY):
            findings[finding.severity, finding.rule] += 1
            touched.add((finding.table, finding.id))
        seconds = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return Clean(chassis, statements, rows, findings, len(touched), seconds, peak)


def edits(database: Database, count: int = 300) -> list[float]:
    """Milliseconds that judging takes, edit by edit: a random cell of a random statement changed to a sister's."""
    draw = Random(SEED)
    taken: list[float] = []
    with Catalogue(database).at() as at:
        pools: dict[type[Row], list[Row]] = {}
        for table in STATEMENTS:
            ids = list(at.values(table, "id"))
            pools[table] = list(at.many(table, draw.sample(ids, min(200, len(ids)))).values())
        for _ in range(count):
            table = draw.choice(STATEMENTS)
            row, sister = draw.choice(pools[table]), draw.choice(pools[table])
            name = draw.choice([name for name in table.columns() if name not in ("id", *table.about)])
            after = type(row).of_read({**row.__dict__, name: sister.__dict__[name]})
            overlay = Overlay(at, MemoryRows([after]), {})
            start = time.perf_counter()
            judge_change(overlay, [Change(table, "put", row.id, row, after)], TODAY, at)
            taken.append((time.perf_counter() - start) * 1000)
    return taken


def report(chassis: int) -> None:
    """Print both for a catalogue of so many chassis."""
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        database, rows = stored(Path(folder), chassis)
        loaded = time.perf_counter() - start
        clean = alarms(database, chassis, rows)
        taken = edits(database)
        database.close()
    share = clean.touched / clean.rows
    print(f"{chassis} chassis, {clean.statements} statements, {clean.rows} rows; written and loaded in {loaded:.0f} s")
    print(f"findings {dict(clean.findings)}; rows with one: {clean.touched} ({share:.3%})")
    print(f"full check {clean.seconds:.1f} s, peak of the process {clean.mebibytes:.0f} MiB")
    print(f"load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    cuts = quantiles(taken, n=20)
    print(f"one-row edit judged: median {cuts[9]:.1f} ms, p95 {cuts[18]:.1f} ms, {len(taken)} edits")
