"""The common orders of work: which package brings them, and what `legwork orders` adds, renews and leaves alone."""

import asyncio
import shutil
import subprocess
from collections.abc import Callable
from contextlib import ExitStack
from datetime import date
from pathlib import Path
from types import MappingProxyType

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.content_hash import content_hash, digest_of
from app.catalogue.tables import Procedure, Row, Source, Step, Tool
from app.database.connections import Database
from app.exchange import loading, renewing
from app.exchange.common_orders import ORDERS, common_orders, shipped
from app.exchange.loading import Entry, check, load
from app.exchange.mirror import follow
from app.exchange.renewing import renew
from app.exchange.writer import export
from tests.api.asking import asking
from tests.conftest import SEED_DATA, Fresh
from tests.exchange.serving import serving
from tests.exchange.test_command_line import Called
from tests.exchange.test_mirror import of
from tests.house.tour import BLOCK, OWN_DATA, steps
from tests.questions.storing import store

JOBS = {
    "travel-change": "from_travel=140&to_travel=150", "spacer-change": "travel=150&spacers=2",
    "lower-leg-service": "travel=150", "full-service": "travel=150",
}  # fmt: skip
TODAY = date(2026, 11, 27)
ENTRY = Entry("orders", "tests")
ROWS = sum(len(rows) for rows in common_orders().values())
ADDED = {"procedures": 4, "rows": ROWS}


@pytest.fixture
def ten_lines(tmp_path: Path) -> Path:
    """The package of the ten lines with which the page on own data begins, its one fault corrected as there."""
    commands = [command for block in BLOCK.findall(OWN_DATA.read_text()) for command, _ in steps(block)]
    for command in commands:
        if command.startswith(("mkdir", "printf", "sed -i")):
            subprocess.run(["bash", "-c", command], cwd=tmp_path, check=True)
    return tmp_path / "mine"


def hash_of(database: Database) -> str:
    with Catalogue(database).snapshot() as snapshot:
        return content_hash(snapshot)


def rows_of(database: Database, table: type[Row]) -> dict[str, Row]:
    with Catalogue(database).snapshot() as snapshot:
        return {row.id: row for row in snapshot.all(table)}


def test_the_orders_are_a_package_without_a_finding() -> None:
    report = check(ORDERS)
    assert report["findings"] == []
    assert report["rows"]["read"] == ROWS
    for table, rows in common_orders().items():
        if table is not Source:
            assert all(row.id.startswith("common-") and row["source"] == "common-practice" for row in rows)
    (source,) = common_orders()[Source]
    assert (source["kind"], source["invented"]) == ("common practice", None)
    assert {row["job"] for row in common_orders()[Procedure]} == set(JOBS)


def test_every_version_that_this_build_ships_is_on_record() -> None:
    """Otherwise run `python -m app.exchange.common_orders`."""
    for table, rows in common_orders().items():
        for row in rows:
            assert digest_of(row) in shipped()[table.table, row.id], row.id


def test_a_shops_first_ten_lines_answer_every_job(database: Database, ten_lines: Path) -> None:
    assert load(database, ten_lines, ENTRY, orders=True)["accepted"]

    async def ask() -> None:
        async with asking(database) as client:
            for job, given in JOBS.items():
                address = f"/v1/chassis/our-fork/job-card?job={job}&{given}"
                answer = await client.get(address)
                assert answer.status_code == 200, answer.text
                assert answer.json()["procedure"]["id"] == f"common-{job}"
                page = await client.get(address, headers={"Accept": "text/html"})
                text = await client.get(f"/v1/chassis/our-fork/job-card.txt?job={job}&{given}")
                for shown in (page, text):
                    assert shown.status_code == 200
                    said = shown.text.replace("&#39;", "'")
                    assert "Order of work: common practice; the maker's manual prevails." in said
                    assert "invented" not in shown.text

    asyncio.run(ask())


