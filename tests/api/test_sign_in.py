"""A signed-in browser: what it may and may not do, and that nobody else gets its session (OWASP ASVS 4.0.3, 3)."""

from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select, update

from app.access import keys, sessions
from app.access.stored import SHOP
from app.database.connections import Database
from tests.api.raw import ask
from tests.bench.browsing import FORM, HOME, OURS, browser, signed_in, token_of
from tests.bench.working import CHASSIS, FORK, SERIAL, Bench, benches
from tests.problems import assert_problem

SESSIONS = SHOP.tables["sessions"]
pytestmark = pytest.mark.anyio

Two = tuple[Bench, Bench]


@pytest.fixture
async def shops_on_each(demo: Database, tmp_path: Path) -> AsyncIterator[Two]:
    """The benches of two shops, on each engine."""
    async with benches(demo, tmp_path) as (bench, _, other):
        yield bench, other


def stored(bench: Bench) -> list[dict[str, Any]]:
    with bench.service.shop.read() as connection:
        return [dict(row) for row in connection.execute(select(SESSIONS)).mappings()]


async def test_it_sees_the_log_of_its_shop_and_no_other(shops_on_each: Two) -> None:
    left, right = shops_on_each
    await left.register()
    async with signed_in(left) as one, signed_in(right) as two:
        for _ in range(2):
            here, there = [await each.get("/v1/forks", headers=OURS) for each in (one, two)]
            assert SERIAL in here.text
            assert SERIAL not in there.text
            assert "bench of left" in here.text
            assert "bench of right" in there.text
            assert (here.headers["cache-control"], here.headers["vary"].split(", ")[:2]) == (
                "private, no-store", ["Accept", "Cookie"],
            )  # fmt: skip
        assert (await one.get("/v1/forks")).json()["total"] == 1
        assert (await one.head("/v1/forks")).status_code == 200
        assert (await two.get("/v1/forks")).json()["total"] == 0


async def test_a_page_that_says_who_is_signed_in_is_kept_for_nobody(shops: Two) -> None:
    left, right = shops
    async with browser(left) as nobody, signed_in(left) as one, signed_in(right) as two:
        for address in 2 * ("/", f"/v1/chassis/{CHASSIS}/fits?travel=180&revision=1"):
            before = await nobody.get(address, headers=OURS)
            for each, label in ((one, "bench of left"), (two, "bench of right")):
                answer = await each.get(address, headers=OURS)
                assert label in answer.text
                assert answer.headers["cache-control"] == "private, no-store"
            again = await nobody.get(address, headers=OURS)
            assert again.content == before.content
            assert "Sign out" not in again.text


async def test_what_is_kept_of_it_opens_nothing(shops: Two) -> None:
    bench, _ = shops
    async with signed_in(bench) as client:
        secret = client.cookies["legwork-session"]
        (row,) = stored(bench)
        assert row["digest"] == keys.digest_of(secret)
        assert secret not in str(row)
        assert token_of(bench) not in str(row)
        for forged in (row["digest"], secret[:-1] + ("A" if secret[-1] != "A" else "B"), "", secret + "x"):
            async with browser(bench) as thief:
                answer = await thief.get("/v1/forks", headers={"Cookie": f"legwork-session={forged}"})
                assert_problem(answer, 401)
        twice = {"Cookie": f"legwork-session={secret}; legwork-session={'a' * 43}"}
        async with browser(bench) as confused:
            assert_problem(await confused.get("/v1/forks", headers=twice), 401)
        assert secret not in bench.service.log.getvalue()
        assert token_of(bench).rpartition("-")[2] not in bench.service.log.getvalue()


async def test_the_cookie_is_out_of_reach_and_over_https_of_this_host_alone(shops: Two) -> None:
    """RFC 6265bis, 4.1.3.2: a name that begins with __Host- is Secure, has Path=/ and no Domain."""
    bench, _ = shops
    for home, name, secure in (
        (HOME, "legwork-session", False),
        ("https://legwork.test", "__Host-legwork-session", True),
    ):
        async with browser(bench, home) as client:
            headers = {**OURS, "Origin": home}
            answer = await client.post("/sign-in", data={"key": token_of(bench)}, headers=headers)
            set_to, *attributes = answer.headers["set-cookie"].split("; ")
            assert set_to.partition("=")[0] == name
            wanted = {"HttpOnly", "Max-Age=43200", "Path=/", "SameSite=strict", *(["Secure"] if secure else [])}
            assert set(attributes) == wanted
            assert (await client.get("/v1/forks")).status_code == 200


