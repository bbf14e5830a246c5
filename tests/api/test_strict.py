"""Parameters that are unknown, repeated, empty, non-finite or unreadable are refused (cases 2, 3, 5, 6, 7, 20)."""

import httpx
import pytest

from tests.problems import assert_problem

pytestmark = pytest.mark.anyio


async def test_an_unknown_parameter_is_named_with_the_nearest_known_one(client: httpx.AsyncClient) -> None:
    response = await client.get("/v1/things/a?travle=150")
    assert_problem(response, 422, code="unknown-parameter", parameter="travle", suggestion="travel")


async def test_a_parameter_like_nothing_known_gets_no_suggestion(client: httpx.AsyncClient) -> None:
    problem = assert_problem(await client.get("/v1/things/a?zzz=1"), 422, code="unknown-parameter", parameter="zzz")
    assert "suggestion" not in problem["errors"][0]


async def test_all_faults_are_reported_at_once(client: httpx.AsyncClient) -> None:
    problem = assert_problem(await client.get("/v1/things/a?travle=1&model_year=x&sag=NaN"), 422)
    assert [error["code"] for error in problem["errors"]] == ["unknown-parameter", "not-an-integer", "not-a-number"]


async def test_a_single_valued_parameter_may_not_repeat(client: httpx.AsyncClient) -> None:
    response = await client.get("/v1/things/a?travel=150&travel=160")
    assert_problem(response, 422, code="repeated-parameter", parameter="travel")


async def test_a_list_parameter_may_repeat(client: httpx.AsyncClient) -> None:
    assert (await client.get("/v1/things/a?reading=38mm@72psi&reading=40mm@70psi")).status_code == 200


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("sag=NaN", "not-a-number"),
        ("sag=Infinity", "not-a-number"),
        ("sag=-inf", "not-a-number"),
        ("sag=1e999", "out-of-range"),
        ("sag=1e-400", "out-of-range"),
        ("sag=1_000", "not-a-number"),
        ("model_year=9223372036854775808", "out-of-range"),
        ("model_year=" + "9" * 5000, "out-of-range"),
        ("model_year=2024.0", "not-an-integer"),
        ("model_year=%D9%A2%D9%A0%D9%A2%D9%A4", "not-an-integer"),  # 2024 in Arabic-Indic digits
        ("travel=%00", "refused-character"),
        ("travel=a%0d%0ab", "refused-character"),
        ("travel=%E2%80%AE150", "refused-character"),  # U+202E, right-to-left override
        ("travel=%ED%A0%80", "not-utf-8"),  # a lone surrogate
        ("travel=%FF", "not-utf-8"),
        ("travel=", "empty"),
        ("travel", "empty"),
        ("units=metrik", "not-a-choice"),
        ("size=9000000", "out-of-range"),
        ("revision=-1", "out-of-range"),
        ("as_of=2024", "not-a-date"),
        ("as_of=2024-02-30", "not-a-date"),
        ("revision=1&as_of=2024-02-03", "two-moments"),
        ("&".join(["reading=1"] * 201), "too-many"),
    ],
)
async def test_an_invalid_value_is_refused(client: httpx.AsyncClient, query: str, code: str) -> None:
    response = await client.get(f"/v1/things/a?{query}")
    assert_problem(response, 422, code=code)
    assert len(response.content) < 1_500  # long input is not sent back


async def test_a_choice_gets_the_nearest_one(client: httpx.AsyncClient) -> None:
    response = await client.get("/v1/things/a?units=metrics")
    assert_problem(response, 422, code="not-a-choice", parameter="units", suggestion="metric")


async def test_minus_zero_is_zero(client: httpx.AsyncClient) -> None:
    assert (await client.get("/v1/things/a?sag=-0")).status_code == 200


async def test_composed_and_decomposed_letters_are_the_same_word(client: httpx.AsyncClient) -> None:
    composed = await client.get("/v1/things/a", params={"travel": "é"})
    decomposed = await client.get("/v1/things/a", params={"travel": "e\N{COMBINING ACUTE ACCENT}"})
    assert composed.json() == decomposed.json()


async def test_empty_fields_of_a_page_form_are_dropped_by_a_redirect_to_a_path(client: httpx.AsyncClient) -> None:
    response = await client.get("/v1/things/a.json?travel=150&model_year=", headers={"Accept": "text/html"})
    assert (response.status_code, response.headers["location"]) == (303, "/v1/things/a.json?travel=150")


@pytest.mark.parametrize(
    "path",
    [
        "/v1/things/A",
        "/v1/things/-a",
        "/v1/things/" + "a" * 81,
        "/v1/things/..%2f..%2fetc%2fpasswd",
        "/v1/things/%2e%2e",
        "/v1/things/a%5cb",
        "/v1/things/a%00",
        "/v1/things/%ED%A0%80",
        "/v1/things/a/",
        "/v1//things/a",
        "/static/%2e%2e/main.py",
        "/static/..%2fmain.py",
        "/static//etc/passwd",
        "/static/docs.js%00",
        "/healthz.json",
        "/v1/fault2.csv",
    ],
)
async def test_an_address_of_nothing_is_a_404(client: httpx.AsyncClient, path: str) -> None:
    assert_problem(await client.get(path), 404)


async def test_a_parameter_must_be_known_on_every_route(client: httpx.AsyncClient) -> None:
    for path in ("/healthz", "/readyz", "/docs", "/openapi.json", "/problems", "/problems/gone", "/static/docs.js"):
        assert_problem(await client.get(f"{path}?x=1"), 422, code="unknown-parameter", parameter="x")
