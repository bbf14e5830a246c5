"""Standing warnings: stored when a revision is accepted, with the span of revisions that they apply to."""

import csv
import datetime as dt
import random
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import select

from app.catalogue.catalogue import Catalogue
from app.catalogue.rows import Rows
from app.catalogue.stored import FINDINGS, OPEN
from app.catalogue.tables import Chassis, Fit, Torque
from app.database.connections import Database
from app.exchange.editing import write_edits
from app.exchange.loading import Entry, load
from app.exchange.read_edits import Edit
from app.rules.engine import judge_all
from app.rules.finding import Finding

ENTRY = Entry("a test", "tests")
TODAY = dt.date(2026, 11, 25)


def standing(database: Database) -> set[tuple[str, str, str]]:
    """(rule, table, id) of the standing warnings."""
    with database.read() as connection:
        kept = select(FINDINGS.c.rule, FINDINGS.c.in_table, FINDINGS.c.row_id).where(FINDINGS.c.revision_to == OPEN)
        return {tuple(row) for row in connection.execute(kept)}  # type: ignore[misc]


def found_by_a_full_check(database: Database) -> set[tuple[str, str, str]]:
    """(rule, table, id) of the warnings that a full check of the current catalogue finds."""
    with Catalogue(database).snapshot() as snapshot:
        return {(each.rule, each.table or "", each.id or "") for each in judge_all(snapshot, TODAY)}


def change(database: Database, folder: Path, table: type[Fit] | type[Torque], id: str, **cells: str) -> None:
    """Loads one changed row."""
    with Catalogue(database).snapshot() as snapshot:
        row = snapshot.one(table, id)
    assert row is not None
    folder.mkdir(exist_ok=True)
    with (folder / f"{table.table}.csv").open("w", newline="") as stream:
        writer = csv.DictWriter(stream, [*table.columns()], lineterminator="\n")
        writer.writeheader()
        writer.writerow({**row.cells(), **cells})
    report = load(database, folder / f"{table.table}.csv", ENTRY, today=TODAY)
    assert report["accepted"], report["findings"]


def ids(database: Database, table: type[Fit] | type[Torque]) -> list[str]:
    with Catalogue(database).snapshot() as snapshot:
        return [row.id for row in snapshot.all(table)]


def test_a_warning_lasts_from_the_revision_that_brings_it_to_the_one_that_fixes_it(
    demo: Database, tmp_path: Path
) -> None:
    first, *_, last = ids(demo, Torque)
    change(demo, tmp_path, Torque, first, page="")
    change(demo, tmp_path, Torque, last, note="something else altogether")
    assert ("page-missing", "torques", first) in standing(demo)
    change(demo, tmp_path, Torque, first, page="99")
    with demo.read() as connection:
        span = select(FINDINGS.c.revision_from, FINDINGS.c.revision_to).where(FINDINGS.c.row_id == first)
        assert [tuple(row) for row in connection.execute(span)] == [(2, 4)]


@pytest.mark.parametrize("seed", [1, 2])
def test_what_stands_after_many_changes_is_what_a_full_check_finds(demo: Database, tmp_path: Path, seed: int) -> None:
    """Warnings that come and go, stored change by change, against a check of the whole catalogue."""
    draw = random.Random(seed)
    edits = ({"page": ""}, {"page": "7"}, {"note": "seen"}, {"confirmed": "true"})
    for _ in range(12):
        table = draw.choice((Fit, Torque))
        change(demo, tmp_path, table, draw.choice(ids(demo, table)), **draw.choice(edits))
    assert standing(demo) == found_by_a_full_check(demo)
    assert any(rule == "page-missing" for rule, _, _ in standing(demo))


def test_a_full_check_keeps_the_same_as_the_shapes_that_were_touched(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = ids(demo, Torque)[:2]
    change(demo, tmp_path, Torque, first, page="")
    monkeypatch.setattr("app.exchange.judging.MANY", 0)
    change(demo, tmp_path, Torque, second, page="")
    assert standing(demo) == found_by_a_full_check(demo)
    with demo.read() as connection:
        spans = select(FINDINGS.c.row_id, FINDINGS.c.revision_from).where(FINDINGS.c.rule == "page-missing")
        assert {tuple(row) for row in connection.execute(spans)} >= {(first, 2), (second, 3)}


def test_nothing_is_stored_if_a_full_check_fails(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.exchange.judging.MANY", 0)

    def fail(rows: Rows, today: dt.date) -> Iterator[Finding]:
        yield next(judge_all(rows, today))
        raise RuntimeError("the check failed")

    monkeypatch.setattr("app.exchange.judging.judge_all", fail)
    before = standing(demo)
    with pytest.raises(RuntimeError, match="the check failed"):
        change(demo, tmp_path, Torque, ids(demo, Torque)[0], page="")
    assert standing(demo) == before
    with Catalogue(demo).snapshot() as snapshot:
        assert snapshot.revision == 1


def test_a_fork_that_two_workshops_entered_is_a_finding_until_one_of_the_two_goes(demo: Database) -> None:
    with Catalogue(demo).snapshot() as snapshot:
        theirs = next(snapshot.all(Chassis))
    ours = Chassis.from_parsed({**theirs.values(), "id": "our-own-name-for-it", "name": theirs.name.upper()})
    done = write_edits(demo, [Edit(Chassis, ours.id, ours)], ENTRY, TODAY)
    (found,) = [each for each in done.report["findings"] if each["rule"] == "entity-twice"]
    assert (found["id"], found["collides_with"]["id"], found["severity"]) == (ours.id, theirs.id, "warn")
    assert ("entity-twice", "chassis", ours.id) in standing(demo)
    write_edits(demo, [Edit(Chassis, ours.id, None)], ENTRY, TODAY)
    assert not {each for each in standing(demo) if each[0] == "entity-twice"}
