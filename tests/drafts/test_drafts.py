"""A draft keeps what was given; its rows follow from it, wait for the second reader, and load as one revision."""

from pathlib import Path

import pytest

from app.database.connections import Database
from app.drafts import kept
from tests.conftest import Fresh
from tests.drafts.drafting import CITED, Drafting, drafting, hash_of
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio

TORQUES = "Bolt\tTorque (in-lb)\nown: mast nut\t7O\nAxle\t118\nown: spar screw\t31"
"""Two new fasteners, one figure with a letter in it, and one that is stored as 115."""
KINDS = {"kind of own: mast nut": "nut", "kind of own: spar screw": "bolt", "page of table": "14"}


@pytest.mark.parametrize("people", ["sqlite", "postgresql"], indirect=True)
async def test_a_pasted_table_becomes_rows_once_its_questions_are_answered_and_read(
    people: tuple[Drafting, Drafting, Drafting],
) -> None:
    office, reader, elsewhere = people
    database = office.service.database
    before = hash_of(database)
    draft = await office.start(answers=CITED)
    assert draft.answer["draft"]["title"] == "Quembry Shop Book, forks with travel spacers (invented)"
    await draft.paste(TORQUES)
    assert [line["cells"] for line in draft.answer["grids"][0]["lines"]][1] == ["own: mast nut", "7O"]
    assert set(draft.questions) == {"page of table", "value: 7O"}
    await draft.change(answers=KINDS)
    assert draft.questions == ["value: 7O"]
    await draft.change(corrections=[{"cell": "table!B2", "text": "70"}])
    assert draft.questions == []
    assert [*draft.rows("change")] == ["torques/torque-trivet-35-axle"]
    changes = next(row["changes"] for row in draft.answer["rows"] if row["effect"] == "change")
    assert {(each["column"], each.get("was"), each.get("now")) for each in changes} == {
        ("value", "115", "118"), ("page", "12", "14"),
    }  # fmt: skip
    assert len(draft.rows("add")) == 4, "two fasteners and their torques"
    refused = await draft.load(status=422)
    assert {each["code"] for each in refused["errors"]} == {"not-read"}
    await draft.read_all(reader)
    assert draft.answer["open"] == []
    assert hash_of(database) == before, "nothing is stored before it is loaded"
    done = await draft.load(reason="torques of page 14")
    assert done["revision"] == 2
    again = await draft.load(reason="torques of page 14")
    assert (again["revision"], again["opened"]) == (2, True)
    said = (await office.send("GET", "/v1/revisions/2")).json()["recorded"]
    assert (said["reason"], said["who"], said["added"], said["changed"]) == (
        "torques of page 14 (read by bench 2)", "office", 4, 1,
    )  # fmt: skip
    await draft.look()
    assert draft.answer["draft"]["loaded"] == 2
    assert_problem(await elsewhere.send("GET", draft.path), 404)
    assert_problem(await draft.change(title="more", status=409), 409)

    undo = await office.start(kind="undo", revision=2)
    await undo.read_all(reader)
    await undo.load()
    assert hash_of(database) == before


async def test_two_browsers_cannot_overwrite_each_other(people: tuple[Drafting, Drafting, Drafting]) -> None:
    office, *_ = people
    one = await office.start(answers=CITED)
    other = await one.look(office)
    await one.paste(TORQUES)
    assert_problem(await other.change(answers=KINDS, status=412), 412)
    assert_problem(await other.by.send("PATCH", other.path, {"answers": KINDS}), 428)
    await other.look()
    await other.change(answers=KINDS)
    assert len(other.answer["grids"]) == 1


async def test_pasting_twice_creates_nothing_new_and_a_repeated_request_adds_one_table(
    people: tuple[Drafting, Drafting, Drafting],
) -> None:
    office, reader, _ = people
    draft = await office.start(answers=CITED | KINDS | {"value: 7O": "70"})
    await draft.paste(TORQUES)
    await draft.read_all(reader)
    await draft.load(reason="t" * 500)
    said = (await office.send("GET", "/v1/revisions/2")).json()["recorded"]["reason"]
    assert said == "t" * 482 + " (read by bench 2)", "the readers are not cut off"
    again = await office.start(answers=CITED | KINDS | {"value: 7O": "70"})
    tag = again.tag
    for _ in range(2):
        answer = await office.service.client.post(
            f"{again.path}/grids", params={"name": "table"}, content=TORQUES.encode(),
            headers={
                "Authorization": f"Bearer {office.token}", "Content-Type": "text/plain", "If-Match": tag,
                "Idempotency-Key": "pasted-once-1",
            },
        )  # fmt: skip
        assert answer.status_code == 200, answer.text
    again.take(answer)
    assert len(again.answer["grids"]) == 1
    assert {row["effect"] for row in again.answer["rows"]} == {"same"}
    assert [each["code"] for each in again.answer["open"]] == ["nothing-to-load"]
    refused = await again.load(status=422)
    assert refused["errors"][0]["code"] == "nothing-to-load"


