"""Alternatives for a fluid and the fits of a spring, over HTTP."""

import csv
import io

import pytest

from app.database.connections import Database
from tests.api.asking import asking
from tests.problems import assert_problem
from tests.questions.storing import store
from tests.questions.test_parts import OILS, SOURCE

pytestmark = pytest.mark.anyio


async def test_alternatives_are_an_answer_a_spreadsheet_and_an_imperial_answer(database: Database) -> None:
    store(database, [SOURCE, *OILS])
    async with asking(database) as client:
        answer = (await client.get("/v1/fluids/middling/alternatives?temperature=68°F&units=imperial")).json()
        assert answer["revision"] == 1
        assert answer["temperature"]["text"] == "68 °F"
        assert answer["formula"]["source"].startswith("ASTM D341")
        sheet = await client.get("/v1/fluids/middling/alternatives.csv?temperature=20")
        rows = list(csv.DictReader(io.StringIO(sheet.text, newline="")))
        assert [row["id"] for row in rows] == [each["id"] for each in answer["alternatives"]]


async def test_what_is_not_there_or_not_taken_is_refused_by_name(database: Database) -> None:
    store(database, [SOURCE, *OILS])
    store(database, withdrawn=[OILS[2]])
    async with asking(database) as client:
        assert_problem(await client.get("/v1/fluids/nothing/alternatives"), 404)
        assert_problem(await client.get("/v1/fluids/thin/alternatives"), 410)
        assert (await client.get("/v1/fluids/thin/alternatives?revision=1")).status_code == 200
        assert_problem(await client.get("/v1/springs/nothing/fits"), 404)
        hot = await client.get("/v1/fluids/middling/alternatives?temperature=300")
        assert_problem(hot, 422, code="out-of-range", parameter="temperature", suggestion="150")
        near = await client.get("/v1/springs/nothing/fits?travle=1")
        assert_problem(near, 422, code="unknown-parameter", parameter="travle")
