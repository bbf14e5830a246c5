"""Each shop sees only its own forks: another shop tries every route of the bench log in the API description."""

from pathlib import Path
from typing import Any

import pytest

from app.database.connections import Database
from tests.bench.working import CHASSIS, FORK, Bench, benches
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio
BODIES: dict[tuple[str, str], Any] = {
    ("post", "/v1/forks/{id}/services"): {"job": "full-service"},
    ("put", "/v1/forks/{id}"): FORK,
    ("post", "/v1/forks"): {**FORK, "serial": "another"},
    ("post", "/v1/statements/{id}/flags"): {"text": "looks wrong"},
    ("post", "/v1/work-orders"): {"card": {"chassis": CHASSIS, "job": "full-service"}},
    ("patch", "/v1/work-orders/{id}"): {"ticks": {"1": True}},
    ("post", "/v1/work-orders/{id}/record"): {},
}
IN_QUESTIONS = [
    f"/v1/chassis/{CHASSIS}/sheet?fork={{id}}",
    f"/v1/chassis/{CHASSIS}/setup?fork={{id}}",
    f"/v1/chassis/{CHASSIS}/job-card?job=full-service&fork={{id}}",
    f"/v1/chassis/{CHASSIS}/brief?fork={{id}}",
    "/v1/work-orders?fork={id}",
]
NEVER_GIVEN = "a2b3c4d5e6f7a2b3c4d5e6f7a2"


def routes(bench: Bench) -> list[tuple[str, str]]:
    """Every operation of the bench log, and every question that takes a fork."""
    paths = bench.service.app.openapi()["paths"]
    found = [
        (method, path)
        for path, methods in paths.items()
        for method, operation in methods.items()
        if method in ("get", "post", "put", "patch", "delete") and "bench log" in operation.get("tags", [])
    ]
    assert len(found) >= 19
    asking = {
        path
        for path, methods in paths.items()
        for each in methods.get("get", {}).get("parameters", [])
        if each.get("name") == "fork"
    }
    assert len(asking) == len(IN_QUESTIONS), "a question that takes a fork is not tried here"
    return [*found, *(("get", path) for path in IN_QUESTIONS)]


async def test_another_shops_fork_is_as_one_that_never_was_on_every_route(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, colleague, other):
        id = await bench.register()
        await bench.record(id, "full-service", note="mine")
        card = {"chassis": CHASSIS, "job": "full-service", "fork": id}
        started = await bench("POST", "/v1/work-orders", {"card": card})
        assert started.status_code == 201, started.text
        order = started.json()["order"]["id"]
        kept = await bench.get(f"/v1/forks/{id}/export")
        tried = 0
        for method, path in routes(bench):
            if "{id}" not in path or path.startswith("/v1/statements"):
                continue
            body = BODIES.get((method, path))
            mine = order if path.startswith("/v1/work-orders/") else id
            of_another = await other(method.upper(), path.format(id=mine), body, If_Match='"r1.x"')
            never = await other(method.upper(), path.format(id=NEVER_GIVEN), body, If_Match='"r1.x"')
            assert_problem(of_another, 404)
            assert _without_id(of_another.json()) == _without_id(never.json()), path
            tried += 1
        assert tried >= 15
        assert await bench.get(f"/v1/work-orders/{order}") == started.json()
        assert await colleague.get(f"/v1/forks/{id}/export") == kept, "another key of the same shop sees it unchanged"
        admin = {"Authorization": f"Bearer {bench.service.keys['admin'].token}"}
        seen = await bench.service.client.get(f"/v1/forks/{id}", headers=admin)
        assert_problem(seen, 404)


async def test_every_route_takes_a_key_of_the_scope(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        id = await bench.register()
        client = bench.service.client
        del client.headers["Authorization"]
        for method, path in routes(bench):
            address, body = path.format(id=id, number=1), BODIES.get((method, path))
            assert_problem(await client.request(method, address, json=body), 401)
            for scope in ("read", "bench" if path.startswith("/v1/flags") else "edit"):
                key = {"Authorization": f"Bearer {bench.service.keys[scope].token}"}
                assert_problem(await client.request(method, address, json=body, headers=key), 403)


async def test_a_fork_in_a_batch_takes_the_same_key(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, other):
        id = await bench.register()
        question = {"questions": [IN_QUESTIONS[0].format(id=id)]}
        assert (await bench("POST", "/v1/batch", question)).json()["answers"][0]["status"] == 200
        assert (await other("POST", "/v1/batch", question)).json()["answers"][0]["status"] == 404


async def test_a_revoked_key_leaves_the_forks_to_the_others_of_its_shop(demo: Database, tmp_path: Path) -> None:
    from app.access import keys

    async with benches(demo, tmp_path) as (bench, colleague, _):
        id = await bench.register()
        keys.revoke(bench.service.shop, bench.key["Authorization"].split("-")[1])
        assert_problem(await bench("GET", f"/v1/forks/{id}"), 401)
        assert (await colleague.get(f"/v1/forks/{id}"))["fork"]["id"] == id


async def test_a_flag_reaches_editors_and_changes_nothing(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        path = "/v1/statements/interval-haar-42-full/flags"
        made = await bench("POST", path, {"text": "the paper says 60"})
        assert made.status_code == 201, made.text
        assert_problem(await bench("POST", "/v1/statements/interval-haar-42-ful/flags", {"text": "what"}), 404)
        assert_problem(await bench("POST", path, {"text": "  "}), 422)
        editor = bench.service.client
        for number in range(3):
            await bench("POST", "/v1/statements/fit-haar-42-200-622/flags", {"text": f"look at {number}"})
        page = (await editor.get("/v1/flags?limit=3")).json()
        rest = (await editor.get(page["next"])).json()
        assert [flag["text"] for flag in [*page["flags"], *rest["flags"]]] == [
            "the paper says 60", "look at 0", "look at 1", "look at 2",
        ]  # fmt: skip
        assert (page["total"], page["flags"][0]["by"]) == (4, "bench of left")
        assert (await editor.get("/v1/flags?statement=interval-haar-42-full")).json()["total"] == 1
        assert (await editor.get("/v1/revisions/latest")).json()["revision"] == 1
        number = page["flags"][0]["number"]
        assert (await editor.delete(f"/v1/flags/{number}")).status_code == 204
        assert_problem(await editor.delete(f"/v1/flags/{number}"), 404)


def _without_id(problem: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in problem.items() if name not in ("instance", "request_id")}
