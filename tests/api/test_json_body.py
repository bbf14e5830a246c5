"""Request bodies: anything but plain strict JSON is refused, and digits arrive as sent (wire cases 5–9, 17)."""

import json
import time

import httpx
import pytest

from app.errors import Malformed
from app.web.reading.json_body import parse
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio

JSON = {"Content-Type": "application/json"}


async def send(client: httpx.AsyncClient, body: bytes) -> httpx.Response:
    return await client.post("/v1/things", content=body, headers=JSON)


async def test_digits_arrive_as_sent(client: httpx.AsyncClient) -> None:
    response = await send(client, b'{"value": 7.300000000000000000001, "name": "x"}')
    assert response.text == "7.300000000000000000001 x"


async def test_a_whole_number_is_a_number_and_minus_zero_is_zero(client: httpx.AsyncClient) -> None:
    assert (await send(client, b'{"value": 7, "name": "x"}')).text == "7 x"
    assert (await send(client, b'{"value": -0.0, "name": "x"}')).text == "0.0 x"


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b'{"value": 1, "name": "x"} trailing',
        b'{"value": 1, "value": 2, "name": "x"}',
        b'\xef\xbb\xbf{"value": 1, "name": "x"}',
        '{"value": 1, "name": "x"}'.encode("utf-16"),
        b'{"value": 1, "name": "\xff"}',
        b"[" * 21 + b"]" * 21,
        b"[" * 1_000 + b"]" * 1_000,
        b"[" * 49_000 + b"]" * 49_000,
        json.dumps({str(number): 1 for number in range(7_000)}).encode(),
    ],
)
async def test_what_is_not_json_is_a_400(client: httpx.AsyncClient, body: bytes) -> None:
    assert_problem(await send(client, body), 400)


@pytest.mark.parametrize(
    "body",
    [
        b"[" * 100_000 + b"]" * 100_000,
        json.dumps(dict.fromkeys(map(str, range(100_000)), 1)).encode(),
        b'"' * 100_001,
        b'"' + b'\\"' * 100_000,
        b"[" + b"1," * 500_000 + b"1]",
        b"[" + b"[]," * 300_000 + b"[]]",
    ],
    ids=["depth", "keys", "quotes", "escapes", "values", "lists"],
)
def test_what_is_hostile_is_refused_at_once(body: bytes) -> None:
    best = 1.0
    for _ in range(3):
        begun = time.thread_time()
        with pytest.raises(Malformed):
            parse(body)
        best = min(best, time.thread_time() - begun)
    assert best < 0.05 * slowness()


def slowness() -> float:
    """How much slower this machine is now than one that takes 5 ms for 100,000 additions (never below 1)."""
    begun = time.thread_time()
    total = 0
    for number in range(100_000):
        total += number
    return max(1.0, (time.thread_time() - begun) / 0.005)


async def test_twenty_levels_are_not_too_deep(client: httpx.AsyncClient) -> None:
    assert_problem(await send(client, b"[" * 20 + b'"]]["' + b"]" * 20), 422, code="not-an-object")


@pytest.mark.parametrize(
    ("body", "code"),
    [
        (b'{"value": NaN, "name": "x"}', "not-finite"),
        (b'{"value": -Infinity, "name": "x"}', "not-finite"),
        (b'{"value": 1e999, "name": "x"}', "out-of-range"),
        (b'{"value": 1e-400, "name": "x"}', "out-of-range"),
        (b'{"value": 1e999999999999999999999, "name": "x"}', "out-of-range"),
        (b'{"value": 9223372036854775808, "name": "x"}', "out-of-range"),
        (b'{"value": ' + b"9" * 5_000 + b', "name": "x"}', "out-of-range"),
        (b'{"value": 1, "name": "\\ud800"}', "refused-character"),
        (b'{"value": 1, "name": "\\u0000"}', "refused-character"),
        (b'{"value": 1, "name": "\\u202e"}', "refused-character"),
        (b'{"value": 1, "\\u0000": "x"}', "refused-character"),
        (b'{"value": true, "name": "x"}', "not-a-number"),
        (b'{"value": "1.5", "name": "x"}', "not-a-number"),
        (b'{"value": 1, "name": 5}', "not-text"),
        (b'{"value": 1, "name": "x", "count": true}', "not-an-integer"),
        (b'{"value": 1, "name": "x", "count": 1.5}', "not-an-integer"),
        (b'{"value": 1, "name": "x", "id": 4}', "unknown-field"),
        (b'{"value": 1}', "missing"),
        (b"[1]", "not-an-object"),
    ],
)
async def test_invalid_values_are_a_422(client: httpx.AsyncClient, body: bytes, code: str) -> None:
    response = await send(client, body)
    assert_problem(response, 422, code=code)
    assert len(response.content) < 1_000


async def test_the_place_of_a_fault_is_a_json_pointer(client: httpx.AsyncClient) -> None:
    assert_problem(await send(client, b'{"value": 1, "name": "a\\u0007"}'), 422, pointer="/name")
    assert_problem(await send(client, b'{"value": "1", "name": "x"}'), 422, pointer="/value")


@pytest.mark.parametrize("media_type", ["text/plain", "application/x-www-form-urlencoded", ""])
async def test_a_body_of_another_type_is_told_what_is_taken(client: httpx.AsyncClient, media_type: str) -> None:
    response = await client.post("/v1/things", content=b"{}", headers={"Content-Type": media_type})
    assert_problem(response, 415)
    assert response.headers["accept-post"] == "application/json"
