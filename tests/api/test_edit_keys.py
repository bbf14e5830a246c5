"""Keys over HTTP: who gets in, that refusals reveal nothing, what is stored, and the audit of every write."""

import os
import random
import statistics
import time
from pathlib import Path

import httpx
import pytest
from sqlalchemy import event, text

from app.access import keys
from app.database.connections import Database
from app.errors import Unauthorised
from tests.api.writing import TORQUE, Writing, put, shop_beside, writing
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio
TRIES = int(os.environ.get("LEGWORK_TEST_KEY_TRIES", "400"))
"""For each of an existing and a missing key: 2,000 are the promise."""
STATEMENT = f"/v1/statements/{TORQUE}"
WRITES = [
    ("POST", "/v1/imports"),
    ("POST", "/v1/statements"),
    ("PUT", STATEMENT),
    ("DELETE", f"{STATEMENT}?reason=void"),
]


def wrong_keys(service: Writing) -> dict[str, str | None]:
    """Every kind of invalid key."""
    token = str(service.keys["edit"].token)
    revoked = keys.add(service.shop, "old", ["edit", "admin"])
    keys.revoke(service.shop, revoked.id)
    return {
        "none": None,
        "empty": "",
        "no scheme": token,
        "another scheme": f"Basic {token}",
        "malformed": "Bearer legwork-x",
        "not ASCII": "Bearer legwork-\xe4",
        "unknown id": f"Bearer legwork-{'0' * 12}-{token[-43:]}",
        "wrong secret": f"Bearer {token[:-1]}{'A' if token[-1] != 'A' else 'B'}",
        "another's secret": f"Bearer {token[:-43]}{str(service.keys['admin'].token)[-43:]}",
        "revoked": f"Bearer {revoked.token}",
    }


