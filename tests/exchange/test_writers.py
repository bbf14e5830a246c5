"""A load survives being killed, a second writer and a full disk: the old revision or the new, never a mixture."""

import multiprocessing
import random
import sqlite3
import threading
import time
from pathlib import Path

import pytest
from sqlalchemy import func, select

from app.catalogue.catalogue import Catalogue
from app.catalogue.stored import SQL
from app.catalogue.tables import Spacer
from app.database.connections import Database
from app.errors import NoRoom, Unavailable
from app.exchange.loading import Entry, load

ENTRY = Entry("a test", "tests")
MANY = 4_000


def spacers(path: Path, count: int, name: str = "Spacer") -> Path:
    rows = "".join(f"spacer-{number:06},{name} {number},8.2\n" for number in range(count))
    path.write_text("id,name,volume_ml\n" + rows)
    return path


def load_anew(url: str, path: Path) -> None:
    load(Database(url), path, ENTRY)


def held(database: Database) -> tuple[int, int, set[str]]:
    """Revision, number of rows that hold at it, and the first words of their names."""
    with Catalogue(database).snapshot() as snapshot:
        rows = list(snapshot.all(Spacer))
        return snapshot.revision, len(rows), {row.name.split()[0] for row in rows}


@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 0.75, 1.0])
def test_a_killed_load_leaves_the_old_revision_or_the_new_one(database_url: str, tmp_path: Path, share: float) -> None:
    """SIGKILL at a fraction of the time that an earlier load took, plus or minus a seeded random part."""
    (tmp_path / "a").mkdir()
    database = Database(database_url)
    started = time.monotonic()
    load(database, spacers(tmp_path / "a" / "spacers.csv", MANY, "Old"), ENTRY)
    took = time.monotonic() - started
    spacers(tmp_path / "spacers.csv", MANY, "New")
    database.close()  # no connection may be inherited by the child
    child = multiprocessing.get_context("fork").Process(target=load_anew, args=(database_url, tmp_path / "spacers.csv"))
    child.start()
    time.sleep((share + random.Random(share).uniform(0, 0.25)) * took)
    child.kill()
    child.join()
    assert held(database) in ((1, MANY, {"Old"}), (2, MANY, {"New"}))
    if database.path is not None:
        with sqlite3.connect(database.path) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    again = load(database, tmp_path / "spacers.csv", ENTRY)
    assert again["accepted"]
    assert held(database) == (2, MANY, {"New"})
    database.close()


def test_two_writers_at_once_one_waits_and_none_is_lost(database_url: str, tmp_path: Path) -> None:
    first, second = Database(database_url), Database(database_url)
    (tmp_path / "tools.csv").write_text("id,name\ntool-a,Tool A\n")
    spacers(tmp_path / "spacers.csv", 3_000)
    reports = []

    def write(database: Database, name: str) -> None:
        reports.append(load(database, tmp_path / name, ENTRY))

    threads = [
        threading.Thread(target=write, args=(database, name))
        for database, name in ((first, "spacers.csv"), (second, "tools.csv"))
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted((report["opened"], report["revision"]) for report in reports) == [(True, 1), (True, 2)]
    assert held(first)[:2] == (2, 3_000)
    first.close()
    second.close()


def test_a_writer_that_waits_too_long_is_told_to_try_again(
    database_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.database.connections.WRITER_WAIT_S", 1)
    first, second = Database(database_url), Database(database_url)
    with first.write():
        started = time.monotonic()
        with pytest.raises(Unavailable, match="another change is being written"):
            load(second, spacers(tmp_path / "spacers.csv", 1), ENTRY)
        assert time.monotonic() - started < 4
    assert load(second, tmp_path / "spacers.csv", ENTRY)["revision"] == 1
    first.close()
    second.close()


def test_a_full_disk_stores_nothing_and_reads_go_on(tmp_path: Path) -> None:
    """SQLite only: `max_page_count` simulates the full disk."""
    from sqlalchemy import event

    from app.database.migrating import migrate

    database = Database(f"sqlite:///{tmp_path / 'small.db'}")
    migrate(database, "catalogue")
    load(database, spacers(tmp_path / "spacers.csv", 10, "Old"), ENTRY)

    def end_of_disk(connection: sqlite3.Connection, _: object) -> None:
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count = {pages + 20}")

    event.listen(database.writer, "connect", end_of_disk)
    with pytest.raises(NoRoom):
        load(database, spacers(tmp_path / "spacers.csv", MANY, "New"), ENTRY)
    assert held(database) == (1, 10, {"Old"})
    event.remove(database.writer, "connect", end_of_disk)
    assert load(database, tmp_path / "spacers.csv", ENTRY)["revision"] == 2
    database.close()


def test_history_is_kept_when_a_row_changes_and_goes(demo: Database, tmp_path: Path) -> None:
    """A superseded and a withdrawn row still hold at their own revision."""
    (tmp_path / "spacers.csv").write_text("id,name,volume_ml\nspacer-new,Old name,8.0\n")
    load(demo, tmp_path, ENTRY)
    (tmp_path / "spacers.csv").write_text("id,name,volume_ml\nspacer-new,New name,8.00\n")
    load(demo, tmp_path, ENTRY)
    stored = SQL[Spacer]
    with demo.read() as connection:
        spans = connection.execute(
            select(stored.c.name, stored.c.volume_ml, stored.c.revision_from, stored.c.revision_to)
            .where(stored.c.id == "spacer-new")
            .order_by(stored.c.revision_from)
        ).fetchall()
        total = connection.execute(select(func.count()).select_from(stored)).scalar()
    assert [(name, str(volume), *span) for name, volume, *span in spans] == [
        ("Old name", "8.0", 2, 3),
        ("New name", "8.00", 3, 2147483647),
    ]
    assert total is not None
    assert total > 2
