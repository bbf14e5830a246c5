"""Generated catalogues through the exchange: valid, reproducible, and exported just as they were loaded."""

from pathlib import Path

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import STATEMENTS
from app.database.connections import Database
from app.exchange.loading import Entry, check, load
from app.exchange.writer import export
from tests.catalogue_generator import cells, rows, write_package


def test_a_generated_catalogue_is_accepted_and_hardly_warned_of(tmp_path: Path) -> None:
    """Makers differ in units, digits, torques and volumes. None of that is a fault, so every finding is a false alarm.
    One row in 200 may get a warning, which is the limit that the rules aim for."""
    for seed in (1, 2):
        count = write_package(tmp_path / str(seed), 64, seed)
        report = check(tmp_path / str(seed))
        assert report["accepted"]
        assert len({(finding["table"], finding.get("id")) for finding in report["findings"]}) < 0.005 * count


def test_it_is_the_same_each_time_and_a_larger_one_holds_a_smaller(tmp_path: Path) -> None:
    small, large = list(cells(8, seed=5)), list(cells(24, seed=5))
    assert small == list(cells(8, seed=5))
    assert small != list(cells(8, seed=6))
    assert all(row in large for row in small)


def test_it_has_every_kind_of_statement_and_exceptions_among_them() -> None:
    made = list(rows(16))
    assert {row.model for row in made} >= set(STATEMENTS)
    exceptions = [row for row in made if getattr(row, "exception_to", None)]
    assert {row.table for row in exceptions} >= {"fits", "torques"}


def test_it_comes_out_as_it_went_in(database: Database, tmp_path: Path) -> None:
    """Byte for byte, with so many rows that the load gets a full check."""
    count = write_package(tmp_path / "in", 48)
    report = load(database, tmp_path / "in", Entry("a test", "tests"))
    assert (report["accepted"], report["rows"]["added"]) == (True, count)
    with Catalogue(database).snapshot() as snapshot:
        export(snapshot, snapshot.revision, tmp_path / "out")
    for path in (tmp_path / "in").iterdir():
        assert (tmp_path / "out" / path.name).read_bytes() == path.read_bytes(), path.name
