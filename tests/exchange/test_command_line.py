"""The command line: its output, its exit codes, and its commands run as a child of a serving worker."""

import asyncio
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.cli import main
from app.database.connections import Database
from app.errors import Conflict, Unavailable
from app.exchange import child
from app.settings import Settings
from tests.conftest import SEED_DATA
from tests.exchange.planted import plant, true_package, write


@pytest.fixture(autouse=True)
def _shop_beside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LEGWORK_SHOP_DATABASE_URL", f"sqlite:///{tmp_path / 'shop.db'}")


class Called:
    """One call in this process: exit code, standard output, standard error."""

    def __init__(self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        self.capsys = capsys
        self.monkeypatch = monkeypatch

    def __call__(self, *arguments: str) -> tuple[int, str, str]:
        self.monkeypatch.setattr(sys, "argv", ["legwork", *arguments])
        with pytest.raises(SystemExit) as ended:
            main()
        said = self.capsys.readouterr()
        code = ended.value.code
        return (code if isinstance(code, int) else 0), said.out, said.err

    def json(self, *arguments: str) -> dict[str, Any]:
        code, out, err = self(*arguments, "--json")
        assert err == ""
        answer: dict[str, Any] = json.loads(out)
        assert code == (0 if answer.get("accepted", "refused" not in answer) else 1)
        return answer


@pytest.fixture
def legwork(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Called:
    return Called(capsys, monkeypatch)


def test_a_package_goes_in_and_comes_out(legwork: Called, database_url: str, tmp_path: Path) -> None:
    to = ("--database", database_url)
    checked = legwork.json("check", str(SEED_DATA), *to)
    assert (checked["accepted"], checked["opened"], checked["revision"]) == (True, False, 0)
    loaded = legwork.json("load", str(SEED_DATA), *to, "--reason", "the demo")
    assert (loaded["opened"], loaded["revision"]) == (True, 1)
    assert loaded["rows"] == checked["rows"]
    assert legwork.json("load", str(SEED_DATA), *to)["opened"] is False
    assert legwork.json("export", str(tmp_path / "out.zip"), *to) == {"revision": 1, "rows": loaded["rows"]["read"]}
    assert legwork.json("check", str(tmp_path / "out.zip"), *to)["accepted"]
    again = legwork.json("export", str(tmp_path / "out.zip"), *to)
    assert again["refused"]["kind"] == "Conflict"
    code, out, err = legwork("export", str(tmp_path / "out.zip"), *to)
    assert (code, out, err.count("\n")) == (1, "", 1)
    database = Database(database_url)
    with database.read() as connection:
        rows = connection.exec_driver_sql("SELECT number, reason, who FROM revisions").fetchall()
    assert [tuple(row) for row in rows] == [(1, "the demo", "command line")]
    database.close()


def test_a_refused_package_is_said_in_lines_that_lead_to_it(legwork: Called, tmp_path: Path) -> None:
    (tmp_path / "spacers.csv").write_text("id,name,volume_ml\nspacer-a,Spacer A,7;3\n")
    code, out, _ = legwork("check", str(tmp_path / "spacers.csv"), "--database", str(tmp_path / "absent.db"))
    assert code == 1
    assert "spacers.csv line 2, column C (volume_ml)" in out
    assert "Refused; nothing is stored." in out
    assert not (tmp_path / "absent.db").exists()


def test_a_rule_points_at_the_line_of_the_row_it_judges(legwork: Called, tmp_path: Path) -> None:
    (tmp_path / "spacers.csv").write_text("name,id,volume_ml\nA,spacer-a,8\nB,spacer-b,-8\n")
    answer = legwork.json("check", str(tmp_path / "spacers.csv"), "--database", str(tmp_path / "absent.db"))
    (finding,) = answer["findings"]
    assert (finding["rule"], finding["row"], finding["value"]) == ("figure-not-positive", 3, "-8")
    assert finding["text"].startswith("spacers.csv line 3, column C (volume_ml): ")


def test_the_template_checks_clean_and_is_not_written_over(legwork: Called, tmp_path: Path) -> None:
    assert legwork.json("template", str(tmp_path / "new"))
    to = ("--database", str(tmp_path / "absent.db"))
    assert legwork.json("check", str(tmp_path / "new"), *to)["rows"]["read"] == 0
    assert legwork.json("template", str(tmp_path / "new"))["refused"]["kind"] == "Conflict"


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"", ""), (b"not a database at all, but long enough to be looked at" * 20, "database")],
    ids=["empty", "garbage"],
)
def test_a_database_that_is_none_is_refused_in_one_line(
    legwork: Called, tmp_path: Path, content: bytes, words: str
) -> None:
    """An empty file counts as a database without tables; any other file that is not a database is left alone."""
    path = tmp_path / "some.db"
    path.write_bytes(content)
    code, _, err = legwork("migrate", "--database", str(path))
    assert code == (1 if words else 0)
    assert words in err
    assert err.count("\n") == (1 if words else 0)
    assert not words or path.read_bytes() == content


