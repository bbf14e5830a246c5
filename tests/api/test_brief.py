"""One answer for a screen: its parts are what the questions answer, at one revision."""

import httpx
import pytest

from app.database.connections import Database
from tests.api.asking import asking
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio

FORK = "/v1/chassis/tarnoch-raddle-37"
CONFIGURATION = {"travel": "160", "model_year": "2023", "wheel_size": "622"}
RIDER = {**CONFIGURATION, "rider_mass": "80"}


async def own(client: httpx.AsyncClient, path: str, **params: str) -> object:
    answer = await client.get(path, params=params)
    return answer.json()


async def test_each_part_is_the_answer_of_its_own_question(demo: Database) -> None:
    async with asking(demo) as client:
        frame = (await client.get("/v1/frames?limit=1")).json()["rows"][0]["id"]
        asked = {**RIDER, "job": "lower-leg-service", "frame": frame}
        found = (await client.get(f"{FORK}/brief", params=asked)).json()
        assert found["problems"] == []
        card = {**asked, "travel": "160"}
        parts = {
            "fits": await own(client, f"{FORK}/fits", **CONFIGURATION),
            "sheet": await own(client, f"{FORK}/sheet", **CONFIGURATION),
            "setup": await own(client, f"{FORK}/setup", **RIDER),
            "card": await own(client, f"{FORK}/job-card", **card),
            "fork_check": await own(
                client, f"/v1/frames/{frame}/fork-check", chassis="tarnoch-raddle-37", travel="160", wheel_size="622"
            ),
        }
        assert {name: found[name] for name in parts} == parts
        assert {part["revision"] for part in parts.values()} == {found["revision"]}  # type: ignore[index]


async def test_a_part_that_cannot_be_answered_is_a_problem_beside_the_others(demo: Database) -> None:
    async with asking(demo) as client:
        found = (await client.get(f"{FORK}/brief", params=RIDER)).json()
        assert [each["part"] for each in found["problems"]] == ["card", "fork_check"]
        errors = [each["problem"]["errors"][0] for each in found["problems"]]
        assert [(each["code"], each["parameter"]) for each in errors] == [("missing", "job"), ("missing", "frame")]
        assert {"fits", "sheet", "setup"} <= found.keys()
        unknown = assert_problem(await client.get("/v1/chassis/tarnoch-radle-37/brief", params=RIDER), 404)
        assert unknown["candidates"][0]["id"] == "tarnoch-raddle-37"


async def test_only_what_is_included_is_answered_and_only_as_json(demo: Database) -> None:
    async with asking(demo) as client:
        found = (await client.get(f"{FORK}/brief", params={**RIDER, "include": "setup", "curve": "none"})).json()
        assert found.keys() == {"revision", "setup", "problems", "cautions"}
        full = (await client.get(f"{FORK}/setup", params=RIDER)).json()
        assert (found["setup"]["curve"], found["setup"]["by_spacers"]) == ([], [])
        assert full["curve"]
        assert found["setup"]["bases"] == full["bases"]
        assert_problem(await client.get(f"{FORK}/brief", params={"include": "seat"}), 422, parameter="include")
        assert_problem(await client.get(f"{FORK}/brief", params={**RIDER, "format": "txt"}), 406)
