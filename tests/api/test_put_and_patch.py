"""PUT takes the whole row, PATCH some of its columns (RFC 7396): neither empties a column without saying so."""

from pathlib import Path
from typing import Any

import pytest

from app.database.connections import Database
from tests.api.test_edits import STATEMENT
from tests.api.writing import TORQUE, Writing, put, writing
from tests.bench.working import benches
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio
MERGE_PATCH = "application/merge-patch+json"


def without(row: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name not in names}


async def noted(service: Writing) -> tuple[dict[str, Any], str]:
    """The row with a note, and its tag."""
    row, tag = await service.row()
    row = {**row, "note": "read twice"}
    done = await service.client.put(STATEMENT, json=put(row), headers={"If-Match": tag})
    assert done.status_code == 200, done.text
    return await service.row()


async def test_a_put_that_lacks_a_stored_value_is_refused_and_names_it(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await noted(service)
        match = {"If-Match": tag}
        lacking = put(without(row, "note", "page"))
        refused = await service.client.put(STATEMENT, json=lacking, headers=match)
        body = assert_problem(refused, 422, code="would-empty", pointer="/row/note", suggestion="read twice")
        assert_problem(refused, 422, code="would-empty", pointer="/row/page")
        assert "page" in body["detail"]
        assert "note" in body["detail"]
        one = await service.client.put(f"{STATEMENT}?empty=note", json=lacking, headers=match)
        assert [error["pointer"] for error in assert_problem(one, 422)["errors"]] == ["/row/page"]
        assert (await service.row()) == (row, tag)
        done = await service.client.put(f"{STATEMENT}?empty=note,page", json=lacking, headers=match)
        assert done.status_code == 200, done.text
        assert [(cell["column"], "now" in cell) for cell in done.json()["changed_cells"]] == [
            ("page", False),
            ("note", False),
        ]
        assert done.json()["cell_counts"]["emptied"] == 2
        assert (await service.row())[0] == without(row, "note", "page")


@pytest.mark.parametrize("address", ["/v1/checks", "/v1/imports"])
async def test_so_is_a_put_in_a_list(demo: Database, tmp_path: Path, address: str) -> None:
    async with writing(demo, tmp_path) as service:
        row, _ = await noted(service)
        change = without(put(without(row, "note")), "reason")
        body: dict[str, Any] = {"changes": [change], "reason": "read again"}
        refused = await service.client.post(address, json=body)
        assert_problem(refused, 422, code="would-empty", pointer="/changes/0/row/note")
        for named in ({"changes": [{**change, "empty": ["note"]}], "reason": "read again"}, body):
            asked = f"{address}?empty=note" if named is body else address
            answer = await service.client.post(asked, json=named)
            assert answer.status_code in (200, 201), answer.text
        unknown = {"changes": [{**change, "empty": ["notes"]}], "reason": "read again"}
        refused = await service.client.post(address, json=unknown)
        assert_problem(refused, 422, code="column-unknown", suggestion="note")


@pytest.mark.parametrize("media_type", ["text/plain", "text/html"])
async def test_text_and_page_show_the_emptied_cell_first(demo: Database, tmp_path: Path, media_type: str) -> None:
    async with writing(demo, tmp_path) as service:
        row, _ = await noted(service)
        change = {**put({**without(row, "note"), "value": "137"}), "empty": ["note"]}
        sent = {"changes": [change], "reason": "read again"}
        answer = await service.client.post("/v1/checks", json=sent, headers={"Accept": media_type})
        assert answer.status_code == 200, answer.text
        assert 0 < answer.text.index("read twice") < answer.text.index("137")


async def test_a_reopened_statement_keeps_what_it_said(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await noted(service)
        gone = await service.client.delete(f"{STATEMENT}?reason=void", headers={"If-Match": tag})
        match = {"If-Match": gone.headers["etag"]}
        lacking = await service.client.put(STATEMENT, json=put(without(row, "note")), headers=match)
        assert_problem(lacking, 422, code="would-empty", pointer="/row/note")
        assert (await service.client.put(STATEMENT, json=put(row), headers=match)).status_code == 200


async def test_put_takes_what_get_gives(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        got = await service.client.get(STATEMENT)
        whole = got.json()
        match = {"If-Match": got.headers["etag"]}
        whole["row"]["value"] = "136"
        done = await service.client.put(STATEMENT, json={**whole, "reason": "read again"}, headers=match)
        assert done.status_code == 200, done.text
        assert (await service.row())[0]["value"] == "136"
        match = {"If-Match": done.headers["etag"]}
        bare = await service.client.put(f"{STATEMENT}?reason=again", json={"row": whole["row"]}, headers=match)
        assert bare.status_code == 200, bare.text
        other = await service.client.put(STATEMENT, json={**whole, "reason": "again", "more": 1}, headers=match)
        assert_problem(other, 422, code="unknown-field", pointer="/more")


async def test_a_merge_patch_changes_fills_and_empties_only_what_it_names(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await noted(service)
        sent = {"row": {"value": "136", "instruction": "in two passes", "note": None}, "reason": "read again"}
        headers = {"If-Match": tag, "Content-Type": MERGE_PATCH}
        done = await service.client.patch(STATEMENT, json=sent, headers=headers)
        assert done.status_code == 200, done.text
        assert [cell["column"] for cell in done.json()["changed_cells"]] == ["note", "value", "instruction"]
        after, new = await service.row()
        assert after == {**without(row, "note"), "value": "136", "instruction": "in two passes"}
        assert done.headers["etag"].split(".")[0] == new.removeprefix("W/").split(".")[0]
        stale = await service.client.patch(STATEMENT, json=sent, headers=headers)
        assert_problem(stale, 412)
        assert_problem(await service.client.patch(STATEMENT, json=sent), 428)
        same = await service.client.patch(
            f"{STATEMENT}?reason=same", json={"row": {"value": "136"}}, headers={"If-Match": new}
        )
        assert (same.status_code, same.json()["opened"]) == (200, False)


PATCHES: list[tuple[dict[str, Any], str, str]] = [
    ({"value": "136"}, "unknown-field", "/value"),
    ({"row": {"valu": "136"}}, "column-unknown", "/row/valu"),
    ({"row": {"valu": None}}, "column-unknown", "/row/valu"),
    ({"row": {"value": "7,5"}}, "value", "/row/value"),
    ({"row": {"value": ""}}, "value", "/row/value"),
    ({"row": {"fastener": None}}, "column-missing", "/row/fastener"),
    ({"row": {"id": "another-id"}}, "id", "/row/id"),
    ({"row": None}, "not-an-object", "/row"),
]


async def test_a_patch_that_cannot_be_read_is_refused_by_place(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        for body, code, pointer in PATCHES:
            sent = {"reason": "read again", **body}
            answer = await service.client.patch(STATEMENT, json=sent, headers={"If-Match": tag})
            assert_problem(answer, 422, code=code, pointer=pointer)
        absent = await service.client.patch(
            "/v1/statements/never-there", json={"row": {"value": "1"}, "reason": "read"}, headers={"If-Match": tag}
        )
        assert_problem(absent, 404)
        wrong = await service.client.patch(
            STATEMENT, content=b"{}", headers={"If-Match": tag, "Content-Type": "text/plain"}
        )
        assert_problem(wrong, 415)
        assert (await service.row())[0] == row
        gone = await service.client.delete(f"{STATEMENT}?reason=void", headers={"If-Match": tag})
        sent = {"row": {"value": "136"}, "reason": "read again"}
        match = {"If-Match": gone.headers["etag"]}
        assert_problem(await service.client.patch(STATEMENT, json=sent, headers=match), 410)


async def test_a_patch_sent_twice_is_done_once_and_says_so(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        _, tag = await service.row()
        headers = {"If-Match": tag, "Idempotency-Key": "patch-0001"}
        sent = {"row": {"value": "136"}, "reason": "read again"}
        first, second = [await service.client.patch(STATEMENT, json=sent, headers=headers) for _ in range(2)]
        assert (first.status_code, second.status_code) == (200, 200)
        assert first.json()["revision"] == second.json()["revision"] == 2
        assert "idempotent-replayed" not in first.headers
        assert second.headers["idempotent-replayed"] == "true"


async def test_every_post_that_stores_is_done_once_for_one_key(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        service = bench.service
        key = {"Idempotency-Key": "post-0001"}
        editor = {"Authorization": f"Bearer {service.keys['edit'].token}"}
        bencher = {"Authorization": f"Bearer {service.keys['bench'].token}"}
        row, _ = await service.row("interval-crock-39-full", "intervals")
        new = {**row, "id": "interval-crock-39-wet", "riding": "wet"}
        maker = put({"id": "brand-new", "name": "Brand New"}, "makers")
        fork = {"serial": "SN-0001", "chassis": "quembry-crock-39"}
        posts: list[tuple[str, dict[str, Any], dict[str, str]]] = [
            ("/v1/statements", put(new, "intervals"), editor),
            ("/v1/imports", {"changes": [maker], "reason": "new"}, editor),
            (f"{STATEMENT}/flags", {"text": "looks too high"}, bencher),
            ("/v1/forks", fork, bencher),
        ]
        for address, body, by in posts:
            key = {"Idempotency-Key": f"post{address.replace('/', '.')}"}
            first, second = [await service.client.post(address, json=body, headers={**by, **key}) for _ in range(2)]
            assert (first.status_code, second.status_code) == (201, 201), second.text
            assert "idempotent-replayed" not in first.headers
            assert second.headers["idempotent-replayed"] == "true", address
            assert first.headers.get("location") == second.headers.get("location")
            other = {**body, "reason": "another"} if "reason" in body else {**body, "text": "another"}
            if address == "/v1/forks":
                other = {**body, "serial": "SN-0002"}
            reused = await service.client.post(address, json=other, headers={**by, **key})
            assert_problem(reused, 422, code="idempotency-key-reused")
        id = first.json()["fork"]["id"]
        job = {"job": "lower-leg-service"}
        key = {"Idempotency-Key": "service-0001"}
        done = [
            await service.client.post(f"/v1/forks/{id}/services", json=job, headers={**bencher, **key})
            for _ in range(2)
        ]
        assert [each.headers.get("idempotent-replayed") for each in done] == [None, "true"]
        flags = (await service.client.get(f"/v1/flags?statement={TORQUE}", headers=editor)).json()
        assert flags["total"] == 1
        assert (await service.client.get("/v1/forks", headers=bencher)).json()["total"] == 1
        nothing = await service.client.post("/v1/checks", json={"changes": [maker]}, headers={"Idempotency-Key": "x"})
        assert nothing.status_code == 200, "a request that stores nothing ignores the key"


async def test_a_put_of_a_fork_empties_nothing_silently(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        client, by = bench.service.client, {"Authorization": f"Bearer {bench.service.keys['bench'].token}"}
        fork = {
            "serial": "SN-0001", "chassis": "quembry-crock-39", "travel": "180mm", "first_used_on": "2025-04-01",
            "riding": "other",
        }  # fmt: skip
        made = await client.post("/v1/forks", json=fork, headers=by)
        assert made.status_code == 201, made.text
        address, match = made.headers["location"], {**by, "If-Match": made.headers["etag"]}
        less = without(fork, "travel", "first_used_on", "riding")
        refused = await client.put(address, json=less, headers=match)
        pointers = {error["pointer"] for error in assert_problem(refused, 422)["errors"]}
        assert pointers == {"/travel", "/first_used_on", "/riding"}
        done = await client.put(f"{address}?empty=travel,first_used_on,riding", json=less, headers=match)
        assert done.status_code == 200, done.text
        assert "first_used_on" not in done.json()["fork"]
