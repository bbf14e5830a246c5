"""A restore gives back what was backed up; damaged, foreign or newer backups are refused without losing anything."""

import json
import os
import random
import shutil
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import pytest

from app.database.connections import Database
from app.errors import Malformed
from app.operating.backup import take
from app.operating.manifest import FORMAT_VERSION, MANIFEST, SUMS, Manifest, checked, seal, unpacked
from tests.operate.conftest import Called

FLIPS = int(os.environ.get("LEGWORK_TEST_FLIPS", "60"))


@pytest.fixture
def backup(fresh: tuple[Database, Database], tmp_path: Path) -> Path:
    take(*fresh, tmp_path / "backup")
    return tmp_path / "backup"


@pytest.fixture
def target(tmp_path: Path) -> dict[str, str]:
    """Settings of an empty place."""
    return {f"{which}database_url": f"sqlite:///{tmp_path}/new/{which}x.db" for which in ("", "shop_")}


def test_no_flipped_bit_of_a_folder_passes(backup: Path) -> None:
    chance = random.Random(41)
    files = sorted(backup.iterdir())
    assert {file.name for file in files} == {"catalogue.db", "shop.db", MANIFEST, SUMS}
    for number in range(FLIPS):
        file = files[number % len(files)]
        whole = file.read_bytes()
        flip(file, chance)
        with pytest.raises(Malformed, match="nothing was restored"):
            checked(backup, backup)
        file.write_bytes(whole)
    checked(backup, backup)


def test_a_flipped_bit_of_a_zip_is_refused_or_changes_nothing_that_is_kept(
    fresh: tuple[Database, Database], tmp_path: Path
) -> None:
    """A zip has fields that do not affect its contents, such as the dates of its entries."""
    chance = random.Random(43)
    path = tmp_path / "backup.zip"
    take(*fresh, path)
    whole = path.read_bytes()
    with unpacked(path, tmp_path) as folder:
        kept = {file.name: file.read_bytes() for file in folder.iterdir()}
    refused = 0
    for _ in range(FLIPS):
        flip(path, chance)
        try:
            with unpacked(path, tmp_path) as folder:
                checked(folder, path)
                assert {file.name: file.read_bytes() for file in folder.iterdir()} == kept
        except Malformed:
            refused += 1
        path.write_bytes(whole)
    assert refused > FLIPS // 2


@pytest.mark.parametrize("name", ["catalogue.db", "shop.db", MANIFEST, SUMS])
@pytest.mark.parametrize("share", [0.0, 0.5, 0.999])
def test_what_is_cut_off_is_refused_in_one_line(
    backup: Path, legwork: Called, target: dict[str, str], name: str, share: float
) -> None:
    file = backup / name
    os.truncate(file, int(file.stat().st_size * share))
    assert_refused(legwork("restore", str(backup), **target), target, "")


@pytest.mark.parametrize("size", [0, 100, 60_000])
def test_a_zip_that_is_cut_off_is_refused(
    fresh: tuple[Database, Database], tmp_path: Path, legwork: Called, target: dict[str, str], size: int
) -> None:
    take(*fresh, tmp_path / "b.zip")
    os.truncate(tmp_path / "b.zip", size)
    assert_refused(legwork("restore", str(tmp_path / "b.zip"), **target), target, "is not a backup, or is damaged")


def test_what_is_no_backup_is_refused(
    fresh: tuple[Database, Database], tmp_path: Path, legwork: Called, target: dict[str, str]
) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "text.zip").write_text("no zip")
    with zipfile.ZipFile(tmp_path / "other.zip", "w") as zipped:
        zipped.writestr("../outside", "x")
    with zipfile.ZipFile(tmp_path / "package.zip", "w") as zipped:
        zipped.writestr("chassis.csv", "id\n")
    database = fresh[0].path
    assert database is not None
    for each in ("empty", "text.zip", "other.zip", "package.zip", str(database)):
        assert_refused(legwork("restore", str(tmp_path / each), **target), target, "is not a backup")
    assert_refused(legwork("restore", str(tmp_path / "absent"), **target), target, "there is nothing at")
    assert not (tmp_path.parent / "outside").exists()


def test_one_of_a_newer_build_is_refused_whether_it_says_so_or_not(
    backup: Path, legwork: Called, target: dict[str, str]
) -> None:
    honest = Manifest.model_validate_json((backup / MANIFEST).read_text())
    newer = honest.catalogue.model_copy(update={"schema_version": "9999"})
    seal(backup, honest.model_copy(update={"catalogue": newer}))
    assert_refused(legwork("restore", str(backup), **target), target, "made by a newer build")
    seal(backup, honest.model_copy(update={"format_version": FORMAT_VERSION + 1}))
    assert_refused(legwork("restore", str(backup), **target), target, "made by a newer build")
    with closing(sqlite3.connect(backup / "shop.db")) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    seal(backup, honest)
    assert_refused(legwork("restore", str(backup), **target), target, "made by a newer build")