def test_only_a_first_package_without_orders_gets_them(fresh_database: Fresh, ten_lines: Path, tmp_path: Path) -> None:
    with fresh_database("sqlite", False) as url:
        database = Database(url)
        checked = check(ten_lines, Catalogue(database), orders=True)
        loaded = load(database, ten_lines, ENTRY, orders=True)
        assert checked["orders"] == loaded["orders"] == ADDED
        assert checked["rows"] == loaded["rows"] == {"read": 10, "added": 10, "changed": 0, "withdrawn": 0}
        assert checked["counts"] == loaded["counts"]
        (tmp_path / "makers.csv").write_text("id,name\nanother,Another\n")
        assert "orders" not in load(database, tmp_path / "makers.csv", ENTRY, orders=True)
        database.close()
    for given in ({"orders": False}, {"orders": True, "replace": True}):
        with fresh_database("sqlite", False) as url:
            database = Database(url)
            assert "orders" not in check(ten_lines, **given)
            assert "orders" not in load(database, ten_lines, ENTRY, **given)
            assert rows_of(database, Procedure) == {}
            database.close()
    with fresh_database("sqlite", False) as url:
        database = Database(url)
        assert "orders" not in load(database, SEED_DATA, ENTRY, orders=True)
        assert not any(id.startswith("common-") for id in rows_of(database, Procedure))
        database.close()


