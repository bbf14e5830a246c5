"""Work orders over HTTP: the frozen card, ticks of two devices, verdicts, the recorded job, and what is due next."""

import json
from pathlib import Path
from typing import Any

import pytest

from app.access.idempotency import KEEP_FOR
from app.bench import work_orders
from app.database.connections import Database
from tests.api.writing import put
from tests.bench.working import CHASSIS, FORK, SERIAL, Bench, benches
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio
CARD = {
    "chassis": CHASSIS, "job": "lower-leg-service", "travel": "180", "model_year": "2023", "wheel_size": "29",
    "spring": FORK["spring"], "damper": "lommeris-lull", "from_spacers": "2",
}  # fmt: skip
PLAY = "limit-haar-42-bushing-play"


async def started(bench: Bench, **more: Any) -> dict[str, Any]:
    """A work order for the card, or for a fork of the log."""
    answer = await bench("POST", "/v1/work-orders", {"card": CARD, **more})
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


async def of_fork(bench: Bench, job: str, **more: str) -> tuple[str, dict[str, Any]]:
    """A fork of the log, and a work order for it."""
    id = await bench.register()
    card = {"chassis": CHASSIS, "job": job, "fork": id, **more}
    return id, await started(bench, card=card, serial=SERIAL)


async def changed(bench: Bench, order: str, body: Any, **headers: str) -> dict[str, Any]:
    answer = await bench("PATCH", f"/v1/work-orders/{order}", body, **headers)
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def measurement(answer: Any, what: str) -> dict[str, Any]:
    """The last measurement of that name."""
    return dict(next(each for each in reversed(answer["order"]["measurements"]) if each["what"] == what))


async def test_an_order_holds_the_card_that_the_question_gives(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, colleague, _):
        made = await started(bench, serial="hire 03", bike="red one", order_number="0217", promised="2026-12-01",
                             done_by="bench 2")  # fmt: skip
        query = "&".join(f"{name}={value}" for name, value in CARD.items() if name != "chassis")
        asked = await bench.get(f"/v1/chassis/{CHASSIS}/job-card?{query}")
        assert made["card"] == asked
        order = made["order"]
        assert {name: order[name] for name in ("serial", "bike", "order_number", "promised", "done_by")} == {
            "serial": "hire 03", "bike": "red one", "order_number": "0217", "promised": "2026-12-01",
            "done_by": "bench 2",
        }  # fmt: skip
        assert (order["steps_total"], order["steps_done"], order["ticks"]) == (len(asked["steps"]), 0, [])
        assert [step for phase in order["phases"] for step in phase["steps"]] == [
            each["number"] for each in asked["steps"]
        ]
        assert [phase["name"] for phase in order["phases"]] == [
            "Make safe", "Take down", "Inspect and build", "Fill and prove",
        ]  # fmt: skip
        assert (made["since"]["state"], made["revision"]) == ("same", 1)
        assert await colleague.get(f"/v1/work-orders/{order['id']}") == made
        assert await bench.get(order["job_card"]) == asked
        listed = await bench.get("/v1/work-orders?state=open")
        assert [each["id"] for each in listed["work_orders"]] == [order["id"]]
        assert (await bench.get("/v1/work-orders?state=recorded"))["total"] == 0


