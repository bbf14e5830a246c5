"""An export is streamed: its memory does not grow with the catalogue. An outside validator accepts it, too."""

import os
import subprocess
import sys
import zipfile
from itertools import islice
from pathlib import Path

import pytest

from app.database.connections import Database
from app.database.migrating import migrate
from tests.catalogue_generator import rows
from tests.questions.storing import store

FEW, MANY = 4, 160
MORE_MIB = 20
"""The peaks may differ by this much: read-ahead, SQLite's page cache. Measured: 2 (zip) and 12 (SQLite)."""
# Anonymous memory, sampled: the peak that Linux keeps (VmHWM) counts the pages of mapped libraries, too.
PROGRAM = """
import atexit, re, sys, threading, time
seen = [0]
def look():
    found = re.search(r"RssAnon:\\s+(\\d+) kB", open("/proc/self/status").read())
    seen.append(max(seen.pop(), int(found[1])))
def watch():
    while True:
        look()
        time.sleep(0.01)
from app.cli import main
threading.Thread(target=watch, daemon=True).start()
atexit.register(lambda: look() or print("peak", seen[0], file=sys.stderr))
main()
"""


def catalogue_of(folder: Path, chassis: int) -> tuple[str, int]:
    """The URL of a catalogue with that many generated chassis, as one revision, and its number of rows."""
    url = f"sqlite:///{folder / f'{chassis}.db'}"
    database = Database(url)
    migrate(database, "catalogue")
    made = rows(chassis)
    count = 0
    while part := list(islice(made, 5_000)):
        store(database, part)
        count += len(part)
    database.close()
    return url, count


def exported(url: str, path: Path) -> float:
    """Writes an export as a serving worker does; returns its peak memory in MiB."""
    command = [sys.executable, "-c", PROGRAM, "export", str(path), "--json"]
    environment = {**os.environ, "LEGWORK_DATABASE_URL": url}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=200)
    assert done.returncode == 0, done.stderr
    return int(done.stderr.rpartition("peak ")[2]) / 1024


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the peak of a process is read from /proc")
def test_a_large_export_takes_no_more_memory_than_a_small_one(tmp_path: Path) -> None:
    few, many = catalogue_of(tmp_path, FEW), catalogue_of(tmp_path, MANY)
    assert many[1] > 15 * few[1]
    for suffix in ("zip", "sqlite"):
        small = exported(few[0], tmp_path / f"few.{suffix}")
        assert exported(many[0], tmp_path / f"many.{suffix}") < small + MORE_MIB, suffix


def test_frictionless_accepts_a_generated_export(tmp_path: Path) -> None:
    """Outside check: the Data Package validator of the Open Knowledge Foundation, references and enums included."""
    from frictionless import Package

    url, count = catalogue_of(tmp_path, 2)
    exported(url, tmp_path / "out.zip")
    with zipfile.ZipFile(tmp_path / "out.zip") as archive:
        archive.extractall(tmp_path / "out")
    report = Package(str(tmp_path / "out" / "datapackage.json")).validate()
    assert report.valid, report.flatten(["title", "rowNumber", "fieldName", "type", "message"])[:5]
    assert sum(task.stats.get("rows", 0) for task in report.tasks) == count
