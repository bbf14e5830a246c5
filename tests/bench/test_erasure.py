"""An erased fork is gone everywhere: from rows, free pages of a file, the log beside it, backups and the
service log."""

import secrets
import sqlite3
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import select, text

from app.access.stored import IDEMPOTENCY_KEYS
from app.database.connections import Database
from tests.api.writing import Writing
from tests.bench.working import NOTE, SERIAL, Bench, benches
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio


async def test_the_key_that_a_fork_was_registered_with_goes_with_it(demo: Database, tmp_path: Path) -> None:
    """The digest of the request is made from the serial, which could be guessed from it."""
    async with benches(demo, tmp_path) as (bench, _, _):
        by = {"Authorization": f"Bearer {bench.service.keys['bench'].token}", "Idempotency-Key": "register-1"}
        fork = {"serial": SERIAL, "chassis": "lommeris-haar-42"}
        made = await bench.service.client.post("/v1/forks", json=fork, headers=by)
        id = made.json()["fork"]["id"]
        with bench.service.shop.read() as connection:
            digest = connection.execute(select(IDEMPOTENCY_KEYS.c.digest)).scalar_one()
        assert (await bench.service.client.delete(f"/v1/forks/{id}", headers=by)).status_code == 200
        assert not any(digest.encode() in content for content in files(bench.service))


async def test_no_byte_of_an_erased_fork_is_left(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        kept = [await bench.register(serial=f"KEPT-{number:04}") for number in range(30)]
        gone = await bench.register()
        for number in range(30):
            await bench.record(gone, "lower-leg-service", hours=number, note=f"{NOTE} {number}")
            await bench.record(kept[number % 7], "lower-leg-service", note="stays")
        orders = [await started(bench, {"fork": fork}) for fork in (gone, gone)]
        orders.append(await started(bench, {"fork": kept[0]}, serial="KEPT", bike="stays"))
        tag = (await bench("GET", f"/v1/forks/{gone}")).headers["etag"]
        address = f"/v1/forks/{gone}?empty=model_year,travel,spring,spacers,damper,wheel_size"
        corrected = await bench("PUT", address, {"serial": SERIAL + "B", "chassis": "lommeris-haar-42"}, If_Match=tag)
        assert corrected.status_code == 200, corrected.text
        assert any(SERIAL.encode() in content for content in files(bench.service)), "it is looked for where it is not"
        assert (await bench("DELETE", f"/v1/forks/{gone}")).status_code == 200
        await bench.register(serial="AFTERWARDS")
        for word in (SERIAL, NOTE):
            assert [1 for content in files(bench.service) if word.encode() in content] == []
            assert word not in bench.service.log.getvalue()
        assert backup_has(bench.service.shop, SERIAL, tmp_path) is False
        assert (await bench.get("/v1/forks"))["total"] == 31
        left = (await bench.get("/v1/work-orders"))["work_orders"]
        assert [order["id"] for order in left] == orders[2:], "the orders of the fork went with it"
        assert_problem(await bench("DELETE", f"/v1/forks/{gone}"), 404)


@pytest.mark.parametrize("demo_url", ["sqlite"], indirect=True)  # on PostgreSQL a reader does not block it
async def test_an_erasure_that_was_cut_off_is_hidden_and_goes_on_when_asked_again(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        id = await bench.register()
        reader = sqlite3.connect(str(bench.service.shop.path))
        monkeypatch.setattr("app.database.connections.WRITER_WAIT_S", 0.1)
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM forks").fetchone()
        assert_problem(await bench("DELETE", f"/v1/forks/{id}"), 503)
        reader.execute("COMMIT")
        reader.close()
        assert_problem(await bench("GET", f"/v1/forks/{id}"), 404)
        assert (await bench.get("/v1/forks"))["forks"] == []
        again = await bench.register()
        assert again != id
        assert (await bench("DELETE", f"/v1/forks/{id}")).status_code == 200
        assert (await bench("DELETE", f"/v1/forks/{again}")).status_code == 200
        assert not any(SERIAL.encode() in content for content in files(bench.service))


async def started(bench: Bench, card: dict[str, str], serial: str = SERIAL, bike: str = NOTE) -> str:
    """The id of a work order of a fork, with a serial and a note in it."""
    body = {"card": {"chassis": "lommeris-haar-42", "job": "full-service", **card}, "serial": serial, "bike": bike}
    answer = await bench("POST", "/v1/work-orders", body, Idempotency_Key=secrets.token_urlsafe(20))
    assert answer.status_code == 201, answer.text
    return str(answer.json()["order"]["id"])


async def test_an_erased_order_leaves_no_byte_and_its_job_stays(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, other):
        fork = await bench.register(serial="KEPT")
        order = await started(bench, {"fork": fork})
        assert any(NOTE.encode() in content for content in files(bench.service)), "it is looked for where it is not"
        assert (await bench("POST", f"/v1/work-orders/{order}/record", {"hours": 3})).status_code == 201
        assert_problem(await other("DELETE", f"/v1/work-orders/{order}"), 404)
        assert (await bench("DELETE", f"/v1/work-orders/{order}")).status_code == 200
        for word in (SERIAL, NOTE):
            assert [1 for content in files(bench.service) if word.encode() in content] == []
        assert_problem(await bench("GET", f"/v1/work-orders/{order}"), 404)
        assert_problem(await bench("DELETE", f"/v1/work-orders/{order}"), 404)
        assert len((await bench.get(f"/v1/forks/{fork}/services"))["services"]) == 1


def files(service: Writing) -> list[bytes]:
    """Everything that the shop database keeps on disk: file and log on SQLite, table files on PostgreSQL."""
    shop = service.shop
    if shop.path is not None:
        return [path.read_bytes() for path in shop.path.parent.glob(f"{shop.path.name}*")]
    plain = shop.url.set(drivername="postgresql").render_as_string(hide_password=False)
    with psycopg.connect(plain, autocommit=True) as connection:
        connection.execute("CHECKPOINT")
        folder = connection.execute(
            "SELECT current_setting('data_directory') || '/base/' || oid FROM pg_database "
            "WHERE datname = current_database()"
        ).fetchone()
    assert folder is not None
    return [path.read_bytes() for path in Path(folder[0]).iterdir() if path.is_file()]


def backup_has(shop: Database, word: str, folder: Path) -> bool:
    """Whether a copy made now contains the word: an online backup on SQLite, all rows as text on PostgreSQL."""
    if shop.path is not None:
        target = folder / "backup.db"
        with sqlite3.connect(str(shop.path)) as source, sqlite3.connect(str(target)) as copy:
            source.backup(copy)
        return word.encode() in target.read_bytes()
    with shop.read() as connection:
        rows = [
            str(row)
            for table in ("forks", "services", "work_orders", "flags", "audit", "keys")
            for row in connection.execute(text(f"SELECT * FROM {table}"))
        ]
    return any(word in row for row in rows)
