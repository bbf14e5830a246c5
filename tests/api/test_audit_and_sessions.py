"""The audit of keys and sign-ins, who reads it and how long it is kept; idle sessions; HSTS behind a trusted proxy.

Compared with OWASP ASVS 5.0 (V7 sessions, V16 logging) and RFC 6797 (HSTS), from memory.
"""

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from sqlalchemy import select, update

from app.access import audit, keys, sessions
from app.access.audit import MOST_FAILED, FailedKeys
from app.access.catalogue_seen import known_revision
from app.access.stored import SHOP
from app.access.write_rate import hit
from app.cli import main
from app.database.connections import Database
from app.errors import NotFound
from app.web.representation.csv_table import _cell
from tests.api.writing import shop_beside, writing

pytestmark = pytest.mark.anyio
GUESSED = f"Bearer legwork-{'0' * 12}-{'A' * 43}"


async def test_keys_sign_ins_and_failed_keys_are_entered(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        made = keys.add(service.shop, "bench of left", ["bench"])
        home = {"Origin": "http://legwork.test", "Sec-Fetch-Site": "same-origin"}
        await service.client.post("/sign-in", data={"key": made.token}, headers=home)
        keys.revoke(service.shop, made.id)
        for key in (GUESSED, f"Bearer {made.token}"):
            answer = await service.client.get("/v1/forks", headers={"Authorization": key})
            assert answer.status_code == 401
        found = audit.entries(service.shop, 5)
    assert [(each.method, each.path, each.status, each.key) for each in found] == [
        ("GET", "/v1/forks", 401, None),
        ("GET", "/v1/forks", 401, None),
        ("COMMAND", f"keys revoke {made.id}", 200, made.id),
        ("POST", "/sign-in", 303, made.id),
        ("COMMAND", f"keys add {made.id}", 200, made.id),
    ]
    assert not any(str(made.token)[25:] in json.dumps(each.reason) for each in found)


async def test_only_a_key_with_the_scope_admin_reads_the_audit(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        for scope, made in service.keys.items():
            answer = await service.client.get("/v1/audit", headers={"Authorization": f"Bearer {made.token}"})
            assert answer.status_code == (200 if scope == "admin" else 403), scope
        admin = {"Authorization": f"Bearer {service.keys['admin'].token}"}
        first = (await service.client.get("/v1/audit?limit=3", headers=admin)).json()
        rest = (await service.client.get(f"/v1/audit?before={first['next']}", headers=admin)).json()
        assert [each["number"] for each in first["entries"] + rest["entries"]] == [5, 4, 3, 2, 1]
        assert answer.headers["cache-control"] == "no-store"
        del service.client.headers["authorization"]
        assert (await service.client.get("/v1/audit")).status_code == 401


@pytest.fixture
def shop(database: Database, tmp_path: Path) -> Iterator[Database]:
    """A shop database on each engine."""
    with shop_beside(database.url.render_as_string(hide_password=False), tmp_path) as shop:
        yield shop


def test_guessed_keys_fill_no_disk(shop: Database) -> None:
    failed = FailedKeys()
    for number in range(MOST_FAILED + 20):
        failed.enter(shop, method="GET", path=f"/v1/{number}", request_id=None)
    assert len(audit.entries(shop, 1_000)) == MOST_FAILED
    failed._begun -= 61
    failed.enter(shop, method="GET", path="/v1/later", request_id=None)
    assert audit.entries(shop, 1)[0].reason == "a key that is not valid; 20 more were not entered"


def test_old_entries_are_erased_and_no_others(shop: Database) -> None:
    keys.add(shop, "old", ["read"])
    keys.add(shop, "new", ["read"])
    table = SHOP.tables["audit"]
    with shop.write() as connection:
        connection.execute(update(table).where(table.c.number == 1).values(at="2001-01-01T00:00:00.000Z"))
    assert audit.erase_old(shop, 400) == 1
    assert audit.erase_old(shop, 400) == 0
    assert [each.reason for each in audit.entries(shop, 9)] == ["new: read"]


def test_a_session_ends_idle_is_listed_and_ended(shop: Database) -> None:
    caller = keys.caller(shop, f"Bearer {keys.add(shop, 'bench', ['bench']).token}")
    assert caller is not None
    one, two = sessions.begin(shop, caller), sessions.begin(shop, caller)
    table = SHOP.tables["sessions"]
    earlier = keys.now(-sessions.NOTED_EVERY * 2)
    with shop.write() as connection:
        connection.execute(update(table).values(used_at=earlier))
    sessions.note_use(shop, one)
    with shop.read() as connection:
        used = {row.digest: row.used_at for row in connection.execute(select(table))}
    assert used[keys.digest_of(one)] > earlier
    assert used[keys.digest_of(two)] == earlier
    listed = sessions.listed(shop)
    assert {each.key for each in listed} == {caller.id}
    assert not any(secret.startswith(each.id) for each in listed for secret in (one, two))
    assert sessions.end_listed(shop, keys.digest_of(two)[: sessions.SHOWN]) == 1
    assert sessions.caller(shop, two) is None
    assert sessions.caller(shop, one) == caller
    with shop.write() as connection:
        connection.execute(update(table).values(used_at=keys.now(-sessions.IDLE)))
    assert sessions.caller(shop, one) is None
    assert sessions.listed(shop) == []
    with pytest.raises(NotFound):
        sessions.end_listed(shop, "nobody")


def test_writes_of_a_client_are_counted_in_the_shop_database(shop: Database) -> None:
    assert [hit(shop, "one", 2, 60, 1)[:2] for _ in range(3)] == [(True, 1), (True, 0), (False, 0)]
    assert hit(shop, "other", 2, 60, 1)[0]
    with shop.write() as connection:
        connection.execute(update(SHOP.tables["write_hits"]).values(at=1.0))
    assert hit(shop, "one", 2, 60, 1)[0]


def test_the_shop_database_knows_the_latest_revision_that_was_audited(shop: Database) -> None:
    assert known_revision(shop, 3) == 3
    number = audit.begun(shop, None, method="POST", path="/v1/edits", request_id=None)
    audit.ended(shop, number, 201, revision=5)
    assert known_revision(shop, 3) == 5
    assert known_revision(shop, 3) == 5
    assert known_revision(shop, 3, accept=True) == 3
    assert known_revision(shop, 3) == 3
    assert known_revision(shop, 4) == 4


@pytest.mark.parametrize("scheme", ["http", "https"])
async def test_https_behind_a_trusted_proxy_sends_hsts(demo: Database, tmp_path: Path, scheme: str) -> None:
    async with writing(demo, tmp_path) as service:
        transport = httpx.ASGITransport(service.app)
        async with httpx.AsyncClient(transport=transport, base_url=f"{scheme}://legwork.test") as client:
            for _ in range(2):  # the second is a kept answer
                answer = await client.get("/v1/makers")
                expected = "max-age=31536000" if scheme == "https" else None
                assert answer.headers.get("strict-transport-security") == expected


def test_the_audit_and_sessions_are_read_on_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LEGWORK_SHOP_DATABASE_URL", f"sqlite:///{tmp_path}/shop.db")

    def legwork(*words: str) -> str:
        monkeypatch.setattr(sys, "argv", ["legwork", *words])
        with pytest.raises(SystemExit) as ended:
            main()
        assert ended.value.code in (0, None)
        return capsys.readouterr().out

    assert "empty" in legwork("audit")
    legwork("keys", "add", "bench", "--scope", "read")
    assert "keys add" in legwork("audit")
    (entry,) = json.loads(legwork("audit", "--json"))["entries"]
    assert entry["done"] is True
    assert "Nobody" in legwork("sessions", "list")


@pytest.mark.parametrize(
    ("text", "guarded"),
    [
        ("a;=1+1", "a;'=1+1"), ("a; =1+1", "a;' =1+1"), ("=1;b", "'=1;b"), ("a\n@x", "a\n'@x"), ("-1.5;-2", "-1.5;-2"),
        ("a;+x;b", "a;'+x;b"), ("a;b", "a;b"), ("a=b", "a=b"), ('a;"=1"', "a;'\"=1\""),
    ],
)  # fmt: skip
def test_no_part_of_a_cell_is_a_formula(text: str, guarded: str) -> None:
    """Spreadsheets whose list separator is a semicolon split there; common practice, no source."""
    assert _cell(text) == guarded