def test_a_large_package_is_checked_on_disk_with_the_same_count(
    ten_lines: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    in_memory = check(ten_lines, orders=True)
    monkeypatch.setattr(loading, "IN_MEMORY", 1)
    assert check(ten_lines, orders=True) == in_memory


def test_rows_that_the_package_has_are_not_overwritten(database: Database, ten_lines: Path) -> None:
    (ten_lines / "tools.csv").write_text("id,name,drive\nhex-5,Hex key 5 mm,hex 5 mm\ncommon-pick,Our own pick,\n")
    report = load(database, ten_lines, ENTRY, orders=True)
    assert report["accepted"], report["findings"]
    assert report["orders"] == {"procedures": 4, "rows": ROWS - 1}
    assert rows_of(database, Tool)["common-pick"]["name"] == "Our own pick"


def test_a_faulty_package_brings_no_orders(database: Database, ten_lines: Path) -> None:
    subprocess.run(["sed", "-i", "s/,8.2,/,82,/", str(ten_lines / "torques.csv")], check=True)
    assert not load(database, ten_lines, ENTRY, orders=True)["accepted"]
    assert rows_of(database, Procedure) == {}


@pytest.mark.parametrize("orders", [True, False])
def test_an_export_and_a_copy_have_what_their_origin_has(
    fresh_database: Fresh, ten_lines: Path, tmp_path: Path, orders: bool
) -> None:
    with ExitStack() as stack:
        source, copy, again = (Database(stack.enter_context(fresh_database("sqlite", False))) for _ in range(3))
        load(source, ten_lines, ENTRY, orders=orders)
        with serving(source, tmp_path) as (address, _), of(address) as origin:
            assert follow(copy, origin) == 1
        with Catalogue(source).snapshot() as snapshot:
            export(snapshot, 1, tmp_path / "out")
        assert "orders" not in load(again, tmp_path / "out", ENTRY, replace=True, orders=True)
        assert hash_of(copy) == hash_of(source) == hash_of(again)
        assert len(rows_of(copy, Procedure)) == (4 if orders else 0)
        for database in (source, copy, again):
            database.close()


@pytest.mark.parametrize(("asked", "orders"), [("", ADDED), ("?orders=none", None)])
def test_a_check_over_http_counts_them_unless_they_are_declined(
    database: Database, ten_lines: Path, tmp_path: Path, asked: str, orders: object
) -> None:
    package = Path(shutil.make_archive(str(tmp_path / "mine"), "zip", ten_lines))
    with serving(database, tmp_path) as (address, _):
        headers = {"Content-Type": "application/zip"}
        answer = httpx.post(f"{address}/v1/checks{asked}", content=package.read_bytes(), headers=headers, timeout=60)
    assert answer.status_code == 200, answer.text
    assert answer.json().get("orders") == orders


def test_they_are_added_later_and_then_there_is_nothing_to_change(database: Database, ten_lines: Path) -> None:
    load(database, ten_lines, ENTRY)
    done = renew(database, ENTRY, TODAY)
    assert done.answer == {"added": ROWS, "renewed": 0, "withdrawn": 0, "kept": [], "revision": 2, "opened": True}
    assert f"{ROWS} added, 0 renewed, 0 withdrawn" in done.text
    again = renew(database, ENTRY, TODAY)
    assert (again.answer["revision"], again.answer["opened"]) == (2, False)
    assert "Nothing to change." in again.text


def test_a_catalogue_with_its_own_orders_can_have_them_too(demo: Database) -> None:
    assert renew(demo, ENTRY, TODAY).answer["added"] == ROWS


Reissue = Callable[[dict[str, str | None]], None]


@pytest.fixture
def reissue(monkeypatch: pytest.MonkeyPatch) -> Reissue:
    """Makes this an earlier build: the next one has other texts for some steps, by id; None drops the step."""

    def later(texts: dict[str, str | None]) -> None:
        now = dict(common_orders())
        changed = {row.id: row.replaced(text=texts[row.id]) for row in now[Step] if texts.get(row.id) is not None}
        now[Step] = tuple(changed.get(row.id, row) for row in now[Step] if texts.get(row.id, "") is not None)
        known = {key: {*each} for key, each in shipped().items()}
        for row in changed.values():
            known["steps", row.id].add(digest_of(row))
        monkeypatch.setattr(renewing, "common_orders", lambda: MappingProxyType(now))
        monkeypatch.setattr(renewing, "shipped", lambda: known)

    return later


def test_rows_as_an_earlier_build_shipped_them_are_renewed_and_changed_ones_stay(
    database: Database, ten_lines: Path, reissue: Reissue
) -> None:
    load(database, ten_lines, ENTRY, orders=True)
    ids = [row.id for row in common_orders()[Step][:7]]
    untouched, ours, left_out, dropped, ours_dropped, tool_step, _ = ids
    before = rows_of(database, Step)
    store(
        database,
        [before[id].replaced(text="Do it our way.") for id in (ours, ours_dropped)],
        [before[left_out]],
    )
    reissue({untouched: "Newer words.", ours: "Newer words.", dropped: None, ours_dropped: None})
    done = renew(database, ENTRY, TODAY)
    assert done.answer["renewed"] == 1
    assert done.answer["withdrawn"] == 1
    assert done.answer["added"] == 0
    assert sorted(done.answer["kept"]) == sorted([ours, left_out, ours_dropped])
    now = rows_of(database, Step)
    assert now[untouched]["text"] == "Newer words."
    assert now[ours]["text"] == now[ours_dropped]["text"] == "Do it our way."
    assert not {left_out, dropped} & now.keys()
    assert now[tool_step].cells() == before[tool_step].cells()
    assert renew(database, ENTRY, TODAY).answer["opened"] is False


def test_an_order_that_was_withdrawn_as_a_whole_comes_back(database: Database, ten_lines: Path) -> None:
    load(database, ten_lines, ENTRY, orders=True)
    gone = [row for row in rows_of(database, Step).values() if row["procedure"] == "common-spacer-change"]
    store(database, withdrawn=[*gone, rows_of(database, Procedure)["common-spacer-change"]])
    assert renew(database, ENTRY, TODAY).answer["added"] == len(gone) + 1


def test_the_command_line_says_so(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, ten_lines: Path, tmp_path: Path
) -> None:
    monkeypatch.setenv("LEGWORK_SHOP_DATABASE_URL", f"sqlite:///{tmp_path / 'shop.db'}")
    legwork = Called(capsys, monkeypatch)
    to = ("--database", str(tmp_path / "legwork.db"))
    added = f"4 orders of work for any fork ({ROWS} rows) come with it, common practice of the trade."
    for command in ("check", "load"):
        _, out, _ = legwork(command, str(ten_lines), *to)
        assert added in out
        assert "10 rows read: 10 new, 0 changed, 0 withdrawn; 0 faults, 2 warnings." in out
    assert legwork.json("orders", *to)["opened"] is False
    other = ("--database", str(tmp_path / "other.db"))
    assert "come with it" not in legwork("load", str(ten_lines), "--no-orders", *other)[1]
    assert legwork.json("orders", *other)["added"] == ROWS