async def test_no_answer_tells_a_wrong_key_from_another_or_whether_an_id_exists(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        said: dict[str, set[str]] = {"none": set(), "wrong": set()}
        keyless = httpx.AsyncClient(transport=httpx.ASGITransport(service.app), base_url="http://legwork.test")
        for kind, sent in wrong_keys(service).items():
            for method, address in [*WRITES, ("PUT", "/v1/statements/torque-unknown")]:
                headers = [(b"If-Match", tag.encode()), (b"X-Request-ID", b"same-for-all")]
                if sent is not None:
                    headers.append((b"Authorization", sent.encode("latin-1")))
                answer = await keyless.request(method, address, headers=headers, json=put(row))
                problem = assert_problem(answer, 401)
                assert answer.headers["www-authenticate"] == 'Bearer realm="legwork"'
                del problem["instance"]
                said["none" if kind == "none" else "wrong"].add(str(problem))
        assert {kind: len(texts) for kind, texts in said.items()} == {"none": 1, "wrong": 1}
        in_address = await service.client.put(
            f"{STATEMENT}?key={service.keys['edit'].token}", headers={"Authorization": ""}, json=put(row)
        )
        assert in_address.status_code in (401, 422)
        assert (await service.row())[1] == tag


async def test_a_key_does_what_its_scopes_say(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        for scope, status in (("read", 403), ("bench", 403), ("edit", 200), ("admin", 200)):
            headers = {"Authorization": f"bearer {service.keys[scope].token}", "If-Match": tag}
            answer = await service.client.put(STATEMENT, json=put(row), headers=headers)
            assert answer.status_code == status, scope
            if status == 403:
                assert "scope edit" in assert_problem(answer, 403)["detail"]
        headers = {"Authorization": f"Bearer {service.keys['read'].token}"}
        for method, address in WRITES:  # before the body, the precondition and the id are looked at
            assert_problem(await service.client.request(method, address, headers=headers, content=b"{"), 403)
        for address in ("/v1/makers", "/v1/checks"):
            assert (await service.client.request("GET", address, headers={"Authorization": "x"})).status_code != 401
        keys.revoke(service.shop, service.keys["edit"].id)
        refused = await service.client.put(STATEMENT, json=put(row), headers={"If-Match": tag})
        assert_problem(refused, 401)


async def test_where_reads_are_closed_only_what_holds_nothing_is_open(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path, open_reads=False) as service:
        keyless = {"Authorization": ""}
        for address in ("/", "/v1/makers", "/v1/makers.csv", "/v1/export", "/v1/nothing", "/v1/checks", "/anything"):
            assert (await service.client.get(address, headers=keyless)).status_code == 401, address
        for address in ("/healthz", "/readyz", "/openapi.json", "/docs", "/problems/gone"):
            assert (await service.client.get(address, headers=keyless)).status_code == 200, address
        for scope in keys.SCOPES:
            sent = {"Authorization": f"Bearer {service.keys[scope].token}"}
            answer = await service.client.get("/v1/makers", headers=sent)
            assert answer.status_code == 200
            assert "private" in answer.headers["cache-control"]
        assert_problem(await service.client.post("/v1/imports", json={}, headers=keyless), 401)
        assert [entry["status"] for entry in service.audit()] == [401]


async def test_the_audit_has_every_write_and_every_refused_one_and_no_secret(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        match, client = {"If-Match": tag, "X-Request-ID": "request-0001"}, service.client
        token = service.keys["edit"].token
        changed = await client.put(STATEMENT, json=put({**row, "value": "136"}), headers=match)
        present = {"If-Match": changed.headers["ETag"]}
        sent = [
            (changed, 200),
            (await client.put(STATEMENT, json=put(row), headers=match), 412),
            (await client.put(STATEMENT, json=put(row)), 428),
            (await client.put(STATEMENT, json=put({**row, "value": "-1"}), headers=present), 422),
            (await client.put(STATEMENT, json={"key": token}, headers=match), 422),
            (await client.delete(f"{STATEMENT}?reason=secret {token}", headers=match), 412),
            (await client.delete("/v1/statements/torque-unknown?reason=void", headers=match), 404),
            (await client.post("/v1/imports", content=b"x", headers={"Content-Type": "text/csv"}), 415),
            (await client.post("/v1/imports", json={}, headers={"Authorization": "Bearer no"}), 401),
            (await client.post("/v1/statements", json=put(row)), 409),
        ]
        await client.post("/v1/checks", json={"changes": [put(row)]})
        await client.get("/v1/makers")
        assert [answer.status_code for answer, _ in sent] == [status for _, status in sent]
        entries = service.audit()
        assert [entry["status"] for entry in entries] == [status for _, status in sent]
        assert [entry["done"] for entry in entries] == [True] + [False] * 9
        assert [entry["key"] for entry in entries] == [service.keys["edit"].id] * 8 + [None, service.keys["edit"].id]
        first = entries[0]
        assert (first["method"], first["path"], first["reason"], first["revision"], first["request_id"]) == (
            "PUT", STATEMENT, "read again", 2, "request-0001",
        )  # fmt: skip
        assert str(token)[-43:] not in str([{**entry, "reason": None} for entry in entries]) + service.log.getvalue()


async def test_a_write_that_cannot_be_entered_is_not_done(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        with service.shop.write() as connection:
            connection.execute(text("ALTER TABLE audit RENAME TO elsewhere"))
        refused = await service.client.put(STATEMENT, json=put({**row, "value": "136"}), headers={"If-Match": tag})
        assert_problem(refused, 503)
        assert (await service.row())[1] == tag
        assert '"event":"audit"' in service.log.getvalue().replace(" ", "")


async def test_the_database_keeps_the_hash_of_a_key_and_nothing_else(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        await service.client.put(STATEMENT, json=put({**row, "value": "136"}), headers={"If-Match": tag})
        with service.shop.read() as connection:
            tables = [connection.execute(text(f"SELECT * FROM {name}")).all() for name in ("keys", "audit")]
        everything = str(tables).encode()
        if service.shop.path is not None:  # the bytes of the file and of its log, as `strings` would show them
            for path in service.shop.path.parent.glob("shop.db*"):
                everything += path.read_bytes()
        for key in service.keys.values():
            token = str(key.token)
            assert token.startswith(f"legwork-{key.id}-")
            assert len(token[-43:]) * 6 >= 256
            assert token[-43:].encode() not in everything
        assert len({row.digest for row in tables[0]}) == len(keys.SCOPES)
        assert all(len(bytes.fromhex(row.digest)) == 32 for row in tables[0])


def test_a_key_that_is_there_is_not_told_from_one_that_is_not_by_time(demo_url: str, tmp_path: Path) -> None:
    """Both run one statement, and the medians of their processor time differ by under 5 % or by noise: five standard
    errors of the difference of two medians (1.253 times that of a mean, from the quartiles)."""
    chance = random.Random(9)
    with shop_beside(demo_url, tmp_path) as shop:
        known = keys.add(shop, "known", ["edit"])
        tokens = [f"Bearer legwork-{id}-{'x' * 43}" for id in (known.id, "0123456789ab")]
        run: list[str] = []
        event.listen(shop.reader, "before_cursor_execute", lambda *given: run.append(given[2]))
        times: list[list[float]] = [[], []]
        for which in (which for _ in range(TRIES) for which in chance.sample((0, 1), 2)):
            begun = time.thread_time()
            with pytest.raises(Unauthorised, match="this key is not valid"):
                keys.caller(shop, tokens[which])
            times[which].append(time.thread_time() - begun)
        assert len(run) == 2 * TRIES
        assert len(set(run)) == 1
        there, absent = (statistics.median(each) for each in times)
        spread = max(quartiles[2] - quartiles[0] for quartiles in (statistics.quantiles(each, n=4) for each in times))
        noise = 5 * 1.253 * (spread / 1.349) * (2 / TRIES) ** 0.5
        print(f"{TRIES} tries each: {there * 1e6:.1f} and {absent * 1e6:.1f} µs, noise {noise * 1e6:.1f} µs")
        assert abs(there - absent) < max(0.05 * absent, noise)