async def change_torque(office: Drafting, **cells: str) -> None:
    """Change the stored torque of the axle, as somebody else does meanwhile."""
    row, tag = await office.service.row("torque-trivet-35-axle")
    body = {"table": "torques", "op": "put", "row": {**row, **cells}, "reason": "read again"}
    answer = await office.service.client.put(
        "/v1/statements/torque-trivet-35-axle", json=body, headers={"If-Match": tag}
    )
    assert answer.status_code == 200, answer.text


async def test_a_catalogue_that_changed_meanwhile_is_merged_cell_by_cell(
    people: tuple[Drafting, Drafting, Drafting],
) -> None:
    office, reader, _ = people
    axle = "torques/torque-trivet-35-axle"
    draft = await office.start(answers=CITED | {"page": "12"})
    await draft.paste("Bolt;Torque (in-lb)\nAxle;118")
    await change_torque(office, thread_prep="dry")
    assert (await draft.look()).rows("change")[axle]["thread_prep"] == "dry", "changed only in the catalogue"
    assert draft.rows("change")[axle]["value"] == "118", "changed only in the draft"
    await change_torque(office, value="120")
    await draft.look()
    assert draft.questions == [f"{axle} value now"]
    assert draft.rows("change") == {}
    await draft.change(answers={f"{axle} value now": "118"})
    assert [each["was"] for row in draft.answer["rows"] for each in row["changes"]] == ["120"]
    answer = await office.service.client.post(
        "/v1/imports",
        json={"changes": [{"table": "torques", "op": "withdraw", "id": "torque-trivet-35-axle"}], "reason": "void"},
    )
    assert answer.status_code == 201, answer.text
    await draft.look()
    assert draft.questions == [f"{axle} withdrawn"]
    await draft.change(answers={f"{axle} withdrawn": "enter it again"})
    assert [*draft.rows("add")] == [axle]
    await draft.read_all(reader)
    await draft.load()


async def test_a_tick_belongs_to_the_content_of_its_row_and_to_another_key(
    people: tuple[Drafting, Drafting, Drafting],
) -> None:
    office, reader, elsewhere = people
    draft = await office.start(answers=CITED | {"page": "12"})
    await draft.paste("Bolt;Torque (in-lb)\nAxle;118")
    row = draft.row("torques")
    tick = {"table": row["table"], "id": row["id"], "content": row["content"], "said": "so"}
    for by, status in ((office, 403), (elsewhere, 404), (reader, 200)):
        assert (await by.send("POST", f"{draft.path}/ticks", {"ticks": [tick]})).status_code == status
    both = Drafting(office.service, "both", ["edit", "review"], "left")
    assert (await draft.look()).row("torques")["tick"]["by"] == "bench 2"
    seen = await draft.look(both)
    await seen.change(corrections=[{"cell": "table!B2", "text": "119"}])
    assert "tick" not in seen.row("torques"), "its content has changed"
    assert_problem(await reader.send("POST", f"{draft.path}/ticks", {"ticks": [tick]}), 409)
    tick["content"] = seen.row("torques")["content"]
    assert_problem(await both.send("POST", f"{draft.path}/ticks", {"ticks": [tick]}), 409)
    sent_back = {**tick, "said": "not so", "note": "80 in my copy"}
    assert (await reader.send("POST", f"{draft.path}/ticks", {"ticks": [sent_back]})).status_code == 200
    await draft.look()
    assert "80 in my copy" in (await draft.load(status=422))["detail"]


async def test_a_shop_of_one_loads_without_a_second_reader(fresh_database: Fresh, tmp_path: Path) -> None:
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        async with drafting(database, tmp_path, second_reader=False) as (office, _, _):
            draft = await office.start(answers=CITED | {"page": "12"})
            await draft.paste("Bolt;Torque (in-lb)\nAxle;118")
            assert draft.answer["open"] == []
            await draft.load()
            said = (await office.send("GET", "/v1/revisions/2")).json()["recorded"]
            assert said["reason"] == draft.answer["draft"]["title"]
            await undone_row_by_row(office)
        database.close()


async def undone_row_by_row(office: Drafting) -> None:
    """Undo asks about a row that was changed since, and says who did it."""
    await change_torque(office, value="121")
    undo = await office.start(kind="undo", revision=2)
    question = undo.answer["questions"][0]
    assert "edit bench 1 (revision 3)" in question["why"]
    assert "value 115 before, 121 now" in question["why"]
    await undo.change(answers={question["question"]: "leave it as it is now"})
    assert undo.answer["rows"] == []
    await undo.change(answers={question["question"]: "put it back"})
    await undo.load()
    row, _ = await office.service.row("torque-trivet-35-axle")
    assert row["value"] == "115"