def test_a_backup_whose_hash_was_defined_otherwise_is_restored_by_its_sums(
    backup: Path, legwork: Called, target: dict[str, str]
) -> None:
    honest = Manifest.model_validate_json((backup / MANIFEST).read_text())
    older = honest.catalogue.model_copy(update={"content_hash": "0" * 64})
    seal(backup, honest.model_copy(update={"catalogue": older, "format_version": 1}))
    code, out, err = legwork("restore", str(backup), "--json", **target)
    assert (code, err) == (0, "")
    assert json.loads(out)["content_hash"] is None


def test_sums_that_are_right_do_not_pass_a_catalogue_that_is_another(
    backup: Path, legwork: Called, target: dict[str, str]
) -> None:
    """The content hash is computed again, whatever the checksums say."""
    honest = Manifest.model_validate_json((backup / MANIFEST).read_text())
    with closing(sqlite3.connect(backup / "catalogue.db")) as connection, connection:
        connection.execute("UPDATE torques SET page = page || '1' WHERE id = 'torque-raddle-37-axle'")
    seal(backup, honest)
    assert_refused(legwork("restore", str(backup), **target), target, "content hash differs")


def test_nothing_that_is_there_is_written_over_unless_told_to_nor_while_it_is_in_use(
    backup: Path, fresh: tuple[Database, Database], legwork: Called
) -> None:
    catalogue, shop = fresh
    assert catalogue.path is not None
    here = {"database_url": f"sqlite:///{catalogue.path}", "shop_database_url": f"sqlite:///{shop.path}"}
    with catalogue.write() as connection:
        connection.exec_driver_sql("UPDATE makers SET name = 'written since'")
    with catalogue.read() as connection:  # in use from here on
        connection.exec_driver_sql("SELECT count(*) FROM makers").scalar()
    code, _, err = legwork("restore", str(backup), **here)
    assert (code, err.count("\n")) == (1, 1)
    assert "--replace" in err
    code, _, err = legwork("restore", str(backup), "--replace", **here)
    assert (code, err) == (1, f"{catalogue.path} is in use: stop the service first; nothing was restored\n")
    assert names(catalogue.path) == {"written since"}
    catalogue.close()
    shop.close()
    code, _, err = legwork("restore", str(backup), "--replace", **here)
    assert (code, err) == (0, "")
    assert "written since" not in names(catalogue.path)
    assert [each.name for each in catalogue.path.parent.iterdir() if ".part" in each.name] == []


def test_a_damaged_database_is_replaced_and_an_old_log_beside_it_is_not_read(
    backup: Path, fresh: tuple[Database, Database], legwork: Called, tmp_path: Path
) -> None:
    place = tmp_path / "left"
    place.mkdir()
    catalogue = fresh[0]
    assert catalogue.path is not None
    reader = sqlite3.connect(catalogue.path)
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM makers").fetchone()
    with catalogue.write() as connection:
        connection.exec_driver_sql("UPDATE makers SET name = 'of the log'")
    shutil.copy(f"{catalogue.path}-wal", place / "x.db-wal")
    reader.close()
    (place / "x.db").write_bytes(b"damaged" * 5_000)
    settings = {"database_url": f"sqlite:///{place}/x.db", "shop_database_url": f"sqlite:///{place}/y.db"}
    code, _, err = legwork("restore", str(backup), "--replace", **settings)
    assert (code, err) == (0, "")
    assert "of the log" not in names(place / "x.db")
    assert sorted(each.name for each in place.iterdir() if each.suffix in (".db", "")) == ["x.db", "y.db"]


def test_json_says_the_same(backup: Path, legwork: Called, target: dict[str, str]) -> None:
    manifest = json.loads((backup / MANIFEST).read_text())
    code, out, _ = legwork("restore", str(backup), "--json", **target)
    said = {name: manifest["catalogue"][name] for name in ("revision", "content_hash")}
    assert (code, json.loads(out)) == (0, {**said, "taken_at": manifest["taken_at"]})
    code, out, err = legwork("restore", str(backup), "--json", **target)
    assert (code, json.loads(out)["refused"]["kind"], err) == (1, "Conflict", "")


def assert_refused(said: tuple[int, str, str], target: dict[str, str], words: str) -> None:
    """Exit code 1, one line, and nothing new in the target."""
    code, out, err = said
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert words in err
    assert "Traceback" not in err
    place = Path(target["database_url"].removeprefix("sqlite:///")).parent
    assert not place.exists() or list(place.iterdir()) == []


def flip(file: Path, chance: random.Random) -> None:
    """Flips one bit of a file, anywhere."""
    content = bytearray(file.read_bytes())
    content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
    file.write_bytes(content)


def names(path: Path) -> set[str]:
    with closing(sqlite3.connect(path)) as connection:
        return {name for (name,) in connection.execute("SELECT name FROM makers")}
