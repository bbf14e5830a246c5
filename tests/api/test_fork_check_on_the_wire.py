"""Fork check over HTTP: required parameters, units, formats and refusals."""

import pytest

from app.database.connections import Database
from tests.api.asking import asking
from tests.problems import assert_problem
from tests.questions.storing import store
from tests.questions.test_fork_check import rows

pytestmark = pytest.mark.anyio


async def test_a_frame_answers_with_reasons_and_geometry(database: Database) -> None:
    store(database, rows())
    async with asking(database) as client:
        response = await client.get("/v1/frames/frame/fork-check?chassis=fork&travel=170&length_unit=in")
        answer = response.json()
        assert (response.status_code, answer["allowed"]) == (200, "no")
        assert answer["margins"]["travel_below_greatest"]["unit"] == "in"
        assert answer["margins"]["travel_below_greatest"]["value"] == pytest.approx(-10 / 25.4, abs=0.01)
        assert answer["geometry"]["formula"]["validity"]
        table = await client.get("/v1/frames/frame/fork-check.csv?chassis=fork&travel=170")
        assert "travel-above-limit,no,true" in table.text


@pytest.mark.parametrize(
    ("query", "code", "parameter"),
    [
        ("travel=150", "missing", "chassis"),
        ("chassis=fork", "missing", "travel"),
        ("chassis=fork&travel=150&offset=48", "offset-outside", "offset"),
        ("chassis=fork&travel=150&offset=48bar", "unit-of-another-kind", "offset"),
        ("chassis=fork&travel=150&wheel=29", "unknown-parameter", "wheel"),
    ],
)
async def test_what_cannot_be_asked_is_refused_by_name(
    database: Database, query: str, code: str, parameter: str
) -> None:
    store(database, rows())
    async with asking(database) as client:
        assert_problem(await client.get(f"/v1/frames/frame/fork-check?{query}"), 422, code=code, parameter=parameter)


async def test_an_unknown_frame_or_chassis_is_a_404(database: Database) -> None:
    store(database, rows())
    async with asking(database) as client:
        assert_problem(await client.get("/v1/frames/none/fork-check?chassis=fork&travel=150"), 404)
        assert_problem(await client.get("/v1/frames/frame/fork-check?chassis=none&travel=150"), 404)
