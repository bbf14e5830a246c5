"""Refusals, faults, hosts, headers, log and limits as a client sees them (wire cases 10, 11, 18, 19, 29, 31,
49, 50)."""

import asyncio
import io
import json
from collections.abc import AsyncIterator, Callable
from typing import Any

import httpx
import pytest

from app.settings import Settings
from app.web.contract.problem_types import PROBLEM_TYPES
from app.web.problem import SLUG_OF
from tests.api.shell import REFUSALS, Catalogue, shell
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio

Lines = Callable[[], list[dict[str, Any]]]
SECRET = "Zm9yLXRlc3RzLW9ubHktbm90LWEta2V5LWF0LWFsbA"  # 43 characters of base64url encode 256 bits


@pytest.mark.parametrize(
    ("name", "status"),
    [
        ("malformed", 400),
        ("unauthorised", 401),
        ("forbidden", 403),
        ("sent-from-elsewhere", 403),
        ("not-found", 404),
        ("conflict", 409),
        ("gone", 410),
        ("stale", 412),
        ("too-large", 413),
        ("invalid", 422),
        ("precondition", 428),
        ("unavailable", 503),
        ("no-room", 507),
    ],
)
async def test_each_refusal_has_its_status_and_a_type_that_resolves(
    client: httpx.AsyncClient, name: str, status: int
) -> None:
    response = await client.get(f"/v1/refusals/{name}")
    problem = assert_problem(response, status)
    explained = await client.get(problem["type"])
    assert explained.json()["status"] == status
    assert ("www-authenticate" in response.headers) == (status == 401)
    assert response.headers.get("retry-after") == ("7" if status == 503 else None)


def test_every_refusal_is_tried_above() -> None:
    assert {type(refusal) for refusal in REFUSALS.values()} == set(SLUG_OF)


async def test_what_a_refusal_carries_comes_along(client: httpx.AsyncClient) -> None:
    problem = assert_problem(await client.get("/v1/refusals/not-found"), 404)
    assert problem["candidates"] == [{"id": "near", "score": 0.9}]


async def test_every_kind_of_problem_has_a_page(client: httpx.AsyncClient) -> None:
    listed = (await client.get("/problems")).json()["problems"]
    assert [row["type"] for row in listed] == [kind.link for kind in PROBLEM_TYPES.values()]
    assert_problem(await client.get("/problems/none-such"), 404)


@pytest.mark.parametrize(
    ("path", "meant"),
    [
        ("/v1/chasis/some-fork/sheet", "/v1/chassis/some-fork/sheet"),
        ("/v1/chassis/some-fork/shet.csv", "/v1/chassis/some-fork/sheet"),
        ("/v1/torque", "/v1/torques"),
        ("/v1/revision/3", "/v1/revisions/3"),
        ("/v1/chassis/some-fork/price", None),
        ("/v2/something/else/entirely/there", None),
    ],
)
async def test_a_misspelt_address_gets_the_one_that_was_meant(
    client: httpx.AsyncClient, path: str, meant: str | None
) -> None:
    problem = assert_problem(await client.get(path), 404)
    assert [each["suggestion"] for each in problem.get("errors", ())] == ([meant] if meant else [])


async def test_a_fault_of_ours_tells_the_log_everything_and_the_client_an_id(
    client: httpx.AsyncClient, lines: Lines
) -> None:
    response = await client.get("/v1/fault")
    problem = assert_problem(response, 500)
    assert problem.keys() == {"type", "title", "status", "detail", "instance", "request_id"}
    assert "content-security-policy" in response.headers
    fault, request = lines()
    assert (fault["event"], fault["request_id"]) == ("fault", problem["request_id"])
    assert "RuntimeError: SELECT secret" in fault["exception"]
    assert (request["event"], request["status"]) == ("request", 500)


async def test_what_takes_too_long_is_given_up(client: httpx.AsyncClient) -> None:
    response = await client.get("/v1/slow")
    assert_problem(response, 503)
    assert int(response.headers["retry-after"]) > 0


async def test_more_at_once_than_allowed_is_a_503_but_the_process_still_says_it_lives(log: io.StringIO) -> None:
    app = shell(Settings(max_in_flight=1, request_timeout=0.3, allowed_hosts=["*"]), log_to=log)
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://any") as client:
        slow = asyncio.create_task(client.get("/v1/slow"))
        await asyncio.sleep(0.05)
        assert_problem(await client.get("/v1/plain"), 503)
        assert (await client.get("/healthz")).status_code == 200
        await slow
        assert (await client.get("/v1/plain")).status_code == 200


