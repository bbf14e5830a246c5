"""Units, conversion and standards over HTTP: shapes, formats, strict parameters."""

import csv
import io

import httpx
import pytest

from tests.problems import assert_problem

pytestmark = pytest.mark.anyio


async def test_a_conversion_gives_the_factor_of_nist(client: httpx.AsyncClient) -> None:
    # NIST SP 811 (2008), B.8: 1 lbf·in = 1.129848 E-01 N·m
    response = await client.get("/v1/convert", params={"value": "7.3", "from": "N·m", "to": "in·lbf"})
    assert response.status_code == 200
    answer = response.json()
    assert answer["kind"] == "torque"
    assert 1 / float(answer["factor"]) == pytest.approx(1.129848e-1, rel=5e-7)
    assert float(answer["exact"]) == pytest.approx(7.3 / 1.129848e-1, rel=5e-7)
    assert answer["result"]["as_published"] == "7.3 N·m"


@pytest.mark.parametrize(("rounding", "text"), [("up", "65 in·lbf"), ("down", "64 in·lbf"), ("nearest", "65 in·lbf")])
async def test_rounding_is_as_asked(client: httpx.AsyncClient, rounding: str, text: str) -> None:
    params = {"value": "7.3", "from": "Nm", "to": "in-lb", "round": rounding, "digits": "0"}
    assert (await client.get("/v1/convert", params=params)).json()["result"]["text"] == text


@pytest.mark.parametrize(
    ("query", "code", "parameter"),
    [
        ("value=1&from=N·m&to=J", "unit-of-another-kind", "to"),
        ("value=1&from=bar&to=bar(a)", "unit-of-another-kind", "to"),
        ("value=1&from=Nmm2&to=J", "unit-unknown", "from"),
        ("value=9**9**9&from=bar&to=psi", "not-a-number", "value"),
        ("value=1&from=bar&to=psi&round=away", "not-a-choice", "round"),
        ("value=1&from=bar&to=psi&digits=13", "out-of-range", "digits"),
        ("value=1&from=bar&to=psi&travel=150", "unknown-parameter", "travel"),
        ("value=1&from=bar&from=psi&to=psi", "repeated-parameter", "from"),
        ("value=1&from=bar", "missing", "to"),
    ],
)
async def test_what_cannot_be_converted_is_refused_by_name(
    client: httpx.AsyncClient, query: str, code: str, parameter: str
) -> None:
    assert_problem(await client.get(f"/v1/convert?{query}"), 422, code=code, parameter=parameter)


async def test_a_conversion_is_no_list(client: httpx.AsyncClient) -> None:
    assert_problem(await client.get("/v1/convert.csv?value=1&from=bar&to=psi"), 406)


async def test_the_unit_table_names_the_parameter_that_overrides_a_kind(client: httpx.AsyncClient) -> None:
    kinds = {row["kind"]: row for row in (await client.get("/v1/units")).json()["kinds"]}
    assert kinds["torque"]["parameter"] == "torque_unit"
    assert kinds["torque"]["metric"] == "N·m"
    assert "Nm" in kinds["torque"]["units"][0]["spellings"]


async def test_every_standard_that_is_listed_is_there_with_as_many_rows_as_said(client: httpx.AsyncClient) -> None:
    listed = (await client.get("/v1/standards")).json()["tables"]
    assert len(listed) >= 12
    for each in listed:
        table = (await client.get(each["href"])).json()
        assert len(table["rows"]) == each["rows_total"]
        assert all(row["source"] and row["verified"] for row in table["rows"])


async def test_a_standard_is_a_spreadsheet_too(client: httpx.AsyncClient) -> None:
    response = await client.get("/v1/standards/viscosity-classes.csv")
    rows = list(csv.DictReader(io.StringIO(response.text, newline="")))
    # ISO 3448:1992, table 1: ISO VG 15 spans 13.5 to 16.5 mm²/s at 40 °C
    (vg15,) = (row for row in rows if row["iso_vg"] == "15")
    assert (float(vg15["min_mm2_per_s"]), float(vg15["max_mm2_per_s"])) == (13.5, 16.5)


async def test_a_standard_that_is_not_there_is_a_404_with_near_names(client: httpx.AsyncClient) -> None:
    problem = assert_problem(await client.get("/v1/standards/thread"), 404)
    assert problem["candidates"][0]["id"] == "threads"


@pytest.mark.parametrize("path", ["/v1/units", "/v1/standards", "/v1/standards/threads"])
async def test_no_other_parameter_is_taken(client: httpx.AsyncClient, path: str) -> None:
    assert_problem(await client.get(f"{path}?units=metric"), 422, code="unknown-parameter", parameter="units")
