"""Identify over HTTP: clues as parameters, the list as CSV, refusals by name."""

import pytest

from app.database.connections import Database
from tests.api.asking import asking
from tests.problems import assert_problem
from tests.questions.storing import store
from tests.questions.test_identify import SMALL

pytestmark = pytest.mark.anyio


async def test_clues_give_candidates_and_the_next_look(database: Database) -> None:
    store(database, SMALL)
    async with asking(database) as client:
        answer = (await client.get("/v1/identify?stanchion_diameter=34.2&maker=Ostrel")).json()
        assert answer["candidates"][0]["chassis"]["id"] == "old"
        assert answer["next_check"]["readings"]
        table = await client.get("/v1/identify.csv?mark=K4")
        assert table.text.splitlines()[0].startswith("chassis.id,")


@pytest.mark.parametrize(
    ("query", "code", "parameter"),
    [
        ("?skip=shoe", "not-a-choice", "skip"),
        ("?stanchion=35", "unknown-parameter", "stanchion"),
        ("?stanchion_diameter=35bar", "unit-of-another-kind", "stanchion_diameter"),
        ("?model_year=twenty", "not-an-integer", "model_year"),
        ("?foot_joint=glue", "not-a-choice", "foot_joint"),
        ("?serial=" + "9" * 81, "too-long", "serial"),
    ],
)
async def test_what_cannot_be_a_clue_is_refused_by_name(
    database: Database, query: str, code: str, parameter: str
) -> None:
    store(database, SMALL)
    async with asking(database) as client:
        assert_problem(await client.get(f"/v1/identify{query}"), 422, code=code, parameter=parameter)


@pytest.mark.parametrize("mark", ["%", "_", "'; drop table chassis; --", "((((((((((((", "🚲", "\\"])
async def test_odd_text_is_a_clue_that_nothing_agrees_with(database: Database, mark: str) -> None:
    store(database, SMALL)
    async with asking(database) as client:
        response = await client.get("/v1/identify", params={"mark": mark, "serial": "#@#@#", "maker": mark})
        assert response.status_code == 200
        assert {each["parameter"] for each in response.json()["excluding"]} >= {"maker"}