async def test_readiness_says_what_is_wrong() -> None:
    for wrong, status in ((None, 200), ("The catalogue is locked.", 503)):
        app = shell(Settings(allowed_hosts=["*"]), catalogue=Catalogue(wrong), log_to=io.StringIO())
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://any") as client:
            response = await client.get("/readyz")
            assert response.status_code == status
            if wrong:
                assert assert_problem(response, 503)["detail"] == wrong
            assert (await client.get("/healthz")).status_code == 200


@pytest.mark.parametrize(
    ("host", "is_ours"),
    [
        ("legwork.test", True),
        ("LEGWORK.test:8000", True),
        ("a.below.test", True),
        ("below.test", False),
        ("evil.test", False),
        ("legwork.test.evil.test", False),
        ("legwork.test:80@evil.test", False),
        ("", False),
        *(
            (f"{below}.below.test", False)
            for below in ("a/x", "a#", "a?", "a\\", "<b>", "a b", "", "a.", "-a..b", "a@b", "a:1", "%61", "é", "a" * 64)
        ),
        ("legwork.test:", False),
        ("legwork.test:123456", False),
    ],
)
async def test_only_our_hosts_are_answered(client: httpx.AsyncClient, host: str, is_ours: bool) -> None:
    response = await client.get("/healthz", headers=[(b"Host", host.encode("latin-1"))])
    if is_ours:
        assert response.status_code == 200
    else:
        assert "LEGWORK_ALLOWED_HOSTS" in assert_problem(response, 400)["detail"]
        assert "evil" not in response.text


@pytest.mark.parametrize("host", ["a/x", "a#", "<b>", ".a", "a..b", "a@b", "[::1", "::1", "[]", "*", '"', "a,b"])
async def test_where_any_host_is_allowed_it_must_still_be_one(host: str) -> None:
    app = shell(Settings(allowed_hosts=["*"]), log_to=io.StringIO())
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://any") as client:
        assert_problem(await client.get("/healthz", headers={"Host": host}), 400)
        for good in ("any", "my_machine.local:8000", "[fe80::1]:80", "192.168.1.20"):
            assert (await client.get("/healthz", headers={"Host": good})).status_code == 200


@pytest.mark.parametrize(
    ("accepted", "packed"),
    [
        ("gzip", True), ("GZIP", True), ("x-gzip", True), ("br, gzip;q=0.001", True), ("gzip ; q=1", True),
        ("gzip;q=0", False), ("gzip;q=0.000, br", False), ("x-gzipfoo", False), ("gzipped", False), ("agzip", False),
        ("*;q=0", False), ("identity", False), ("", False), ("gzip;q=x", False),
    ],
)  # fmt: skip
async def test_an_answer_is_packed_only_for_who_takes_it(
    client: httpx.AsyncClient, accepted: str, packed: bool
) -> None:
    response = await client.get("/v1/things/a?size=5000", headers={"Accept-Encoding": accepted})
    assert ("content-encoding" in response.headers) is packed
    assert "Accept-Encoding" in response.headers["vary"]


async def test_forwarded_headers_change_nothing(client: httpx.AsyncClient, lines: Lines) -> None:
    forged = {"X-Forwarded-Host": "evil.test", "X-Forwarded-Proto": "gopher", "X-Forwarded-For": "6.6.6.6"}
    for path in ("/v1/things/a", "/openapi.json", "/problems", "/nothing"):
        response = await client.get(path, headers=forged)
        assert "evil.test" not in response.text + str(response.headers)
    assert {line["client"] for line in lines()} == {"127.0.0.1"}


@pytest.mark.parametrize("sent", ["short", "with space in it", "é" * 9, "x" * 65, "a\tbcdefgh", "<script>alert(1)"])
async def test_a_bad_request_id_is_replaced(client: httpx.AsyncClient, sent: str) -> None:
    response = await client.get("/healthz", headers=[(b"X-Request-ID", sent.encode("latin-1"))])
    assert response.headers["x-request-id"] != sent
    assert len(response.headers["x-request-id"]) == 16


async def test_a_good_request_id_is_kept_in_answer_problem_and_log(client: httpx.AsyncClient, lines: Lines) -> None:
    response = await client.get("/nothing", headers={"X-Request-ID": "order-2024-0001"})
    assert response.headers["x-request-id"] == "order-2024-0001"
    assert assert_problem(response, 404)["request_id"] == lines()[0]["request_id"] == "order-2024-0001"


async def test_one_line_a_request_whatever_is_sent(client: httpx.AsyncClient, lines: Lines, log: io.StringIO) -> None:
    evil = {"User-Agent": 'x\x1b[31m"},{"event":"forged'}
    await client.get("/v1/things/a%0d%0a%1b[2J?travel=%0a&q%0d%0a=1", headers=evil)
    (line,) = lines()
    assert log.getvalue().count("\n") == 1
    assert not {"\r", "\x1b"} & set(log.getvalue())
    assert (line["status"], line["method"]) == (404, "GET")
    assert line["path"] == "/v1/things/a%0d%0a%1b[2J"


