"""Faults of the database file under a running service: reported by `/readyz` and 503, and over once it is fixed."""

import asyncio
import io
import json
import os
import shutil
import sqlite3
import threading
from collections.abc import Callable
from contextlib import ExitStack, closing
from pathlib import Path

import httpx
import pytest

from app.access import keys
from app.catalogue.catalogue import Catalogue
from app.cli.opened import make_current
from app.database.connections import Database
from app.errors import Unavailable
from app.main import create_app
from app.settings import Settings
from tests.api.writing import TORQUE, put
from tests.operate.conftest import Called
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio
PAGE = 4096
FITS = "/v1/chassis/quembry-trivet-35/fits?travel=150"
OTHER_FITS = "/v1/chassis/tarnoch-raddle-37/fits?travel=150"
"""For rows that the first question does not read: SQLite caches the pages that it has read."""


def lost(path: Path) -> None:
    for each in path.parent.glob(f"{path.name}*"):
        each.unlink()


def lost_and_now_empty(path: Path) -> None:
    lost(path)
    path.write_bytes(b"")


def emptied(path: Path) -> None:
    os.truncate(path, 0)


def cut_off(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 2 // PAGE * PAGE)


def garbage_in_its_pages(path: Path) -> None:
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(PAGE)
        file.write(os.urandom(size - PAGE))


def garbage_in_its_first_page(path: Path) -> None:
    with path.open("r+b") as file:
        file.write(os.urandom(PAGE))


def of_a_newer_build(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")


LOOKUPS_GO_ON = {garbage_in_its_first_page, of_a_newer_build}
FAULTS = [
    lost, lost_and_now_empty, emptied, cut_off, garbage_in_its_pages, garbage_in_its_first_page, of_a_newer_build,
]  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
async def test_a_fault_under_a_running_service_is_reported_and_over_when_fixed(
    fresh: tuple[Database, Database], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: Callable[[Path], None]
) -> None:
    """A newer schema, or a first page that is read only once, does not stop correct answers."""
    monkeypatch.setattr("app.database.connections.LOOK_S", 0.0)
    catalogue, shop = fresh
    path = catalogue.path
    assert path is not None
    token = keys.add(shop, "bench 1", ["edit", "bench"]).token
    settings = Settings(
        allowed_hosts=["t.test"], database_url=f"sqlite:///{path}", shop_database_url=shop.url.render_as_string()
    )
    log = io.StringIO()
    app = create_app(settings, Catalogue(catalogue), shop, log_to=log)
    headers = {"Authorization": f"Bearer {token}"}
    transport = httpx.ASGITransport(app)
    async with httpx.AsyncClient(transport=transport, base_url="http://t.test", headers=headers, timeout=60) as client:
        before = (await client.get(FITS)).content
        statement = await client.get(f"/v1/torques/{TORQUE}")
        shutil.copy(path, tmp_path / "whole.db")
        fault(path)
        assert (await client.get("/healthz")).status_code == 200
        refused = await client.get("/readyz")
        assert_problem(refused, 503)
        assert refused.headers["retry-after"] == "5"
        asked = await client.get(OTHER_FITS)
        if fault in LOOKUPS_GO_ON:
            assert asked.status_code == 200
        else:
            assert_problem(asked, 503)
        if fault is not of_a_newer_build:
            edit = put({**statement.json()["row"], "page": "99"})
            tag = {"If-Match": statement.headers["etag"]}
            assert_problem(await client.put(f"/v1/statements/{TORQUE}", json=edit, headers=tag), 503)
        assert str(path) not in refused.text + asked.text
        assert "Traceback" not in log.getvalue()
        assert path.exists() == (fault is not lost), "an empty database was made in place of the one that is lost"
        fix(path, tmp_path / "whole.db")
        assert (await client.get("/readyz")).status_code == 200
        assert (await client.get(FITS)).content == before


def fix(path: Path, whole: Path) -> None:
    """Like a restore: a new file replaces the old one, and no log of the old one may be applied to it."""
    for each in path.parent.glob(f"{path.name}-*"):
        each.unlink()
    beside = path.with_name("beside.db")
    shutil.copy(whole, beside)
    beside.replace(path)


@pytest.mark.parametrize("fault", [cut_off, garbage_in_its_pages, garbage_in_its_first_page, of_a_newer_build])
@pytest.mark.parametrize("command", ["serve", "migrate"])
def test_a_service_does_not_start_on_what_it_cannot_use(
    fresh: tuple[Database, Database], legwork: Called, fault: Callable[[Path], None], command: str
) -> None:
    catalogue, shop = fresh
    assert catalogue.path is not None
    catalogue.close()
    fault(catalogue.path)
    content = catalogue.path.read_bytes()
    port = ["--port", "0"] if command == "serve" else []
    code, out, err = legwork(
        command, *port, database_url=f"sqlite:///{catalogue.path}", shop_database_url=shop.url.render_as_string()
    )
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert str(catalogue.path) in err
    assert catalogue.path.read_bytes() == content


async def test_a_large_file_is_looked_through_beside_the_service(
    fresh: tuple[Database, Database], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last page is garbage that no lookup reads; only a check of the whole file finds it."""
    monkeypatch.setattr("app.database.connections.LOOKED_THROUGH_FIRST", 0)
    monkeypatch.setattr("app.database.connections.LOOK_S", 0.0)
    monkeypatch.setattr("app.web.server.integrity_check.AFTER_SECONDS", 0.0)
    catalogue, shop = fresh
    path = catalogue.path
    assert path is not None
    make_current(shop, "shop")
    catalogue.close()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    shutil.copy(path, tmp_path / "whole.db")
    with path.open("r+b") as file:
        file.seek(-PAGE, os.SEEK_END)
        file.write(os.urandom(PAGE))
    make_current(catalogue, "catalogue")
    log = io.StringIO()
    app = create_app(Settings(allowed_hosts=["t.test"]), Catalogue(catalogue), shop, log_to=log)
    transport = httpx.ASGITransport(app)
    async with (
        app.router.lifespan_context(app),
        httpx.AsyncClient(transport=transport, base_url="http://t.test") as client,
    ):
        refused = await client.get("/readyz")
        for _ in range(500):
            if refused.status_code == 503:
                break
            await asyncio.sleep(0.02)
            refused = await client.get("/readyz")
        assert_problem(refused, 503)
        assert "damaged" in refused.text
        assert str(path) not in refused.text
        with pytest.raises(Unavailable, match="damaged"), catalogue.write():
            pytest.fail("a damaged file was written into")
        (said,) = [json.loads(line) for line in log.getvalue().splitlines() if '"damaged"' in line]
        assert said["database"] == str(path)
        assert (await client.get(FITS)).status_code == 200
        fix(path, tmp_path / "whole.db")
        assert (await client.get("/readyz")).status_code == 200
        with catalogue.write():
            pass


@pytest.mark.parametrize("fault", [garbage_in_its_first_page, of_a_newer_build])
def test_a_large_file_that_cannot_be_read_is_refused_at_once(
    fresh: tuple[Database, Database], monkeypatch: pytest.MonkeyPatch, fault: Callable[[Path], None]
) -> None:
    monkeypatch.setattr("app.database.connections.LOOKED_THROUGH_FIRST", 0)
    catalogue, _ = fresh
    assert catalogue.path is not None
    catalogue.close()
    fault(catalogue.path)
    with pytest.raises(Unavailable, match=catalogue.path.name):
        make_current(catalogue, "catalogue")


def test_a_locked_database_is_said_to_be(
    fresh: tuple[Database, Database], legwork: Called, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.database.migrating.WAIT_S", 1)
    catalogue, shop = fresh
    assert catalogue.path is not None
    with closing(sqlite3.connect(catalogue.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        code, _, err = legwork(
            "migrate", database_url=f"sqlite:///{catalogue.path}", shop_database_url=shop.url.render_as_string()
        )
        assert (code, err.count("\n")) == (1, 1)
        assert "locked" in err
        with catalogue.read() as connection:
            assert connection.exec_driver_sql("SELECT max(number) FROM revisions").scalar() == 1


@pytest.mark.parametrize(("most_s", "code"), [(60, 0), (1, 1)])
def test_a_migration_that_waits_for_another_says_so(
    demo: Database, tmp_path: Path, legwork: Called, monkeypatch: pytest.MonkeyPatch, most_s: int, code: int
) -> None:
    """Reported once, whether or not the other ends in time, and separately from the answer."""
    monkeypatch.setattr("app.database.connections.TELL_AFTER_S", 0.2)
    monkeypatch.setattr("app.database.migrating.WAIT_S", most_s)
    other = ExitStack()
    other.enter_context(demo.write())
    end = threading.Timer(1.5, other.close)
    end.start()
    found, out, err = legwork(
        "migrate", "--json",
        database_url=demo.url.render_as_string(hide_password=False),
        shop_database_url=f"sqlite:///{tmp_path / 'shop.db'}",
    )  # fmt: skip
    end.join()
    named = demo.url.render_as_string()
    assert err == f"the database {named} is being changed by another process; waiting up to {most_s} s\n"
    assert (found, "refused" in json.loads(out)) == (code, bool(code))


def test_a_lookup_makes_no_database_where_there_is_none(tmp_path: Path, legwork: Called) -> None:
    code, _, err = legwork("ask", "makers", database_url=f"sqlite:///{tmp_path / 'absent.db'}")
    assert (code, err.count("\n")) == (1, 1)
    assert list(tmp_path.iterdir()) == []
