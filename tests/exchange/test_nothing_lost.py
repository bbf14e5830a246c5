"""Packages and copies lose nothing silently: values that a file leaves out are kept, and emptied cells are listed
first."""

import csv
import io
import zipfile
from collections.abc import Iterable
from pathlib import Path

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.content_hash import content_hash
from app.catalogue.rows import MemoryRows
from app.catalogue.tables import Fit, Maker, Row
from app.database.connections import Database
from app.exchange.cells import ChangedCells
from app.exchange.loading import Entry, check, load
from app.exchange.mirror import follow, verify
from app.exchange.origin import Origin
from app.exchange.reports import PackageReport, as_text
from tests.conftest import ENGINES, Fresh
from tests.exchange.serving import serving
from tests.questions.storing import store

FIT = "fit-raddle-37-160-622"
SEVEN = ("id", "chassis", "spring", "travel_mm", "axle_to_crown_mm", "source", "page")


def fit_of(database: Database, id: str = FIT) -> Fit:
    with Catalogue(database).snapshot() as snapshot:
        found = snapshot.one(Fit, id)
    assert found is not None
    return found


def written(folder: Path, header: Iterable[str], *rows: Iterable[str], table: str = "fits") -> Path:
    """One CSV file, as a person saves it."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([header, *rows])
    path = folder / f"{table}.csv"
    path.write_text(text.getvalue(), encoding="utf-8")
    return path


def cells_of(row: Row, names: Iterable[str], **other: str) -> list[str]:
    return [other.get(name, row.cells()[name]) for name in names]


def both(database: Database, path: Path, *, replace: bool = False) -> PackageReport:
    """The report of a load, after asserting that a check of that package reports the same."""
    checked = check(path, Catalogue(database), replace=replace)
    loaded = load(database, path, Entry("corrected", "test"), replace=replace)
    for name in ("accepted", "changed_cells", "cell_counts", "rows"):
        assert checked[name] == loaded[name]  # type: ignore[literal-required]
    return loaded


def test_seven_columns_correct_a_length_and_leave_all_else(demo: Database, tmp_path: Path) -> None:
    before = fit_of(demo)
    assert (before.wheel_size, before.spacer_limit, before.pressure_limit) != (None, None, None)
    assert None not in (before.wheel_size, before.spacer_limit, before.pressure_limit, before.axle_to_crown_mm)
    length = str(before.axle_to_crown_mm)
    path = written(tmp_path, SEVEN, cells_of(before, SEVEN, axle_to_crown_mm="560.5"))
    report = both(demo, path)
    assert report["accepted"], report["findings"]
    assert report["changed_cells"] == [
        {"table": "fits", "id": FIT, "column": "axle_to_crown_mm", "was": length, "now": "560.5"}
    ]
    after = fit_of(demo)
    assert after.cells() == {**before.cells(), "axle_to_crown_mm": "560.5"}


def test_an_id_and_the_corrected_column_are_enough_for_a_stored_row(demo: Database, tmp_path: Path) -> None:
    before = fit_of(demo)
    assert both(demo, written(tmp_path, ("id", "note"), (FIT, "measured twice")))["accepted"]
    assert fit_of(demo).cells() == {**before.cells(), "note": "measured twice"}
    new = check(written(tmp_path, ("id", "note"), ("fit-new", "unknown")), Catalogue(demo))
    assert not new["accepted"]
    assert {(finding["rule"], finding.get("column")) for finding in new["findings"]} == {
        ("column-missing", name) for name in ("chassis", "spring", "travel_mm")
    }


def test_an_empty_cell_empties_and_is_listed_before_what_else_changes(demo: Database, tmp_path: Path) -> None:
    before = fit_of(demo)
    names = ("id", "axle_to_crown_mm", "spacer_limit", "note")
    path = written(tmp_path, names, (FIT, "560.5", "", "without a limit"))
    report = both(demo, path)
    assert report["accepted"], report["findings"]
    assert report["changed_cells"][0] == {
        "table": "fits", "id": FIT, "column": "spacer_limit", "was": str(before.spacer_limit)
    }  # fmt: skip
    assert [cell["column"] for cell in report["changed_cells"]] == ["spacer_limit", "axle_to_crown_mm", "note"]
    assert report["cell_counts"] == {"emptied": 1, "changed": 1, "filled": 1}
    lines = as_text(report).splitlines()
    assert lines[0] == f"emptied: fits/{FIT} spacer_limit: {before.spacer_limit} → (empty)"
    assert lines[1] == f"changed: fits/{FIT} axle_to_crown_mm: {before.axle_to_crown_mm} → 560.5"
    assert "1 cells emptied" in lines[-2]


def test_a_ragged_row_is_refused_and_empties_nothing(demo: Database, tmp_path: Path) -> None:
    before = fit_of(demo)
    path = written(tmp_path, SEVEN, cells_of(before, SEVEN)[:5])
    report = load(demo, path, Entry("corrected", "test"))
    assert [finding["rule"] for finding in report["findings"]] == ["cell-count-wrong"]
    assert fit_of(demo) == before


def test_what_replaces_brings_whole_rows_and_lists_the_emptied_first(demo: Database, tmp_path: Path) -> None:
    store(demo, [Maker(id="a-maker", name="A", page="1")])
    with Catalogue(demo).snapshot() as snapshot:
        everything = MemoryRows([row for table in (Maker,) for row in snapshot.all(table)])
    rows = [cells_of(row, ("id", "name")) for row in everything.all(Maker)]
    path = written(tmp_path, ("id", "name"), *rows, table="makers")
    report = check(path, Catalogue(demo), replace=True)
    assert report["changed_cells"][0] == {"table": "makers", "id": "a-maker", "column": "page", "was": "1"}
    assert report["cell_counts"]["emptied"] >= 1


def test_a_zip_of_a_narrow_file_is_merged_too(demo: Database, tmp_path: Path) -> None:
    before = fit_of(demo)
    path = tmp_path / "package.zip"
    with zipfile.ZipFile(path, "w") as package:
        package.writestr("fits.csv", f"id,note\n{FIT},read again\n")
    assert load(demo, path, Entry("note", "test"))["accepted"]
    assert fit_of(demo).cells() == {**before.cells(), "note": "read again"}


@pytest.mark.parametrize("engine", ENGINES)
def test_an_emptied_column_goes_through_the_mirror(engine: str, fresh_database: Fresh, tmp_path: Path) -> None:
    with fresh_database(engine, True) as url, fresh_database(engine, False) as copy_url:
        source, copy = Database(url), Database(copy_url)
        before = fit_of(source)
        emptied = before.replaced(spacer_limit=None, note="the limit was withdrawn")
        heard: list[tuple[int, ChangedCells]] = []
        with serving(source, tmp_path) as (address, _), httpx.Client(base_url=address, timeout=60) as client:
            origin = Origin(client)
            assert follow(copy, origin) == 1
            assert fit_of(copy) == before
            number = store(source, [emptied])
            feed = client.get(f"/v1/changes?after={number - 1}").json()["changes"]
            assert "spacer_limit" not in feed[0]["row"]  # the feed lists only the values given
            follow(copy, origin, lambda number, cells: heard.append((number, cells)))
            verify(copy, origin, number)
        assert fit_of(copy) == emptied
        assert [(number, cells.listed()[0]["column"]) for number, cells in heard] == [(number, "spacer_limit")]
        with Catalogue(source).snapshot() as theirs, Catalogue(copy).snapshot() as ours:
            assert content_hash(theirs) == content_hash(ours)
        source.close()
        copy.close()