@pytest.mark.parametrize("text_log", [False, True])
async def test_no_character_that_a_terminal_acts_on_reaches_the_log(text_log: bool) -> None:
    """C0 and C1 controls, line separators and direction marks, from a header and from a server event."""
    log = io.StringIO()
    app = shell(Settings(allowed_hosts=["*"], log_format="text" if text_log else "json"), log_to=log)
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://any") as client:
        await client.get(
            "/healthz", headers=[(b"User-Agent", bytes([*range(1, 9), *range(0x7F, 0xA0), 0xAD]) + b"end")]
        )
    app.state.logger.warning("said", text="a\x9b31m\u2028\u202e\u2066\u200b\ufeffz \U000e0001")
    assert all(character.isprintable() or character == "\n" for character in log.getvalue())
    assert log.getvalue().count("\n") == 2
    if not text_log:
        first, second = map(json.loads, log.getvalue().splitlines())
        assert first["agent"].endswith("\x9f\xadend")
        assert second["text"].endswith("\ufeffz \U000e0001")


@pytest.mark.parametrize("before", [*range(150, 320, 7), 1_940, 1_990])
async def test_no_part_of_a_key_that_a_cut_leaves_is_logged(before: int) -> None:
    """Path, parameter names and user agent are cut; a key that crosses the cut is removed whole."""
    log = io.StringIO()
    app = shell(Settings(allowed_hosts=["*"]), log_to=log)
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://any") as client:
        await client.get(f"/{'a/' * (before // 2)}{SECRET}", headers={"User-Agent": f"{'b ' * (before // 2)}{SECRET}"})
        await client.get(f"/healthz?{'c' * before}&{SECRET}=1")
        await client.get(f"/healthz?c={'c' * before}&{SECRET}=1")
    assert not [SECRET[at : at + 6] for at in range(len(SECRET) - 5) if SECRET[at : at + 6] in log.getvalue()]


@pytest.mark.parametrize("text_log", [False, True])
async def test_a_key_is_never_logged(text_log: bool) -> None:
    log = io.StringIO()
    app = shell(Settings(allowed_hosts=["*"], log_format="text" if text_log else "json"), log_to=log)
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://any") as client:
        await client.get(f"/v1/things/{SECRET}?key={SECRET}&{SECRET}=1", headers={"Authorization": f"Bearer {SECRET}"})
        await client.get("/healthz", headers={"User-Agent": SECRET, "X-Api-Key": SECRET})
    assert log.getvalue().count("\n") == 2
    assert SECRET not in log.getvalue()


async def test_parameters_are_logged_by_name_only(client: httpx.AsyncClient, lines: Lines) -> None:
    await client.get("/v1/things/a?travel=150&model_year=2024")
    assert lines()[0]["parameters"] == "travel&model_year"
    assert "2024" not in json.dumps({**lines()[0], "time": ""})


@pytest.mark.parametrize("path", ["/v1/things/a", "/v1/things/a.csv", "/nothing", "/docs", "/v1/fault", "/healthz?x=1"])
async def test_a_browser_is_told_what_an_answer_may_not_do(client: httpx.AsyncClient, path: str) -> None:
    response = await client.get(path)
    assert response.headers["x-content-type-options"] == "nosniff"
    assert response.headers["referrer-policy"] == "no-referrer"
    policy = response.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert "server" not in response.headers


async def test_a_body_over_the_limit_is_refused_with_and_without_its_length(client: httpx.AsyncClient) -> None:
    taken = 0

    async def endless() -> AsyncIterator[bytes]:
        nonlocal taken
        for _ in range(1_000):
            taken += 10_000
            yield b" " * 10_000

    json_type = {"Content-Type": "application/json"}
    assert_problem(await client.post("/v1/things", content=b" " * 100_001, headers=json_type), 413)
    assert_problem(await client.post("/v1/things", content=endless(), headers=json_type), 413)
    assert taken < 200_000  # refused at the first byte too many, not at the end


@pytest.mark.parametrize("encoding", ["gzip", "br", "deflate, gzip"])
async def test_a_compressed_body_is_not_taken(client: httpx.AsyncClient, encoding: str) -> None:
    headers = {"Content-Type": "application/json", "Content-Encoding": encoding}
    assert_problem(await client.post("/v1/things", content=b"x", headers=headers), 415)


async def test_address_and_header_have_their_limits(client: httpx.AsyncClient) -> None:
    assert_problem(await client.get("/v1/things/a?travel=" + "9" * 9_000), 414)
    assert_problem(await client.get("/healthz", headers={"X-Long": "x" * 20_000}), 431)
    assert_problem(await client.get("/healthz", headers={f"X-{number}": "" for number in range(200)}), 431)
