"""Broken packages: each fault is named with file, line and column and how to fix it, and nothing is stored."""

import csv
import io
import shutil
import stat
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.lineage import latest
from app.catalogue.stored import CATALOGUE
from app.database.connections import Database
from app.exchange.loading import Entry, check, load
from app.exchange.package import MOST_BYTES
from app.rules.engine import judge_all
from tests.conftest import SEED_DATA

SPACERS = "id,name,volume_ml\n"

# One file of a package as written, and the expected report: rule, line, column, words in the text or fix.
BROKEN_CELLS: list[tuple[str, bytes, str, int | None, str | None, str]] = [
    ("spacers.csv", b"id,name,volume\nspacer-a,A,8\n", "column-unknown", 1, "volume", "call it volume_ml"),
    ("spacers.csv", b"id,volume_ml\nspacer-a,8\n", "column-missing", 1, "name", "name is missing"),
    ("spacers.csv", b"id,name,name\nspacer-a,A,A\n", "column-twice", 1, "name", "column C"),
    ("spacers.csv", b"id;name;volume_ml\nspacer-a;A;8\n", "column-unknown", 1, None, "commas"),
    ("spacers.csv", b"id,name,volume_ml\nspacer-a,A,8,9\n", "cell-count-wrong", 2, None, "4 cells"),
    ("spacers.csv", b"id,name,volume_ml\n\nspacer-a,A\n", "cell-count-wrong", 3, None, "2 cells"),
    ("spacers.csv", b"id,name,volume_ml\nspacer-a,A,\"8,2\"\n", "cell-unreadable", 2, "volume_ml", "write 8.2"),
    ("spacers.csv", b"id,name,volume_ml\nspacer-a,A,8 ml\n", "cell-unreadable", 2, "volume_ml", "column C (volume_ml)"),
    ("spacers.csv", b"id,name,volume_ml\nspacer-a,A,1e3\n", "cell-unreadable", 2, "volume_ml", "plain decimal digits"),
    ("spacers.csv", b"id,name,volume_ml\nspacer-a,A,NaN\n", "cell-unreadable", 2, "volume_ml", "plain decimal digits"),
    ("spacers.csv", b"id,name,volume_ml\nspacer-a,A,007\n", "cell-unreadable", 2, "volume_ml", "plain decimal digits"),
    ("spacers.csv", b"id,name,volume_ml\nSpacer A,A,8\n", "cell-unreadable", 2, "id", "write spacer-a"),
    ("spacers.csv", b"id,name,volume_ml\nspacer-a, A,8\n", "cell-unreadable", 2, "name", "write A"),
    ("spacers.csv", b"id,name,volume_ml\nspacer-a,A\xe2\x80\xae,8\n", "cell-unreadable", 2, "name", "direction"),
    ("spacers.csv", b"id,name,volume_ml\nspacer-a,,8\n", "cell-missing", 2, "name", "column B (name)"),
    ("spacers.csv", b"id,name,volume_ml\n,A,8\n", "cell-missing", 2, "id", "column A (id)"),
    ("spacers.csv", b"id,name\nspacer-b,B\nspacer-a,A\nspacer-b,B\n", "id-twice", 4, "id", "line 2"),
    ("spacers.csv", b"id,name\nspacer-a,A\nspacer-a,A\n", "id-twice", 3, "id", "line 2"),
    ("spacers.csv", b"", "file-empty", 1, None, "is empty"),
    ("spacers.csv", b"\xef\xbb\xbf", "file-empty", 1, None, "is empty"),
    ("spacers.csv", b"id,name\nspacer-a,caf\xe9\n", "encoding-wrong", 2, None, "UTF-8"),
    ("spacers.csv", "id,name\nspacer-a,A\n".encode("utf-16"), "encoding-wrong", 1, None, "UTF-8"),
    ("spacers.csv", b'id,name\nspacer-a,"A\nspacer-b,B\n', "csv-broken", 2, None, "line 2"),
    ("spacers.csv", b'id,name\nspacer-a,"A"B\n', "csv-broken", 2, None, "line 2"),
    ("spacers.csv", b"id,name\rspacer-a,A\r", "csv-broken", 1, None, "line 1"),
    ("spacers.csv", b"id,name\nspacer-a," + b"x" * 10_000_000 + b"\n", "line-too-long", 2, "B", "column B"),
    ("spacers.csv", b"id,name\nspacer-a," + b"x" * 2001 + b"\n", "cell-unreadable", 2, "name", "2000 characters"),
    ("fit.csv", b"id\nx\n", "file-unknown", None, None, "fits.csv"),
    ("fits.xlsx", b"PK", "file-unknown", None, None, "fits.csv"),
    ("datapackage.json", b"{", "descriptor-unreadable", None, None, "datapackage.json"),
    ("datapackage.json", b"[" * 100_000, "descriptor-unreadable", None, None, "datapackage.json"),
    ("datapackage.json", b'{"resources": [{"name": "spacer", "path": "spacer.csv"}]}', "file-unknown", None, None,
     "name the resource spacers"),
    ("sources.csv", b"id,title,kind\nbook-a,Book A,manul\n", "cell-unreadable", 2, "kind", "write manual"),
    ("sources.csv", b"id,title,kind,invented\nbook-a,Book A,manual,TRUE\n", "cell-unreadable", 2, "invented",
     "write true"),
    ("chassis.csv", b"id,maker,name,wheel_sizes\na,b,C,584.0\n", "cell-unreadable", 2, "wheel_sizes", "write 584"),
    ("chassis.csv", b"id,maker,name,wheel_sizes\na,b,C,\"584, 622\"\n", "cell-unreadable", 2, "wheel_sizes",
     "write 584;622"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "content", "rule", "line", "column", "words"),
    BROKEN_CELLS,
    ids=[f"{number}-{case[2]}" for number, case in enumerate(BROKEN_CELLS)],
)
def test_a_fault_is_named_with_its_place(
    tmp_path: Path, name: str, content: bytes, rule: str, line: int | None, column: str | None, words: str
) -> None:
    (tmp_path / "tools.csv").write_text("id,name\ntool-a,Tool A\n")
    (tmp_path / name).write_bytes(content)
    report = check(tmp_path)
    assert not report["accepted"]
    assert [finding["rule"] for finding in report["findings"]] == [rule]
    finding = report["findings"][0]
    assert (finding.get("row"), finding.get("column")) == (line, column)
    assert name in finding["text"]
    assert words in finding["text"] + finding["fix"]
    assert len(finding["text"]) + len(finding["fix"]) + len(finding.get("value", "")) < 600


