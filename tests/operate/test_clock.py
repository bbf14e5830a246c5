"""A clock that is set back: revisions stay in order, no client is shut out, and doctor reports a backup from the
future."""

import asyncio
import datetime as dt
import io
from pathlib import Path

import httpx
import time_machine

from app.catalogue.catalogue import Catalogue
from app.catalogue.history import recorded
from app.database.connections import Database
from app.exchange.loading import Entry, load
from app.main import create_app
from app.operating.backup import take
from app.operating.doctor_files import last_backup
from app.settings import Settings

NOON = dt.datetime(2026, 11, 20, 12, tzinfo=dt.UTC)
AN_HOUR_BACK = NOON - dt.timedelta(hours=1)


def test_a_revision_is_never_recorded_before_the_one_before_it(database: Database, tmp_path: Path) -> None:
    for name, moment in (("First", NOON), ("Second", AN_HOUR_BACK), ("Third", NOON + dt.timedelta(minutes=1))):
        (tmp_path / "makers.csv").write_text(f"id,name\nmaker-a,{name}\n")
        with time_machine.travel(moment, tick=False):
            assert load(database, tmp_path / "makers.csv", Entry(name, "tests"))["opened"]
    with Catalogue(database).snapshot() as snapshot:
        times = [recorded(snapshot, range(1, 4))[number].recorded_at for number in (1, 2, 3)]
    assert times == ["2026-11-20T12:00:00.000Z", "2026-11-20T12:00:00.000Z", "2026-11-20T12:01:00.000Z"]


def test_a_client_is_not_shut_out_until_the_clock_has_caught_up(fresh: tuple[Database, Database]) -> None:
    settings = Settings(allowed_hosts=["t.test"], read_rate="3/minute", cache_bytes=0)
    app = create_app(settings, Catalogue(fresh[0]), fresh[1], log_to=io.StringIO())

    async def asked() -> None:
        transport = httpx.ASGITransport(app)
        async with httpx.AsyncClient(transport=transport, base_url="http://t.test") as client:
            with time_machine.travel(NOON, tick=False) as clock:
                assert [(await client.get("/v1/makers")).status_code for _ in range(4)] == [200, 200, 200, 429]
                clock.move_to(AN_HOUR_BACK)
                assert [(await client.get("/v1/makers")).status_code for _ in range(3)] == [200, 200, 200]
                refused = await client.get("/v1/makers")
                assert refused.status_code == 429, "the rate still holds"
                assert int(refused.headers["retry-after"]) <= 61

    asyncio.run(asked())


def test_doctor_says_that_the_last_backup_is_yet_to_come(fresh: tuple[Database, Database], tmp_path: Path) -> None:
    settings = Settings(backup_folder=tmp_path / "backups")
    with time_machine.travel(NOON, tick=False):
        take(*fresh, tmp_path / "backups" / "one")
        assert last_backup(settings).level == "good"
    with time_machine.travel(AN_HOUR_BACK, tick=False):
        said = last_backup(settings)
        assert (said.level, "in the future" in said.text) == ("notice", True)
    with time_machine.travel(NOON + dt.timedelta(days=8), tick=False):
        assert last_backup(settings).level == "notice"
