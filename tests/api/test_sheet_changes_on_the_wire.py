"""Changes of a sheet over HTTP."""

import pytest

from app.database.connections import Database
from tests.api.asking import asking
from tests.problems import assert_problem
from tests.questions.storing import store
from tests.questions.test_sheet_changes import START, torque

pytestmark = pytest.mark.anyio


async def test_the_changes_since_a_printed_revision(database: Database) -> None:
    store(database, START)
    async with asking(database) as client:
        printed = (await client.get("/v1/chassis/fork/sheet")).json()["revision"]
        store(database, [torque(value="7.3")])
        address = f"/v1/chassis/fork/sheet/changes?since={printed}"
        answer = (await client.get(address)).json()
        assert [change["id"] for change in answer["changes"]] == ["torque"]
        assert (await client.get(f"{address}&revision=1")).json()["changes"] == []
        table = await client.get(address.replace("changes?", "changes.csv?"))
        assert "changed,torques,torque" in table.text
        assert_problem(await client.get(f"{address}&detail=preload"), 422, code="unknown-parameter")
        assert_problem(await client.get("/v1/chassis/fork/sheet/changes"), 422, code="missing", parameter="since")
        later = await client.get("/v1/chassis/fork/sheet/changes?since=9")
        assert_problem(later, 422, code="revision-later", parameter="since", suggestion="2")
        assert_problem(await client.get("/v1/chassis/none/sheet/changes?since=1"), 404)