@pytest.mark.parametrize("name", ["../evil.csv", "/etc/evil.csv", "a/../../evil.csv", "..\\evil.csv", "C:evil.csv"])
def test_a_zip_that_points_outside_is_refused_and_nothing_is_written(tmp_path: Path, name: str) -> None:
    package = _zip(tmp_path / "in" / "package.zip", {name: "id,name\n", "spacers.csv": SPACERS})
    before = sorted(tmp_path.rglob("*"))
    assert _rules(check(package)) == ["entry-unsafe"]
    assert sorted(tmp_path.rglob("*")) == before


def test_links_doubles_and_encrypted_entries_are_refused(tmp_path: Path) -> None:
    link = zipfile.ZipInfo("spacers.csv")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    assert _rules(check(_zip(tmp_path / "link.zip", {link: "/etc/passwd"}))) == ["entry-unsafe"]
    with pytest.warns(UserWarning, match="Duplicate"):
        double = _zip(tmp_path / "double.zip", [("spacers.csv", SPACERS), ("spacers.csv", SPACERS)])
    assert _rules(check(double)) == ["entry-unsafe"]
    raw = bytearray(_zip(tmp_path / "plain.zip", {"spacers.csv": SPACERS}).read_bytes())
    for signature, snapshot in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):  # APPNOTE 4.4.4: bit 0 of the flags
        raw[raw.index(signature) + snapshot] |= 1
    (tmp_path / "locked.zip").write_bytes(raw)
    assert _rules(check(tmp_path / "locked.zip")) == ["entry-unsafe"]
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "spacers.csv").symlink_to("/etc/passwd")
    assert _rules(check(folder)) == ["entry-unsafe"]


def test_a_zip_bomb_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    package = _zip(tmp_path / "bomb.zip", {"spacers.csv": SPACERS + "," * 50_000_000})
    assert package.stat().st_size < 100_000
    assert _rules(check(package)) == ["package-too-large"]
    many = _zip(tmp_path / "many.zip", {f"{number}.csv": "" for number in range(501)})
    assert _rules(check(many)) == ["package-too-large"]