async def test_nothing_is_written_with_it_but_by_a_form(shops: Two) -> None:
    bench, _ = shops
    id = await bench.register()
    async with signed_in(bench) as client:
        tried = [
            ("POST", "/v1/forks", {**FORK, "serial": "another"}), ("PUT", f"/v1/forks/{id}", FORK),
            ("DELETE", f"/v1/forks/{id}", None), ("POST", f"/v1/forks/{id}/services", {"job": "full-service"}),
            ("POST", "/v1/statements/interval-haar-42-full/flags", {"text": "looks wrong"}),
        ]  # fmt: skip
        for method, path, body in tried:
            answer = await client.request(
                method, path, json=body, headers={**OURS, "Accept": "*/*", "If-Match": '"r1.x"'}
            )
            assert_problem(answer, 401)
        question = {"questions": [f"/v1/chassis/{CHASSIS}/sheet?fork={id}"]}
        asked = (await client.post("/v1/batch", json=question, headers=OURS | {"Accept": "*/*"})).json()
        assert asked["answers"][0]["status"] == 401
        assert (await client.get("/v1/forks")).json()["total"] == 1


ELSEWHERE: list[dict[str, str]] = [
    {},
    {"Origin": "http://evil.test"},
    {"Origin": "https://legwork.test"},
    {"Origin": "null"},
    {"Origin": "http://legwork.test.evil.test"},
    {"Origin": HOME, "Sec-Fetch-Site": "cross-site"},
    {"Origin": HOME, "Sec-Fetch-Site": "same-site"},
    {"Origin": HOME, "Sec-Fetch-Site": "none"},
    {"Origin": "http://evil.test", "Sec-Fetch-Site": "same-origin"},
]


async def test_a_form_from_elsewhere_does_nothing(shops: Two) -> None:
    bench, _ = shops
    async with signed_in(bench) as client:
        before = stored(bench)
        for lines in ELSEWHERE:
            for path, body in (("/sign-in", f"key={token_of(bench)}"), ("/sign-out", "")):
                answer = await client.post(path, content=body, headers={**FORM, **lines})
                assert_problem(answer, 403)
                assert "set-cookie" not in answer.headers
        assert stored(bench) == before


async def test_it_leads_nowhere_else(shops: Two) -> None:
    bench, _ = shops
    elsewhere = (
        "//evil.test",
        "https://evil.test",
        "/\\evil.test",
        "evil.test",
        "/a\\b",
        "/a\r\nX: y",
        "/\t/evil.test",
        "/é",
    )
    async with browser(bench) as client:
        for next in elsewhere:
            answer = await client.post("/sign-in", data={"key": token_of(bench), "next": next}, headers=OURS)
            assert answer.status_code == 422, next
            assert "location" not in answer.headers
            assert (await client.get("/sign-in", params={"next": next}, headers=OURS)).status_code == 422
        assert stored(bench) == []


async def test_after_it_the_page_that_was_asked_for(shops: Two) -> None:
    bench, _ = shops
    async with browser(bench) as client:
        refused = await client.get("/v1/forks?serial=a%26b", headers=OURS)
        assert refused.status_code == 401
        assert 'href="/sign-in?next=%2Fv1%2Fforks%3Fserial%3Da%2526b"' in refused.text
        page = await client.get("/sign-in?next=%2Fv1%2Fforks%3Fserial%3Da%2526b", headers=OURS)
        assert 'name="next" value="/v1/forks?serial=a%26b"' in page.text
        data = {"key": f"  {token_of(bench)}\n", "next": "/v1/forks?serial=a%26b"}
        answer = await client.post("/sign-in", data=data, headers=OURS)
        assert (answer.status_code, answer.headers["location"]) == (303, "/v1/forks?serial=a%26b")


async def test_every_key_that_is_not_in_force_is_answered_alike(shops: Two) -> None:
    bench, other = shops
    keys.revoke(bench.service.shop, token_of(other).split("-")[1])
    id = token_of(bench).split("-")[1]
    said = set()
    for key in (
        "",
        "x",
        "legwork",
        f"legwork-{id}-{'a' * 43}",
        f"legwork-{'0' * 12}-{'a' * 43}",
        token_of(other),
        "é" * 90,
    ):
        async with browser(bench) as client:
            answer = await client.post("/sign-in", data={"key": key}, headers=OURS)
            said.add(
                (answer.status_code, answer.text, answer.headers["www-authenticate"], "set-cookie" in answer.headers)
            )
    assert len(said) == 1
    assert "This key is not valid." in said.pop()[1]