async def test_an_added_row_that_something_names_is_not_withdrawn(people: tuple[Drafting, Drafting, Drafting]) -> None:
    office, reader, _ = people
    draft = await office.start(answers=CITED | KINDS | {"value: 7O": "70"})
    await draft.paste(TORQUES)
    await draft.read_all(reader)
    await draft.load()
    added = next(key for key in draft.rows("add") if key.startswith("fasteners/") and "mast" in key)
    names_it = {
        "id": "torque-mast-nut-again", "chassis": CITED["chassis"], "fastener": added.partition("/")[2], "stage": 2,
        "value": "80", "unit": "in·lbf", "source": CITED["source"], "page": "14",
    }  # fmt: skip
    body = {"changes": [{"table": "torques", "op": "put", "row": names_it}], "reason": "a second stage"}
    assert (await office.service.client.post("/v1/imports", json=body)).status_code == 201
    undo = await office.start(kind="undo", revision=2)
    assert added not in undo.rows("withdraw")
    assert f"{added} stays, because torques/torque-mast-nut-again names it" in {
        each["text"] for each in undo.answer["remarks"]
    }


async def test_a_draft_begins_like_a_fork_or_as_a_new_edition_and_asks_about_each_row(
    people: tuple[Drafting, Drafting, Drafting],
) -> None:
    office, *_ = people
    edition = await office.start(
        kind="edition",
        like="quembry-shop-book-3",
        answers={"source": "quembry-shop-book-2", "chassis": CITED["chassis"]},
    )
    axle = "page of torques/torque-trivet-35-axle"
    assert axle in edition.questions
    await edition.change(answers={axle: "13"})
    seen = edition.rows("change")["torques/torque-trivet-35-axle"]
    assert (seen["source"], seen["page"], seen["value"]) == ("quembry-shop-book-2", "13", "115")

    like = await office.start(kind="fork", like="quembry-crock-39", answers=CITED)
    caliper = "page of torques/torque-crock-39-caliper-bolt"
    assert caliper in like.questions
    await like.change(answers={caliper: "12"})
    found = {**like.rows("same"), **like.rows("change"), **like.rows("add")}
    assert [(row["chassis"], row["value"]) for key, row in found.items() if "caliper" in key] == [
        (CITED["chassis"], "72")
    ]  # fmt: skip


async def test_the_oldest_and_the_largest_drafts_are_refused(people: tuple[Drafting, Drafting, Drafting]) -> None:
    office, *_ = people
    draft = await office.start()
    with office.service.shop.write() as connection:
        connection.exec_driver_sql("UPDATE drafts SET bytes = 49999990")
    full = await draft.paste("a;b\nc;d", status=200)
    assert full["draft"]["version"] == 2, "a draft that replaces itself counts once"
    with office.service.shop.write() as connection:
        connection.exec_driver_sql("UPDATE drafts SET bytes = 49999999")
    refused = await office.send("POST", "/v1/drafts", {})
    assert_problem(refused, 409, code="drafts-full")
    with office.service.shop.write() as connection:
        connection.exec_driver_sql("UPDATE drafts SET changed_at = '2026-01-01T00:00:00Z'")
    assert_problem(await office.send("GET", draft.path), 404)
    kept.erase_old_drafts(office.service.shop)
    with office.service.shop.read() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM drafts").scalar() == 0


BAD = {
    b"PK\x05\x06" + bytes(18): "workbook",
    b"%PDF-1.7": "PDF",
    b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + "EncryptedPackage".encode("utf-16-le"): "password",
    b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1": "old office",
    b"a;b\nc;d\ne;f;g": "line 3 has 3 cells",
    b"one column\nonly": "no columns",
    b"a;b\n" * 1_300_000: "5,000,000 bytes",
    b"a\x00b": "not a text",
}


async def test_what_cannot_be_read_is_a_sentence_and_nothing_is_half_stored(
    people: tuple[Drafting, Drafting, Drafting],
) -> None:
    """Sheets, rows and links of workbooks are tested in tests/drafts/test_old_workbook.py: the reader is the same."""
    office, *_ = people
    draft = await office.start()
    for content, said in BAD.items():
        refused = await draft.upload(content, "text/plain", "bad", status=422)
        assert said in refused["detail"], refused["detail"]
    await draft.look()
    assert (draft.answer["grids"], draft.answer["draft"]["version"]) == ([], 1)


async def test_many_small_changes_are_one_line_an_hour_in_the_audit(
    people: tuple[Drafting, Drafting, Drafting],
) -> None:
    office, *_ = people
    draft = await office.start()
    for page in ("12", "13", "14"):
        await draft.change(answers={"page": page})
    await draft.change(answers={"page": "x" * 2_000}, status=422)
    lines = [(each["method"], each["status"]) for each in office.service.audit() if each["path"] == draft.path]
    assert lines == [("PATCH", 200), ("PATCH", 422)]
    limits = (await office.send("PATCH", draft.path, {}, If_Match=draft.tag)).headers["ratelimit-policy"]
    assert limits == '"client";q=600;w=60'