def test_sizes_that_a_zip_lies_about_do_not_help_it(tmp_path: Path) -> None:
    """The directory says 100 bytes, the data unpack to 5 MB: only 100 are read, and the checksum does not match."""
    raw = bytearray(_zip(tmp_path / "lie.zip", {"spacers.csv": SPACERS + "\n" * 5_000_000}).read_bytes())
    snapshot = raw.index(b"PK\x01\x02") + 24  # APPNOTE 4.3.12: uncompressed size
    raw[snapshot : snapshot + 4] = (100).to_bytes(4, "little")
    (tmp_path / "lie.zip").write_bytes(raw)
    assert _rules(check(tmp_path / "lie.zip")) == ["package-unreadable"]


def test_a_package_beyond_the_limit_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "spacers.csv"
    with path.open("wb") as stream:
        stream.truncate(MOST_BYTES + 1)
    assert _rules(check(path)) == ["package-too-large"]


@pytest.mark.parametrize("cut", [30, -150, -5])
def test_a_damaged_zip_is_said_to_be_damaged(tmp_path: Path, cut: int) -> None:
    package = _zip(tmp_path / "package.zip", {"spacers.csv": SPACERS + "".join(f"spacer-{n},A,8\n" for n in range(99))})
    package.write_bytes(package.read_bytes()[:cut])
    assert _rules(check(package)) == ["package-unreadable"]


def test_what_is_not_there_or_holds_no_table_is_said(tmp_path: Path) -> None:
    for path in (tmp_path / "absent", tmp_path):
        assert _rules(check(path)) == ["package-unreadable"]


def test_a_flood_of_faults_is_cut(tmp_path: Path) -> None:
    (tmp_path / "spacers.csv").write_text(SPACERS + "".join(f"spacer-{n},A,x\n" for n in range(50_000)))
    report = check(tmp_path / "spacers.csv")
    assert report["counts"]["rules"] == {"cell-unreadable": 1000, "findings-cut": 1}


def test_what_spreadsheets_write_is_taken_and_stored_in_canonical_form(tmp_path: Path, database: Database) -> None:
    """A byte order mark, CRLF, columns in another order, columns left out, blank lines and empty rows at the end."""
    package = tmp_path / "spacers.csv"
    package.write_bytes(b'\xef\xbb\xbfvolume_ml,name,id\r\n8.20,"A, wide",spacer-a\r\n\r\n,,\r\n')
    report = load(database, package, Entry("test", "tests"))
    assert report["accepted"], report["findings"]
    assert report["rows"] == {"read": 1, "added": 1, "changed": 0, "withdrawn": 0}


def test_a_zipped_folder_reads_as_the_folder(tmp_path: Path) -> None:
    files = {f"demo/{path.name}": path.read_text() for path in SEED_DATA.iterdir()}
    report = check(_zip(tmp_path / "demo.zip", files | {"__MACOSX/demo/._fits.csv": "x"}))
    assert report == check(SEED_DATA)


@pytest.mark.parametrize("replace", [False, True])
def test_one_bad_row_in_ten_thousand_stores_nothing(demo: Database, tmp_path: Path, replace: bool) -> None:
    """The fault is named with its line, and every table is unchanged."""
    before = _counts(demo)
    rows = [f"spacer-{n:05},Spacer {n},8.2" for n in range(10_000)]
    rows[9_000] = "spacer-09000,Spacer 9000,8,2"
    (tmp_path / "spacers.csv").write_text(SPACERS + "\n".join(rows) + "\n")
    report = load(demo, tmp_path, Entry("test", "tests"), replace=replace)
    assert [(finding["rule"], finding["row"]) for finding in report["findings"]] == [("cell-count-wrong", 9_002)]
    assert _counts(demo) == before
    assert Catalogue(demo).answer(lambda snapshot: snapshot.revision) == 1


def _edit(name: str, change: Callable[[dict[str, str]], None]) -> Callable[[Path], None]:
    """Changes the first row of a table of a copy of the demo."""

    def edited(folder: Path) -> None:
        rows = list(csv.DictReader(io.StringIO((folder / name).read_text())))
        change(rows[0])
        with (folder / name).open("w", newline="") as stream:
            writer = csv.DictWriter(stream, rows[0].keys(), lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)

    return edited


