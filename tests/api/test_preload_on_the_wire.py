"""`detail=preload` over HTTP: on the sheet only, and with that word only."""

import pytest

from app.catalogue.tables import Chassis, Fastener, Torque
from app.database.connections import Database
from tests.api.asking import asking
from tests.problems import assert_problem
from tests.questions.storing import store
from tests.questions.test_preload import FOOT_BOLT, TORQUE

pytestmark = pytest.mark.anyio


async def test_detail_is_taken_by_the_sheet_alone(database: Database) -> None:
    chassis = Chassis.checked(id="fork", maker="maker", name="Fork", model_year_from=2020, model_year_to=2024)
    store(database, [chassis, Fastener.checked(FOOT_BOLT), Torque.model_validate(TORQUE)])
    async with asking(database) as client:
        answer = (await client.get("/v1/chassis/fork/sheet?detail=preload")).json()
        (torque,) = answer["torques"]
        assert torque["preload"]["proof_load"] == "within"
        for link in torque["preload"]["standards"]:
            table = (await client.get(link["href"])).json()
            assert link["row"] in {row["id"] for row in table["rows"]}
        wrong = await client.get("/v1/chassis/fork/sheet?detail=preloads")
        assert_problem(wrong, 422, code="not-a-choice", parameter="detail", suggestion="preload")
        other = await client.get("/v1/chassis/fork/fits?detail=preload")
        assert_problem(other, 422, code="unknown-parameter", parameter="detail")