async def test_it_ends_with_its_time_its_key_and_when_it_is_signed_out(shops_on_each: Two) -> None:
    bench, other = shops_on_each
    async with signed_in(bench) as one, signed_in(bench) as two, signed_in(other) as three:
        copied = {"Cookie": f"legwork-session={one.cookies['legwork-session']}"}
        answer = await one.post("/sign-out", headers={**OURS, **FORM})
        assert (answer.status_code, answer.headers["location"]) == (303, "/")
        assert "legwork-session" not in one.cookies
        assert_problem(await one.get("/v1/forks", headers=copied), 401)
        assert (await two.get("/v1/forks")).status_code == 200
        with bench.service.shop.write() as connection:
            gone = keys.now(-sessions.LASTS)
            mine = SESSIONS.c.key == token_of(bench).split("-")[1]
            connection.execute(update(SESSIONS).where(mine).values(expires_at=gone))
        assert_problem(await two.get("/v1/forks"), 401)
        assert (await two.get("/", headers=OURS)).status_code == 200
        assert len(stored(bench)) == 2
        async with signed_in(bench):
            assert {row["key"] for row in stored(bench)} == {token_of(each).split("-")[1] for each in (bench, other)}
            assert all(row["expires_at"] > keys.now() for row in stored(bench))
        keys.revoke(bench.service.shop, token_of(other).split("-")[1])
        assert_problem(await three.get("/v1/forks"), 401)
        assert len(stored(bench)) == 1


async def test_of_one_key_the_twenty_latest_hold(shops_on_each: Two) -> None:
    bench, other = shops_on_each
    shop = bench.service.shop
    key = keys.caller(shop, f"Bearer {token_of(bench)}")
    async with signed_in(other) as elsewhere, signed_in(bench) as first, signed_in(bench) as second:
        for _ in range(sessions.MOST - 1):
            sessions.begin(shop, key)
        assert_problem(await first.get("/v1/forks"), 401)
        assert (await second.get("/v1/forks")).status_code == 200
        async with signed_in(bench) as last:
            assert_problem(await second.get("/v1/forks"), 401)
            assert (await last.get("/v1/forks")).status_code == 200
        assert (await elsewhere.get("/v1/forks")).status_code == 200
        assert len(stored(bench)) == sessions.MOST + 1


async def test_signing_in_again_ends_the_session_before(shops: Two) -> None:
    bench, _ = shops
    async with signed_in(bench) as client:
        before = client.cookies["legwork-session"]
        await client.post("/sign-in", data={"key": token_of(bench)}, headers=OURS)
        assert client.cookies["legwork-session"] != before
        assert len(stored(bench)) == 1


async def test_it_is_in_the_audit_and_counted(shops: Two) -> None:
    bench, _ = shops
    async with signed_in(bench) as client:
        await client.post("/sign-in", data={"key": "wrong"}, headers=OURS)
        answer = await client.post("/sign-out", headers={**OURS, **FORM})
        assert answer.headers["ratelimit-policy"].startswith('"client";q=')
    id = token_of(bench).split("-")[1]
    told = [(each["path"], each["key"], each["status"], each["done"]) for each in bench.service.audit()]
    assert told == [("/sign-in", id, 303, True), ("/sign-in", None, 401, False), ("/sign-out", id, 303, True)]


async def test_a_form_that_is_none_of_ours_is_refused(shops: Two) -> None:
    bench, _ = shops
    sent = {
        b"key=" + b"a" * 9_000: 413, b"key=%ff": 400, b"key=a&key=b": 422, b"key=a&scope=admin": 422,
        b"key=a%00": 422, b"&".join([b"a=b"] * 9): 400,
    }  # fmt: skip
    headers = OURS | {"Accept": "*/*"}
    async with browser(bench) as client:
        for body, status in sent.items():
            assert_problem(await client.post("/sign-in", content=body, headers=headers | FORM), status)
        assert_problem(await client.post("/sign-in", json={"key": token_of(bench)}, headers=headers), 415)


async def test_closed_lookups_open_to_a_signed_in_browser(shops: Two) -> None:
    from app.catalogue.catalogue import Catalogue
    from app.main import create_app

    bench, _ = shops
    service = bench.service
    settings = service.app.state.settings.model_copy(update={"open_reads": False})
    service.app = create_app(settings, Catalogue(service.database), service.shop, log_to=service.log)
    async with browser(bench) as nobody, signed_in(bench) as client:
        assert (await client.get("/", headers=OURS)).status_code == 200
        assert (await nobody.get("/", headers=OURS)).status_code == 401
        assert (await nobody.get("/sign-in", headers=OURS)).status_code == 200
    assert (await ask(service.app, "/v1/makers", [("cookie", "legwork-session=")])).status == 401
