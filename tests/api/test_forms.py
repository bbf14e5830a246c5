"""Formats of an answer: how one is chosen, CSV for spreadsheets, what may be cached (wire cases 15, 16, 30, 47)."""

import csv
import gzip
import io

import httpx
import pytest

from app.web.representation.choose import ranges
from tests.api.shell import PARTS
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio

JSON, CSV = "application/json", "text/csv; charset=utf-8"


@pytest.mark.parametrize(
    ("path", "accept", "content_type"),
    [
        ("/v1/things/a", None, JSON),
        ("/v1/things/a", "", JSON),
        ("/v1/things/a", "*/*", JSON),
        ("/v1/things/a", "text/csv", CSV),
        ("/v1/things/a", "text/*", CSV),
        ("/v1/things/a", "application/json;q=0.2, text/csv;q=0.3", CSV),
        ("/v1/things/a", "text/csv;q=0.5, application/json;q=0.5", JSON),
        ("/v1/things/a", "application/json;q=0, */*", CSV),
        ("/v1/things/a", "application/xml, */*;q=0.1", JSON),
        ("/v1/things/a", "nonsense, text/csv", CSV),
        ("/v1/things/a?format=csv", "application/json", CSV),
        ("/v1/things/a.csv", "application/json", CSV),
        ("/v1/things/a.csv?format=json", "application/json", CSV),
        ("/v1/things/a.json", "text/csv", JSON),
    ],
)
async def test_the_end_of_the_address_beats_format_beats_accept(
    client: httpx.AsyncClient, path: str, accept: str | None, content_type: str
) -> None:
    del client.headers["accept"]
    response = await client.get(path, headers={} if accept is None else {"Accept": accept})
    assert (response.status_code, response.headers["content-type"]) == (200, content_type)
    assert ("Accept" in response.headers.get("vary", "")) is (path == "/v1/things/a"), "only if it is left open"


@pytest.mark.parametrize("accept", ["application/xml", "*/*;q=0", "application/json;q=0", "text/csv;q=0.0, image/png"])
async def test_what_no_form_satisfies_is_a_406_that_lists_the_forms(client: httpx.AsyncClient, accept: str) -> None:
    problem = assert_problem(await client.get("/v1/things/a", headers={"Accept": accept}), 406)
    assert {form["suffix"] for form in problem["available"]} >= {"json", "csv"}


async def test_an_answer_that_is_no_list_has_no_csv(client: httpx.AsyncClient) -> None:
    assert_problem(await client.get("/problems/gone", headers={"Accept": "text/csv"}), 406)


async def test_a_form_that_a_route_does_not_choose_is_no_address(client: httpx.AsyncClient) -> None:
    assert_problem(await client.get("/v1/plain.csv"), 404)


def test_accept_is_read_as_in_the_example_of_rfc_9110() -> None:
    # RFC 9110, section 12.5.1, last example; parameters other than q are not weighed here
    read = ranges("text/*;q=0.3, text/plain;q=0.7, text/plain;format=flowed, text/plain;format=fixed;q=0.4, */*;q=0.5")
    assert [(part.kind, part.subtype, part.quality) for part in read] == [
        ("text", "*", 0.3),
        ("text", "plain", 0.7),
        ("text", "plain", 1.0),
        ("text", "plain", 0.4),
        ("*", "*", 0.5),
    ]


async def test_csv_guards_text_and_leaves_numbers_numbers(client: httpx.AsyncClient) -> None:
    response = await client.get("/v1/things/a.csv")
    first, second = csv.DictReader(io.StringIO(response.text, newline=""))
    assert first == {"id": "a", "name": "'=1+1", "length": "-5.5", "marks": "x;y"}
    assert second["name"] == PARTS[1]["name"]
    assert response.text.endswith("\r\n")


async def test_an_empty_list_has_the_same_header(client: httpx.AsyncClient) -> None:
    full, empty = await client.get("/v1/things/a.csv"), await client.get("/v1/things/none.csv")
    assert full.text.split("\r\n")[0] + "\r\n" == empty.text


async def test_head_has_the_headers_of_get_and_no_body(client: httpx.AsyncClient) -> None:
    for path in ("/v1/things/a?size=5000", "/healthz", "/openapi.json"):
        got, head = await client.get(path), await client.head(path)
        assert head.status_code == 200
        assert head.content == b""
        changing = {"x-request-id"}
        assert {k: v for k, v in head.headers.items() if k not in changing} == {
            k: v for k, v in got.headers.items() if k not in changing
        }


async def test_options_lists_every_method_of_the_address(client: httpx.AsyncClient) -> None:
    response = await client.options("/v1/things/a")
    assert (response.status_code, response.headers["allow"], response.content) == (204, "GET, PUT, HEAD, OPTIONS", b"")
    assert_problem(await client.options("/nothing"), 404)


@pytest.mark.parametrize("method", ["POST", "DELETE", "PATCH", "TRACE", "FOO"])
async def test_another_method_is_a_405_that_lists_them(client: httpx.AsyncClient, method: str) -> None:
    response = await client.request(method, "/v1/things/a")
    assert_problem(response, 405)
    assert response.headers["allow"] == "GET, PUT, HEAD, OPTIONS"


async def test_unchanged_is_a_304_however_the_tag_is_listed(client: httpx.AsyncClient) -> None:
    tag = (await client.get("/v1/things/a")).headers["etag"]
    assert tag.startswith('"')
    for listed in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        response = await client.get("/v1/things/a", headers={"If-None-Match": listed})
        assert (response.status_code, response.content, response.headers["etag"]) == (304, b"", tag)
        assert "content-type" not in response.headers
    other = await client.get("/v1/things/a", headers={"If-None-Match": '"other"'})
    assert other.status_code == 200


async def test_the_tag_is_of_the_body_before_compression(client: httpx.AsyncClient) -> None:
    path = "/v1/things/a?size=5000"
    plain = await client.get(path, headers={"Accept-Encoding": "identity"})
    async with client.stream("GET", path, headers={"Accept-Encoding": "gzip"}) as packed:
        raw = b"".join([part async for part in packed.aiter_raw()])
    assert gzip.decompress(raw) == plain.content
    assert len(raw) < len(plain.content) / 5
    assert packed.headers["etag"] == "W/" + plain.headers["etag"]
    assert packed.headers["vary"] == plain.headers["vary"] == "Accept, Cookie, Accept-Encoding"
    again = await client.get(path, headers={"Accept-Encoding": "gzip", "If-None-Match": packed.headers["etag"]})
    assert again.status_code == 304


async def test_tags_differ_by_form_and_by_what_was_asked(client: httpx.AsyncClient) -> None:
    paths = ("/v1/things/a", "/v1/things/a.csv", "/v1/things/a?travel=150")
    assert len({(await client.get(path)).headers["etag"] for path in paths}) == len(paths)


async def test_only_what_a_pinned_revision_says_is_kept(client: httpx.AsyncClient) -> None:
    assert (await client.get("/v1/things/a")).headers["cache-control"] == "no-cache"
    assert (await client.get("/v1/things/a?revision=1")).headers["cache-control"] == "max-age=86400"