async def test_ticks_of_two_devices_are_merged_and_fields_need_the_tag(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (one, two, _):
        made = await started(one)
        id = made["order"]["id"]
        first, second = made["order"]["phases"][0]["steps"][0], made["order"]["phases"][2]["steps"][0]
        await changed(one, id, {"ticks": {str(first): True}})
        await changed(two, id, {"ticks": {str(second): True}, "measurements": {}})
        assert (await one.get(f"/v1/work-orders/{id}"))["order"]["ticks"] == [first, second]
        assert (await changed(one, id, {"ticks": {str(first): False}}))["order"]["ticks"] == [second]
        tag = (await one("GET", f"/v1/work-orders/{id}")).headers["etag"]
        path = f"/v1/work-orders/{id}"
        assert_problem(await two("PATCH", path, {"bike": "blue one"}), 428)
        after = await two("PATCH", path, {"bike": "blue one", "promised": "2026-12-03"}, If_Match=tag)
        assert after.status_code == 200, after.text
        assert_problem(await one("PATCH", path, {"bike": "green one"}, If_Match=tag), 412)
        assert (await one.get(path))["order"]["bike"] == "blue one"
        gone = await changed(one, id, {"promised": ""}, If_Match=after.headers["etag"])
        assert "promised" not in gone["order"]
        assert gone["order"]["ticks"] == [second]


async def test_a_measurement_has_its_limit_and_verdict(demo: Database, tmp_path: Path) -> None:
    """The demo allows 0.30 mm of bushing play; 1 mm is 1/25.4 in (ISO 31-1)."""
    async with benches(demo, tmp_path) as (bench, _, _):
        made = await started(bench)
        id, play = made["order"]["id"], measurement(made, "bushing play")
        limit = play["limit"]["max"]
        for written, verdict in (
            (f"{limit}", "inside"), (f"{limit + 0.01:g} mm", "outside"), ("0.2", "inside"),
            (f"{limit / 25.4 * 0.99:.5f} in", "inside"), (f"{limit / 25.4 * 1.01:.5f} in", "outside"),
        ):  # fmt: skip
            found = measurement(
                await changed(bench, id, {"measurements": {play["id"]: written}}), "bushing play"
            )  # fmt: skip
            assert (found["written"], found["verdict"]) == (written, verdict)
        marks = measurement(made, "marks on stanchions")
        found = measurement(
            await changed(bench, id, {"measurements": {marks["id"]: "none"}}), "marks on stanchions"
        )  # fmt: skip
        assert (found["written"], "verdict" in found) == ("none", False)
        path = f"/v1/work-orders/{id}"
        wrong = await bench("PATCH", path, {"measurements": {play["id"]: "a little", "99-1": "3"}})
        assert_problem(wrong, 422)
        assert {error["pointer"] for error in wrong.json()["errors"]} == {
            "/measurements/99-1", f"/measurements/{play['id']}",
        }  # fmt: skip
        for body in ({"ticks": {"999": True}}, {"parts": {"no-such-part": "kept"}}, {"ticks": {"first": True}},
                     {"parts": {"a": "sold"}}, {"colour": "red"}, {"promised": "2026-02-30"}):  # fmt: skip
            assert_problem(await bench("PATCH", path, body), 422)


async def test_the_recorded_order_is_a_job_of_its_fork_with_what_is_due_next(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        fork, made = await of_fork(bench, "travel-change", to_travel="200")
        id, part = made["order"]["id"], made["order"]["parts"][0]
        sag, old = measurement(made, "sag, mean of six"), made["order"]["measurements"][0]
        assert old["what"] == "present pressure"
        body = {
            "ticks": {str(step["number"]): True for step in made["card"]["steps"]},
            "measurements": {sag["id"]: "41", old["id"]: "80 psi"}, "parts": {part["id"]: "replaced"},
        }  # fmt: skip
        assert (await changed(bench, id, body))["order"]["steps_done"] == len(made["card"]["steps"])
        done = {"done_on": "2026-03-02", "hours": 41.5, "note": "bush fine"}
        future = await bench("POST", f"/v1/work-orders/{id}/record", {**done, "done_on": "2999-01-01"})
        assert_problem(future, 422, code="day-to-come", pointer="/done_on")
        assert "service" not in (await bench.get(f"/v1/work-orders/{id}"))["order"], "refused, so it is open still"
        answer = await bench("POST", f"/v1/work-orders/{id}/record", done, Idempotency_Key="order-0217")
        assert answer.status_code == 201, answer.text
        found = answer.json()
        service = found["service"]
        assert (service["job"], service["hours"]["text"], service["revision"]) == ("travel-change", "41.5 h", 1)
        assert service["fitted"]["travel"]["value"] == 200
        assert service["fitted"]["spring"] == made["card"]["fit"]["spring"]["id"]
        assert service["measured"] == {"sag": {**service["measured"]["sag"], "value": 41.0, "unit": "mm"}}
        assert [each["part"] for each in service["parts"]] == [part["id"]]
        assert (await bench.get(service["job_card"]))["steps"] == made["card"]["steps"]
        assert found["fork"]["configuration"]["travel"]["value"] == 200
        due = await bench.get(f"/v1/forks/{fork}/due")
        assert found["due"] == due["due"]
        again = await bench("POST", f"/v1/work-orders/{id}/record", done, Idempotency_Key="order-0217")
        assert (again.status_code, again.json()) == (201, found)
        assert again.headers["idempotent-replayed"] == "true"
        closed = await bench("POST", f"/v1/work-orders/{id}/record", done)
        assert_problem(closed, 409, code="order-recorded")
        assert_problem(await bench("PATCH", f"/v1/work-orders/{id}", {"ticks": {"1": False}}), 409)
        assert len((await bench.get(f"/v1/forks/{fork}/services"))["services"]) == 1
        order = await bench.get(f"/v1/work-orders/{id}")
        assert (order["order"]["service"], order["due"]) == (1, due["due"])
        assert order["since"]["state"] == "same", "the change of the fork is no change of the catalogue"


async def test_an_order_without_a_fork_gets_one_before_it_is_recorded(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, other):
        made = await bench("POST", "/v1/work-orders", {"card": CARD})
        id, tag = made.json()["order"]["id"], made.headers["etag"]
        refused = await bench("POST", f"/v1/work-orders/{id}/record", {})
        assert_problem(refused, 422, code="order-without-fork", pointer="/fork")
        theirs = await other.register()
        assert_problem(await bench("PATCH", f"/v1/work-orders/{id}", {"fork": theirs}, If_Match=tag), 404)
        ladle = await bench("POST", "/v1/forks", {"serial": "L1", "chassis": "quembry-ladle-39"})
        wrong = await bench("PATCH", f"/v1/work-orders/{id}", {"fork": ladle.json()["fork"]["id"]}, If_Match=tag)
        assert_problem(wrong, 422, code="fork-of-another-chassis", pointer="/fork")
        await changed(bench, id, {"fork": await bench.register()}, If_Match=tag)
        assert (await bench("POST", f"/v1/work-orders/{id}/record", {"hours": 3})).status_code == 201


async def test_a_catalogue_that_changed_since_is_said_and_the_card_stays(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        made = await started(bench)
        here = f"/v1/work-orders/{made['order']['id']}"
        editor = bench.service.client
        read = await editor.get(f"/v1/statements/{PLAY}")
        row = {**read.json()["row"], "max": "0.25"}
        body = put(row, "limits", "the second edition")
        edited = await editor.put(f"/v1/statements/{PLAY}", json=body, headers={"If-Match": read.headers["etag"]})
        assert edited.status_code == 200, edited.text
        found = await bench.get(here)
        assert (found["card"], found["order"]["revision"]) == (made["card"], 1)
        assert (found["since"]["state"], found["since"]["revision"]) == ("changed", 2)
        assert found["since"]["others"] == ["the final checks"]
        for form in ("txt", "html"):
            assert "The catalogue has changed since this card was made" in " ".join(
                (await bench("GET", f"{here}.{form}")).text.split()
            )
        assert measurement(found, "bushing play")["limit"]["max"] == 0.3
        gone = await editor.delete(
            f"/v1/statements/{PLAY}?reason=the page is void", headers={"If-Match": edited.headers["etag"]}
        )
        assert gone.status_code == 200
        assert (await bench.get(here))["since"]["state"] == "changed"


async def test_starting_twice_with_one_key_is_one_order_and_the_number_is_limited(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert KEEP_FOR.days == 30
    async with benches(demo, tmp_path) as (bench, _, other):
        key = {"Idempotency_Key": "start-of-monday"}
        first, again = [await bench("POST", "/v1/work-orders", {"card": CARD}, **key) for _ in range(2)]
        assert first.json() == again.json()
        assert first.headers["location"] == f"/v1/work-orders/{first.json()['order']['id']}"
        reused = await bench("POST", "/v1/work-orders", {"card": CARD, "bike": "x"}, **key)
        assert_problem(reused, 422, code="idempotency-key-reused")
        monkeypatch.setattr(work_orders, "MOST_ORDERS", 1)
        full = await bench("POST", "/v1/work-orders", {"card": CARD})
        assert_problem(full, 409, code="too-many-orders")
        assert (await other("POST", "/v1/work-orders", {"card": CARD})).status_code == 201, "each shop has its own"
        monkeypatch.setattr(work_orders, "MOST_CARD_BYTES", 100)
        assert_problem(await bench("POST", "/v1/work-orders", {"card": CARD}), 422, code="card-too-large")


async def test_what_is_wrong_with_a_card_is_named_at_its_place(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        for card, code in (
            ({}, "missing"), ({**CARD, "jobs": "x"}, "unknown-field"), ({**CARD, "units": "metric"}, "unknown-field"),
            ({**CARD, "job": "polish"}, "not-a-choice"),
        ):  # fmt: skip
            answer = await bench("POST", "/v1/work-orders", {"card": card})
            assert_problem(answer, 422, code=code)
            assert answer.json()["errors"][0]["pointer"].startswith("/card")
        impossible = await bench("POST", "/v1/work-orders", {"card": {**CARD, "travel": "190"}})
        assert_problem(impossible, 422)
        assert_problem(await bench("POST", "/v1/work-orders", {"card": CARD, "promised": "2026-02-30"}), 422)
        assert (await bench.get("/v1/work-orders"))["total"] == 0


async def test_the_list_is_paged_and_names_no_other_shops_orders(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, two, other):
        ids = [(await started(bench, serial=f"S{number}"))["order"]["id"] for number in range(5)]
        seen, path = [], "/v1/work-orders?limit=2"
        while path:
            page = await two.get(path)
            seen += [each["id"] for each in page["work_orders"]]
            path = page.get("next", "")
        assert sorted(seen) == sorted(ids)
        assert (await other.get("/v1/work-orders"))["total"] == 0
        fork, made = await of_fork(bench, "full-service")
        mine = await bench.get(f"/v1/work-orders?fork={fork}")
        assert [each["id"] for each in mine["work_orders"]] == [made["order"]["id"]]
        assert json.dumps(mine).count(SERIAL) == 1