def _away(name: str) -> Callable[[Path], None]:
    return lambda folder: (folder / name).unlink()


EDITS: dict[str, Callable[[Path], None]] = {
    "nothing changed": lambda folder: None,
    "a name changed": _edit("makers.csv", lambda row: row.update(name="Another name")),
    "a dangling reference": _edit("fits.csv", lambda row: row.update(spring="no-such-spring")),
    "a wrong unit": _edit("torques.csv", lambda row: row.update(unit="psi")),
    "a negative travel": _edit("fits.csv", lambda row: row.update(travel_mm="-150")),
    "an unreadable cell": _edit("fits.csv", lambda row: row.update(travel_mm="about 150")),
    "a table missing": _away("sources.csv"),
    "a new row": _edit("makers.csv", lambda row: row.update(id="another-maker")),
    "years crossed": _edit("chassis.csv", lambda row: row.update(model_year_from="2030", model_year_to="2020")),
}


@pytest.mark.parametrize("replace", [False, True], ids=["merge", "replace"])
@pytest.mark.parametrize("edit", EDITS.values(), ids=EDITS.keys())
def test_a_check_says_what_a_load_says(
    demo: Database, tmp_path: Path, edit: Callable[[Path], None], replace: bool
) -> None:
    folder = tmp_path / "edited"
    shutil.copytree(SEED_DATA, folder)
    edit(folder)
    said = check(folder, Catalogue(demo), replace=replace)
    done = load(demo, folder, Entry("test", "tests"), replace=replace)
    assert (done["opened"], done["revision"]) in ((True, 2), (False, 1))
    assert said == {**done, "opened": False, "revision": 1}


@pytest.mark.parametrize("replace", [False, True], ids=["merge", "replace"])
@pytest.mark.parametrize("edit", EDITS.values(), ids=EDITS.keys())
def test_a_large_package_is_checked_on_disk_with_the_same_report(
    loaded: Catalogue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, edit: Callable[[Path], None], replace: bool
) -> None:
    folder = _edited(tmp_path, edit)
    in_memory = check(folder, loaded, replace=replace)
    monkeypatch.setattr("app.exchange.loading.IN_MEMORY", 0)
    assert check(folder, loaded, replace=replace) == in_memory


@pytest.mark.parametrize("replace", [False, True], ids=["merge", "replace"])
@pytest.mark.parametrize("edit", EDITS.values(), ids=EDITS.keys())
def test_a_large_change_gets_the_verdict_of_a_small_one(
    loaded: Catalogue, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, edit: Callable[[Path], None], replace: bool
) -> None:
    """It gets a full check, which also reports older warnings that the change leaves alone."""
    folder = _edited(tmp_path, edit)
    small = check(folder, loaded, replace=replace)
    monkeypatch.setattr("app.exchange.judging.MANY", 0)
    large = check(folder, loaded, replace=replace)
    assert large["accepted"] == small["accepted"]
    assert large["counts"]["reject"] == small["counts"]["reject"]
    assert all(finding in large["findings"] for finding in small["findings"])
    with loaded.snapshot() as snapshot:
        stood = {(each.rule, each.table, each.id) for each in judge_all(snapshot, datetime.now(UTC).date())}
    for finding in large["findings"]:
        if finding not in small["findings"]:
            assert finding["severity"] == "warn"
            assert (finding["rule"], finding.get("table"), finding.get("id")) in stood


def _edited(tmp_path: Path, edit: Callable[[Path], None]) -> Path:
    folder = tmp_path / "edited"
    shutil.copytree(SEED_DATA, folder)
    edit(folder)
    return folder


def _rules(report: object) -> list[str]:
    assert isinstance(report, dict)
    assert not report["accepted"]
    return [finding["rule"] for finding in report["findings"]]


def _counts(database: Database) -> dict[str, int]:
    with database.read() as connection:
        assert latest(connection) == 1
        return {name: len(connection.execute(table.select()).fetchall()) for name, table in CATALOGUE.tables.items()}


def _zip(path: Path, files: object) -> Path:
    path.parent.mkdir(exist_ok=True)
    entries = files.items() if isinstance(files, dict) else files
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in entries:  # type: ignore[attr-defined]
            archive.writestr(name, content)
    return path
