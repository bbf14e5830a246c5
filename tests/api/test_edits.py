"""Edits of statements over HTTP: what is accepted, every refusal, two editors at once, and repeated requests."""

import asyncio
import itertools
import time
import zipfile
from pathlib import Path
from typing import Any

import pytest

from app.database.connections import Database
from app.web.routes import edits
from tests.api.writing import TORQUE, put, writing
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio
STATEMENT = f"/v1/statements/{TORQUE}"


def changed(row: dict[str, Any], value: str = "136") -> dict[str, Any]:
    return {**row, "value": value}


async def test_a_statement_is_replaced_withdrawn_and_reopened(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        done = await service.client.put(STATEMENT, json=put(changed(row)), headers={"If-Match": tag})
        assert done.status_code == 200, done.text
        assert (done.json()["accepted"], done.json()["revision"], done.json()["opened"]) == (True, 2, True)
        assert (await service.row())[0] == changed(row)
        again = await service.client.put(STATEMENT, json=put(row), headers={"If-Match": done.headers["etag"]})
        assert again.json()["revision"] == 3
        same = await service.client.put(STATEMENT, json=put(row), headers={"If-Match": again.headers["etag"]})
        assert (same.json()["revision"], same.json()["opened"]) == (3, False)
        address = f"{STATEMENT}?reason=the page is void"
        gone = await service.client.delete(address, headers={"If-Match": same.headers["etag"]})
        assert gone.json()["revision"] == 4
        assert (await service.client.get(STATEMENT)).status_code == 410
        assert_problem(await service.client.delete(address, headers={"If-Match": gone.headers["etag"]}), 410)
        stale = await service.client.put(STATEMENT, json=put(row), headers={"If-Match": tag})
        current = assert_problem(stale, 412)["current"]
        opened = await service.client.put(STATEMENT, json=put(changed(row)), headers={"If-Match": current})
        assert opened.json()["revision"] == 5
        past = (await service.client.get(f"{STATEMENT}/history")).json()["versions"]
        assert [(v["revision_from"], v.get("revision_to"), v["row"]["value"]) for v in past] == [
            (1, 2, "135"), (2, 3, "136"), (3, 4, "135"), (5, None, "136"),
        ]  # fmt: skip
        assert past[2]["withdrawn"] == {
            "revision": 4, "recorded_at": past[2]["withdrawn"]["recorded_at"], "reason": "the page is void",
            "who": "edit bench 1",
        }  # fmt: skip
        feed = (await service.client.get("/v1/changes?after=1")).json()["changes"]
        assert [(each["revision"], each["op"]) for each in feed] == [
            (2, "put"), (3, "put"), (4, "withdraw"), (5, "put"),
        ]  # fmt: skip


async def test_a_new_statement_wants_an_id_that_was_never_used(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, _ = await service.row("interval-crock-39-full", "intervals")
        new = {**row, "id": "interval-crock-39-wet", "riding": "wet"}
        done = await service.client.post("/v1/statements", json=put(new, "intervals"))
        assert done.status_code == 201, done.text
        assert (await service.client.get(done.headers["location"])).json()["row"] == new
        for taken in (new, {**row, "id": TORQUE}):
            refused = await service.client.post("/v1/statements", json=put(taken, "intervals"))
            assert_problem(refused, 409, code="id-taken", pointer="/row/id")
        tag = {"If-Match": done.headers["etag"]}
        assert (await service.client.delete(f"{done.headers['location']}?reason=void", headers=tag)).status_code == 200
        assert_problem(await service.client.post("/v1/statements", json=put(new, "intervals")), 409, code="id-taken")


async def test_what_was_withdrawn_keeps_its_subject_and_its_table(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row("interval-crock-39-full", "intervals")
        gone = await service.client.delete(f"/v1/statements/{row['id']}?reason=void", headers={"If-Match": tag})
        other = put({**row, "operation": "oil-change"}, "intervals")
        tag = gone.headers["etag"]
        refused = await service.client.put(f"/v1/statements/{row['id']}", json=other, headers={"If-Match": tag})
        assert_problem(refused, 422, code="subject-changed")
        torque, _ = await service.row()
        elsewhere = put({**torque, "id": row["id"]})
        moved = await service.client.put(f"/v1/statements/{row['id']}", json=elsewhere, headers={"If-Match": tag})
        assert_problem(moved, 422, code="table", suggestion="intervals")
        assert_problem(await service.client.post("/v1/imports", json={"changes": [elsewhere], "reason": "move"}), 422)


async def test_a_statement_that_contradicts_a_stored_one_is_a_conflict(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, _ = await service.row()
        rival = {**changed(row, "150"), "id": "torque-rival"}
        report = assert_problem(await service.client.post("/v1/statements", json=put(rival)), 409)["report"]
        assert {finding["collides_with"]["id"] for finding in report["findings"]} >= {TORQUE}
        wrong = {**changed(row, "-5"), "id": "torque-wrong"}
        report = assert_problem(await service.client.post("/v1/statements", json=put(wrong)), 422)["report"]
        assert not report["accepted"]
        dry = await service.client.post("/v1/checks", json={"changes": [put(rival)]}, headers={"Authorization": ""})
        assert (dry.status_code, dry.json()["accepted"], dry.json()["revision"]) == (200, False, 1)
        assert (await service.client.get("/v1/revisions/latest")).json()["revision"] == 1


BODIES: list[tuple[dict[str, Any], str, str | None]] = [
    ({"table": "torque"}, "table-unknown", "/table"),
    ({"table": "makers"}, "table", "/table"),
    ({"op": "withdraw"}, "op", "/op"),
    ({"more": 1}, "unknown-field", "/more"),
    ({"row": None}, "not-an-object", "/row"),
    ({"reason": "   "}, "wrong-form", "/reason"),
    ({"reason": None}, "not-text", "/reason"),
    ({"id": TORQUE}, "row-missing", "/row"),
    ({"row": {"valu": "7"}}, "column-unknown", "/row/valu"),
    ({"row": {"a/b": "7"}}, "column-unknown", "/row/a~1b"),
    ({"row": {"value": True}}, "value", "/row/value"),
    ({"row": {"value": None}}, "value", "/row/value"),
    ({"row": {"value": "7,5"}}, "value", "/row/value"),
    ({"row": {"model_year_from": 2020.5}}, "value", "/row/model_year_from"),
    ({"row": {"id": "another-id"}}, "id", "/row/id"),
    ({"row": {"chassis": "quembry-crock-93"}}, "reference-missing", None),
]


async def test_an_invalid_body_is_refused_with_its_place(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        for body, code, pointer in BODIES:
            sent = put(row) | {name: value for name, value in body.items() if name != "row"}
            if "row" in body:
                sent["row"] = body["row"] and row | body["row"]
            answer = await service.client.put(STATEMENT, json=sent, headers={"If-Match": tag})
            assert_problem(answer, 422, code=code, **({} if pointer is None else {"pointer": pointer}))
        assert (await service.row())[0] == row


async def test_a_list_takes_no_item_that_smuggles_in_another(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, _ = await service.row("quembry-crock-39", "chassis")
        changes = {"changes": [put({**row, "marks": ["a;b"]}, "chassis")], "reason": "marks"}
        refused = await service.client.post("/v1/imports", json=changes)
        assert_problem(refused, 422, code="value", pointer="/changes/0/row/marks")


async def test_bytes_that_are_no_change_are_refused(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path, max_body_bytes=20_000) as service:
        row, tag = await service.row()
        cases: list[tuple[int, dict[str, Any]]] = [
            (415, {"content": b"a=b", "headers": {"Content-Type": "text/csv"}}),
            (415, {"json": put(row), "headers": {"Content-Encoding": "gzip"}}),
            (400, {"content": b"{", "headers": {"Content-Type": "application/json"}}),
            (400, {"content": b'{"table":"torques","table":"fits"}', "headers": {"Content-Type": "application/json"}}),
            (413, {"json": put({**row, "note": "x" * 20_000})}),
        ]
        for status, sent in cases:
            headers = {"If-Match": tag, **sent.pop("headers", {})}
            assert_problem(await service.client.put(STATEMENT, headers=headers, **sent), status)
        refused = await service.client.post(
            "/v1/imports?reason=why", content=b"x", headers={"Content-Type": "text/csv"}
        )
        assert_problem(refused, 415)
        assert refused.headers["accept-post"] == "application/json, application/zip"
        assert [entry["status"] for entry in service.audit()] == [415, 415, 400, 400, 413, 415]


async def test_what_is_not_there_is_said_and_so_is_what_the_request_lacks(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        client = service.client
        unknown = {**row, "id": "torque-unknown"}
        match = {"If-Match": tag}
        assert_problem(await client.put("/v1/statements/torque-unknown", json=put(unknown), headers=match), 404)
        assert_problem(await client.delete("/v1/statements/torque-unknown?reason=void", headers=match), 404)
        assert_problem(await client.put(STATEMENT, json=put(row)), 428)
        assert_problem(await client.delete(f"{STATEMENT}?reason=void"), 428)
        assert_problem(await client.delete(STATEMENT, headers=match), 422, code="missing", parameter="reason")
        for stale in ('"r9.x"', "*", '"r1"', "r1.x", '"r99999999999.x"', '"x"'):
            refused = await client.put(STATEMENT, json=put(row), headers={"If-Match": stale})
            assert assert_problem(refused, 412)["current"].startswith('"r1-')
        several = await client.put(STATEMENT, json=put(row), headers={"If-Match": f'"r9.x", W/{tag}'})
        assert several.status_code == 200  # as weakened by compression
        bare = put(row)
        del bare["reason"]
        assert_problem(await client.put(STATEMENT, json=bare, headers=match), 422, code="reason-missing")
        assert_problem(await client.patch(STATEMENT, json={"row": {"value": "136"}, "reason": "read again"}), 428)


async def test_of_two_editors_at_once_one_wins_and_the_other_loses_nothing(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        values = ["136", "137", "138", "139"]
        answers = await asyncio.gather(
            *(
                service.client.put(STATEMENT, json=put(changed(row, value)), headers={"If-Match": tag})
                for value in values
            )
        )
        assert sorted(answer.status_code for answer in answers) == [200, 412, 412, 412]
        said = [(await service.row())[0]["value"]]
        left = dict(zip(values, answers, strict=True))
        assert left.pop(said[0]).status_code == 200
        for value, answer in left.items():  # the loser sends what it still has, for the current version
            while answer.status_code == 412:
                match = {"If-Match": answer.json()["current"]}
                answer = await service.client.put(STATEMENT, json=put(changed(row, value)), headers=match)
            assert answer.status_code == 200
            said.append(value)
        past = (await service.client.get(f"{STATEMENT}/history")).json()["versions"]
        assert [version["row"]["value"] for version in past] == ["135", *said]


async def test_the_same_request_again_gives_the_same_answer_and_writes_once(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        headers = {"If-Match": tag, "Idempotency-Key": "key-0001"}
        body = put(changed(row))
        answers = await asyncio.gather(*(service.client.put(STATEMENT, json=body, headers=headers) for _ in range(3)))
        assert {(each.status_code, each.json()["revision"], each.json()["opened"]) for each in answers} == {
            (200, 2, True)
        }
        later = await service.client.put(STATEMENT, json=put(row), headers={"If-Match": answers[0].headers["etag"]})
        assert later.json()["revision"] == 3
        again = await service.client.put(STATEMENT, json=body, headers=headers)
        assert (again.status_code, again.json()["revision"]) == (200, 2)
        assert (await service.row())[0] == row  # it was not done a second time
        other = await service.client.put(STATEMENT, json=put(changed(row, "138")), headers=headers)
        assert_problem(other, 422, code="idempotency-key-reused")
        admin = {**headers, "Authorization": f"Bearer {service.keys['admin'].token}", "If-Match": later.headers["etag"]}
        assert (await service.client.put(STATEMENT, json=body, headers=admin)).json()["revision"] == 4  # another key
        bad = await service.client.put(STATEMENT, json=body, headers={**headers, "Idempotency-Key": "a b"})
        assert_problem(bad, 422, code="idempotency-key")


async def test_several_changes_are_accepted_together_or_not_at_all(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, _ = await service.row()
        maker = put({"id": "brand-new", "name": "Brand New"}, "makers")
        gone = {"table": "intervals", "op": "withdraw", "id": "interval-crock-39-full"}
        bad = put({**row, "unit": "kN"})
        refused = await service.client.post("/v1/imports", json={"changes": [maker, gone, bad], "reason": "all"})
        assert_problem(refused, 422)
        assert (await service.client.get("/v1/makers/brand-new")).status_code == 404
        done = await service.client.post("/v1/imports", json={"changes": [maker, gone], "reason": "all"})
        assert (done.status_code, done.json()["revision"]) == (201, 2)
        assert (await service.client.post("/v1/imports", json={"changes": [maker], "reason": "all"})).status_code == 200
        twice = {"changes": [maker, maker], "reason": "all"}
        assert_problem(await service.client.post("/v1/imports", json=twice), 422, code="twice", pointer="/changes/1")
        again = await service.client.post("/v1/imports", json={"changes": [gone], "reason": "all"})
        assert_problem(again, 422, code="not-there")


async def test_a_package_is_imported_by_a_child_process(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        path = tmp_path / "makers.zip"
        with zipfile.ZipFile(path, "w") as package:
            package.writestr("makers.csv", "id,name\nbrand-new,Brand New\n")
        headers = {"Content-Type": "application/zip", "Idempotency-Key": "package-1"}
        for address, body, status in (
            ("/v1/imports", path.read_bytes(), 422), ("/v1/imports?reason=-x y", path.read_bytes(), 201),
            ("/v1/imports?reason=-x y", path.read_bytes(), 201), ("/v1/imports?reason=other", path.read_bytes(), 422),
        ):  # fmt: skip
            answer = await service.client.post(address, content=body, headers=headers)
            assert answer.status_code == status, answer.text
        assert_problem(answer, 422, code="idempotency-key-reused")
        recorded = (await service.client.get("/v1/revisions/2")).json()["recorded"]
        assert (recorded["reason"], recorded["who"], recorded["added"]) == ("-x y", "edit bench 1", 1)
        assert [(e["status"], e["revision"]) for e in service.audit()] == [(422, None), (201, 2), (201, 2), (422, None)]


async def test_a_pinned_answer_is_the_same_bytes_after_any_edit(demo: Database, tmp_path: Path) -> None:
    addresses = [
        f"{STATEMENT}?revision=1", "/v1/torques?limit=500&revision=1", "/v1/chassis/quembry-crock-39?revision=1",
        "/v1/chassis/quembry-crock-39/sheet?travel=180&model_year=2022&revision=1", "/v1/changes?revision=1&limit=999",
        "/v1/findings?revision=1&limit=999", "/v1/revisions?revision=1",
    ]  # fmt: skip
    async with writing(demo, tmp_path) as service:
        before = [await service.client.get(address) for address in addresses]
        row, tag = await service.row()
        for value, _ in zip(itertools.cycle(["136", "135"]), range(3), strict=False):
            done = await service.client.put(STATEMENT, json=put(changed(row, value)), headers={"If-Match": tag})
            tag = done.headers["etag"]
        await service.client.delete(f"{STATEMENT}?reason=void", headers={"If-Match": tag})
        after = [await service.client.get(address) for address in addresses]
        assert [each.content for each in after] == [each.content for each in before]
        assert [each.headers["etag"] for each in after] == [each.headers["etag"] for each in before]
        assert before[3].status_code in (200, 422)


async def test_a_writer_waits_and_is_then_told_to_come_back(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.database.connections.WRITER_WAIT_S", 1)
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        with Database(demo.url.render_as_string(hide_password=False)).write():
            locked = await service.client.put(STATEMENT, json=put(changed(row)), headers={"If-Match": tag})
            assert_problem(locked, 503)
            assert int(locked.headers["retry-after"]) >= 1
            assert (await service.row())[0] == row
        done = await service.client.put(STATEMENT, json=put(changed(row)), headers={"If-Match": tag})
        assert done.json()["revision"] == 2


async def test_a_write_whose_time_is_up_is_answered_with_what_became_of_it(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = edits.write_edits

    def slow(*given: Any) -> Any:
        time.sleep(0.6)
        return real(*given)

    monkeypatch.setattr(edits, "write_edits", slow)
    async with writing(demo, tmp_path, request_timeout=0.3) as service:
        row, tag = await service.row()
        done = await service.client.put(STATEMENT, json=put(changed(row)), headers={"If-Match": tag})
        assert (done.status_code, done.json()["revision"]) == (200, 2)
        assert service.audit()[-1]["status"] == 200


async def test_too_many_writes_are_refused_until_later(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path, write_rate="3/minute") as service:
        row, tag = await service.row()
        answers = [await service.client.put(STATEMENT, json=put(row), headers={"If-Match": tag}) for _ in range(5)]
        assert [answer.status_code for answer in answers] == [200, 200, 200, 429, 429]
        assert_problem(answers[-1], 429)
        assert 1 <= int(answers[-1].headers["retry-after"]) <= 61
        assert answers[0].headers["ratelimit"] == '"client";r=2;t=' + answers[0].headers["ratelimit"].split("t=")[1]
        assert (await service.row())[1] == tag  # lookups go on
        assert len(service.audit()) == 3