def test_a_wrong_setting_is_named(legwork: Called, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LEGWORK_PORT", "many")
    code, _, err = legwork("serve")
    assert code == 1
    assert "LEGWORK_PORT" in err
    assert err.count("\n") == 1


def test_python_dash_m_is_the_same_command(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "app", "check", str(SEED_DATA), "--json", "--database", str(tmp_path / "absent.db")],
        capture_output=True, text=True, timeout=120, cwd=SEED_DATA.parent, check=True,
    )  # fmt: skip
    assert json.loads(done.stdout)["accepted"]


def test_a_child_answers_for_a_serving_worker_and_ends_with_it(demo_url: str, tmp_path: Path) -> None:
    settings = Settings(database_url=demo_url, shop_database_url=f"sqlite:///{tmp_path / 'shop.db'}")
    report = asyncio.run(child.run(settings, "check", str(SEED_DATA), timeout_s=120))
    assert report["accepted"]
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "file").write_text("")
    with pytest.raises(Conflict, match="there already"):
        asyncio.run(child.run(settings, "export", str(tmp_path / "there"), timeout_s=120))
    with pytest.raises(Unavailable, match="longer than"):
        asyncio.run(child.run(settings, "load", str(SEED_DATA), "--replace", timeout_s=0.05))
    database = Database(demo_url)
    assert Catalogue(database).answer(lambda snapshot: snapshot.revision) == 1
    database.close()
    assert os.listdir(tmp_path / "there") == ["file"]


def test_a_shared_database_without_its_tables_is_not_served(
    legwork: Called, fresh_server_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Several machines serve one PostgreSQL: none of them may migrate it in passing."""
    code, _, err = legwork("serve", "--port", "0", "--database", fresh_server_url)
    assert (code, err) == (1, "the schema of the catalogue database is empty; run: legwork migrate\n")
    assert legwork("migrate", "--database", fresh_server_url)[0] == 0
    served: list[object] = []
    monkeypatch.setattr("app.web.server.server.run", lambda settings, app: served.append(app))
    legwork("serve", "--port", "0", "--database", fresh_server_url)
    assert len(served) == 1


@pytest.mark.parametrize("form", ["folder", "zip", "one file"])
def test_a_folder_a_zip_and_one_file_are_checked_alike(legwork: Called, tmp_path: Path, form: str) -> None:
    folder = tmp_path / "package"
    folder.mkdir()
    typed = true_package()
    plant(typed)
    write(typed, folder)
    given = folder if form == "folder" else folder / "fits.csv"
    if form == "zip":
        given = Path(shutil.make_archive(str(tmp_path / "package"), "zip", folder))
    code, out, err = legwork("check", str(given), "--database", str(tmp_path / "absent.db"))
    assert (code, err) == (1, "")
    assert "fits.csv line 1, column R: fits has no column “spacers max”\n    column-unknown: call it" in out
    assert ("sources.csv line 5, column G (published_on)" in out) is (form != "one file")
    assert out.endswith("Refused; nothing is stored.\n")
