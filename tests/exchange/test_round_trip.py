"""A load and its export: the package comes out as it went in, byte for byte, on both engines."""

import json
import zipfile
from pathlib import Path

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.exchange.descriptor import descriptor, written
from app.exchange.loading import Entry, load
from app.exchange.writer import export, template
from tests.conftest import SEED_DATA

ENTRY = Entry("a test", "tests")


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.suffix != ".md"}


def test_the_export_of_the_demo_is_the_demo_byte_for_byte(loaded: Catalogue, tmp_path: Path) -> None:
    with loaded.snapshot() as snapshot:
        export(snapshot, snapshot.revision, tmp_path / "out")
    assert contents(tmp_path / "out") == contents(SEED_DATA)


def test_the_descriptor_of_the_demo_is_the_one_derived() -> None:
    assert (SEED_DATA / "datapackage.json").read_bytes() == written(descriptor(revision=1, invented=True))


def test_a_zip_holds_the_same_and_is_the_same_bytes_each_time(loaded: Catalogue, tmp_path: Path) -> None:
    with loaded.snapshot() as snapshot:
        for name in ("a.zip", "b.zip"):
            export(snapshot, snapshot.revision, tmp_path / name)
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    with zipfile.ZipFile(tmp_path / "a.zip") as archive:
        assert {name: archive.read(name) for name in archive.namelist()} == contents(SEED_DATA)


def test_a_second_load_opens_no_revision_nor_does_the_export(demo: Database, tmp_path: Path) -> None:
    with Catalogue(demo).snapshot() as snapshot:
        export(snapshot, snapshot.revision, tmp_path / "out.zip")
    for package in (SEED_DATA, tmp_path / "out.zip"):
        for replace in (False, True):
            again = load(demo, package, ENTRY, replace=replace)
            assert (again["accepted"], again["opened"], again["revision"]) == (True, False, 1)


def test_trailing_digits_are_a_change_and_are_kept(database: Database, tmp_path: Path) -> None:
    """7.30 is not 7.3: the digits say how well the figure is known."""
    for revision, volume in ((1, "7.30"), (2, "7.3"), (3, "7.300")):
        package = tmp_path / "spacers.csv"
        package.write_text(f"id,name,volume_ml\nspacer-a,Spacer A,{volume}\n")
        assert load(database, package, ENTRY)["revision"] == revision
        with Catalogue(database).snapshot() as snapshot:
            export(snapshot, snapshot.revision, tmp_path / f"out-{revision}")
        assert f"spacer-a,Spacer A,{volume}," in (tmp_path / f"out-{revision}" / "spacers.csv").read_text()


def test_frictionless_accepts_an_export() -> None:
    """Outside check: the Data Package validator of the Open Knowledge Foundation, references and enums included.

    It gets the demo itself, because an export equals it byte for byte (above)."""
    from frictionless import Package

    report = Package(str(SEED_DATA / "datapackage.json")).validate()
    assert report.valid, report.flatten(["title", "rowNumber", "fieldName", "type", "message"])[:5]
    assert report.stats["tasks"] == 25


def test_the_template_is_a_package_with_headers_and_examples(tmp_path: Path) -> None:
    template(tmp_path / "new")
    described = json.loads((tmp_path / "new" / "datapackage.json").read_bytes())
    for resource in described["resources"]:
        header = (tmp_path / "new" / resource["path"]).read_text()
        assert header == ",".join(field["name"] for field in resource["schema"]["fields"]) + "\n"
        assert all(field["description"] for field in resource["schema"]["fields"])
    fits = next(resource for resource in described["resources"] if resource["name"] == "fits")
    travel = next(field for field in fits["schema"]["fields"] if field["name"] == "travel_mm")
    assert (travel["unit"], travel["example"]) == ("mm", "150")
