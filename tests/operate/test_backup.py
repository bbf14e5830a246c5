"""The drill: a backup made during writes, restored elsewhere, is the catalogue of one moment."""

import asyncio
import json
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import psycopg
import pytest

from app.access import keys
from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.errors import Conflict
from app.main import create_app
from app.operating.backup import hashed, take
from app.operating.manifest import SUMS
from tests.api.writing import settings_of
from tests.bench.working import FORK
from tests.exchange.serving import serving
from tests.operate.conftest import Called

SHEET = "/v1/chassis/tarnoch-raddle-37/sheet?travel=160&model_year=2023&wheel_size=29"
ROOT = Path(__file__).parents[2]


@pytest.fixture
def elsewhere(demo: Database, tmp_path: Path) -> Iterator[dict[str, str]]:
    """Settings that name two databases that do not exist yet (SQLite) or have no tables (PostgreSQL)."""
    if demo.is_sqlite:
        folder = tmp_path / "elsewhere"
        yield {f"{which}database_url": f"sqlite:///{folder}/{which}x.db" for which in ("", "shop_")}
        return
    base = demo.url.set(drivername="postgresql")
    names = {which: f"{demo.url.database}_{which or 'cat_'}there" for which in ("", "shop_")}
    with psycopg.connect(base.render_as_string(hide_password=False), autocommit=True) as connection:
        for name in names.values():
            connection.execute(f"CREATE DATABASE {name}")
        yield {
            f"{which}database_url": demo.url.set(database=name).render_as_string(hide_password=False)
            for which, name in names.items()
        }
        for name in names.values():
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


def test_a_backup_beside_writes_is_restored_elsewhere_as_it_was_at_one_moment(
    demo: Database, tmp_path: Path, elsewhere: dict[str, str], legwork: Called
) -> None:
    place = tmp_path / "backups" / "monday.zip"
    with serving(demo, tmp_path, write_rate="100000/minute") as (url, shop):
        token = keys.add(shop, "bench 1", ["edit", "bench"], of="left").token
        with httpx.Client(base_url=url, headers={"Authorization": f"Bearer {token}"}, timeout=60) as client:
            forks = [client.post("/v1/forks", json={**FORK, "serial": f"N-{n}"}).json()["fork"]["id"] for n in range(3)]
            here = {"database_url": of(demo), "shop_database_url": of(shop)}
            with edits_going_on(client) as revisions:
                command = [sys.executable, "-m", "app", "backup", str(place), "--json"]
                named = {f"LEGWORK_{name.upper()}": value for name, value in here.items()}
                done = subprocess.run(command, env={**os.environ, **named}, capture_output=True, text=True, cwd=ROOT)
                assert done.returncode == 0, done.stderr
                taken = json.loads(done.stdout)["catalogue"]
                assert len(revisions) > 1, "nothing was written meanwhile"
            number = taken["revision"]
            assert 2 <= number <= revisions[-1]
            assert taken["content_hash"] == hashed(demo, number)
            sheets = [client.get(f"{SHEET}&revision={number}&format={form}").content for form in ("json", "txt")]
    code, out, err = legwork("restore", str(place), "--json", **elsewhere)
    assert (code, err) == (0, "")
    assert json.loads(out)["content_hash"] == taken["content_hash"]
    there, shop_there = Database(elsewhere["database_url"]), Database(elsewhere["shop_database_url"])
    app = create_app(settings_of(there, shop_there, allowed_hosts=["127.0.0.1"]), Catalogue(there), shop_there)
    again = [f"{SHEET}&revision={number}&format={form}" for form in ("json", "txt")]
    latest, *sheets_there, kept = answers(app, token, [f"{SHEET}&format=json", *again, "/v1/forks"])
    assert json.loads(latest)["revision"] == number
    assert sheets_there == sheets
    assert b"Raddle" in sheets[1]
    assert sorted(fork["id"] for fork in json.loads(kept)["forks"]) == sorted(forks)
    there.close()
    shop_there.close()


@contextmanager
def edits_going_on(client: httpx.Client) -> Iterator[list[int]]:
    """Makes edits one after another until the block ends; yields those acknowledged. Begins once two are done."""
    revisions: list[int] = []
    stop, begun = threading.Event(), threading.Event()

    def edit() -> None:
        while not stop.is_set():
            row = {"id": "maker-of-the-drill", "name": f"after {len(revisions)}"}
            body = {"changes": [{"table": "makers", "op": "put", "row": row}], "reason": "drill"}
            answer = client.post("/v1/imports", json=body, headers={"Idempotency-Key": f"drill-{len(revisions):06}"})
            revisions.append(int(answer.json()["revision"]))
            if len(revisions) == 2:
                begun.set()

    thread = threading.Thread(target=edit)
    thread.start()
    try:
        assert begun.wait(60), "no edit was acknowledged"
        yield revisions
    finally:
        stop.set()
        thread.join()


def answers(app: Any, token: str | None, addresses: list[str]) -> list[bytes]:
    """The bodies of answers by an in-process service."""

    async def asked() -> list[bytes]:
        headers = {"Authorization": f"Bearer {token}"}
        async with httpx.AsyncClient(
            transport=httpx.ASGITransport(app), base_url="http://127.0.0.1", headers=headers
        ) as client:
            return [(await client.get(address)).content for address in addresses]

    return asyncio.run(asked())


@pytest.mark.parametrize("which", ["folder", "zip"])
def test_a_backup_is_not_written_over_and_only_its_owner_may_read_it(
    fresh: tuple[Database, Database], tmp_path: Path, which: str
) -> None:
    place = tmp_path / ("b.zip" if which == "zip" else "b")
    take(*fresh, place)
    assert place.stat().st_mode & 0o077 == 0
    with pytest.raises(Conflict):
        take(*fresh, place)
    assert [each.name for each in tmp_path.iterdir() if ".part" in each.name] == []


def test_the_sums_are_those_of_the_standard_tool(fresh: tuple[Database, Database], tmp_path: Path) -> None:
    """`sha256sum -c`, of coreutils, confirms each file."""
    take(*fresh, tmp_path / "b")
    done = subprocess.run(["sha256sum", "-c", SUMS], cwd=tmp_path / "b", capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == ["catalogue.db: OK", "manifest.json: OK", "shop.db: OK"]


def of(database: Database) -> str:
    return database.url.render_as_string(hide_password=False)
