"""A full disk: 507 for writes, lookups go on, and all is well once there is space. On a small tmpfs."""

import asyncio
import errno
import io
import json
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from app.access import keys
from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.database.migrating import migrate
from app.errors import NoRoom
from app.exchange.loading import Entry, load
from app.main import create_app
from app.operating.backup import take
from app.settings import Settings
from tests.api.writing import TORQUE, put
from tests.bench.working import FORK
from tests.conftest import SEED_DATA
from tests.exchange.serving import serving
from tests.operate.conftest import Called
from tests.problems import assert_problem

FITS = "/v1/chassis/quembry-trivet-35/fits?travel=150"


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Path]:
    """A disk of 8 MB. If it cannot be mounted (in an unprivileged container) the test is skipped, in CI too."""
    place = tmp_path / "small"
    place.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", str(place)]
    try:
        mounted = subprocess.run(command, capture_output=True, text=True, check=False)
    except FileNotFoundError:
        pytest.skip("there is no mount here")
    if mounted.returncode != 0:
        pytest.skip(f"no disk of its own can be mounted here: {mounted.stderr.strip()}")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def fill(disk: Path, leave: int = 0) -> Path:
    """A file that takes all space except `leave` bytes."""
    filler = disk / "filler"
    free = os.statvfs(disk).f_bavail * os.statvfs(disk).f_frsize
    filler.write_bytes(b"x" * max(free - leave, 0))
    return filler


@pytest.mark.parametrize("which", ["catalogue", "shop"])
def test_what_would_be_stored_is_refused_and_lookups_go_on(small: Path, tmp_path: Path, which: str) -> None:
    """With no space under the shop database nothing is written at all: no write happens without its line in the
    audit."""
    database = Database(f"sqlite:///{(small if which == 'catalogue' else tmp_path) / 'legwork.db'}")
    migrate(database, "catalogue")
    assert load(database, SEED_DATA, Entry("the demo", "tests"))["accepted"]
    with serving(database, small if which == "shop" else tmp_path, write_rate="100000/minute") as (url, shop):
        key = {"Authorization": f"Bearer {keys.add(shop, 'bench 1', ['edit', 'bench']).token}"}
        with httpx.Client(base_url=url, headers=key, timeout=60) as client:
            fork = client.post("/v1/forks", json=FORK).json()["fork"]["id"]
            statement = client.get(f"/v1/torques/{TORQUE}")
            lookup = client.get(FITS).content
            edit = put({**statement.json()["row"], "page": "99"})
            rows = [{"table": "makers", "op": "put", "row": {"id": f"maker-{n}", "name": f"M {n}"}} for n in range(90)]

            order = {"card": {"chassis": FORK["chassis"], "job": "lower-leg-service", "fork": fork}}

            def written() -> list[httpx.Response]:
                many = {"changes": rows, "reason": "many"}
                return [
                    client.put(f"/v1/statements/{TORQUE}", json=edit, headers={"If-Match": statement.headers["etag"]}),
                    client.post("/v1/imports", json=many, headers={"Idempotency-Key": "many-000001"}),
                    client.post(f"/v1/forks/{fork}/services", json={"job": "lower-leg-service", "note": "n" * 400}),
                    client.post("/v1/work-orders", json=order),
                ]

            filler = fill(small)
            refused = written()
            for each in refused[: 4 if which == "shop" else 2]:
                assert_problem(each, 507)
            assert client.get(f"{FITS}&model_year=2023").status_code == 200
            assert client.get(FITS).content == lookup
            assert client.get("/readyz").status_code == 200
            filler.unlink()
            assert [done.status_code for done in written()] == [200, 201, 201, 201]
            assert client.get("/v1/revisions").json()["revisions"][0]["number"] == 3
            services = client.get(f"/v1/forks/{fork}/services").json()["services"]
            assert len(services) == (1 if which == "shop" else 2)
            assert client.get("/v1/work-orders").json()["total"] == len(services)
    database.close()


def test_a_backup_that_finds_no_room_leaves_nothing_behind(
    small: Path, fresh: tuple[Database, Database], legwork: Called
) -> None:
    catalogue, shop = fresh
    for leave, name in ((200_000, "b"), (1_400_000, "b.zip"), (0, "b")):
        filler = fill(small, leave)
        with pytest.raises(NoRoom, match="full"):
            take(catalogue, shop, small / name)
        assert [each.name for each in small.iterdir()] == ["filler"]
        filler.unlink()
    here = {"database_url": catalogue.url.render_as_string(), "shop_database_url": shop.url.render_as_string()}
    filler = fill(small)
    code, _, err = legwork("backup", str(small / "b"), **here)
    assert (code, err) == (1, f"the disk under {small / 'b'} is full; nothing was backed up\n")
    filler.unlink()
    assert legwork("backup", str(small / "b"), **here)[0] == 0


def test_a_log_that_cannot_be_written_does_not_hinder_an_answer_and_says_what_it_lost(
    fresh: tuple[Database, Database],
) -> None:
    log = Full()
    app = create_app(Settings(allowed_hosts=["t.test"]), Catalogue(fresh[0]), fresh[1], log_to=log)

    async def asked(*addresses: str) -> list[int]:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://t.test") as client:
            return [(await client.get(address)).status_code for address in addresses]

    log.full = True
    assert asyncio.run(asked(FITS, FITS, "/healthz", "/nothing")) == [200, 200, 200, 404]
    assert log.getvalue() == ""
    log.full = False
    assert asyncio.run(asked("/healthz")) == [200]
    last, lost = (json.loads(line) for line in log.getvalue().splitlines())
    assert (last["path"], lost["event"], lost["lost"]) == ("/healthz", "log lines lost", 4)


class Full(io.StringIO):
    """A log on a disk that is full for a while."""

    full = False

    def write(self, text: str) -> int:
        if self.full:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return super().write(text)
