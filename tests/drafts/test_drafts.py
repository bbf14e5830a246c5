"""A draft keeps what was given; its rows follow from it, wait for the second reader, and load as one revision."""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from app.database.connections import Database
from tests.conftest import Fresh
from tests.drafts.drafting import CITED, Drafting, drafting, hash_of
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio

TORQUES = "Bolt\tTorque (in-lb)\nMast nut\t7O\nAxle\t118\nSpar screw\t31"
"""Two new fasteners, one figure with a letter in it, and one that is stored as 115."""
KINDS = {"kind of Mast nut": "nut", "kind of Spar screw": "bolt", "page of table": "14"}


@pytest.fixture
async def people(fresh_database: Fresh, tmp_path: Path) -> AsyncIterator[tuple[Drafting, Drafting, Drafting]]:
    """An editor, a second reader and somebody of another shop, on a demo of their own."""
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        async with drafting(database, tmp_path) as found:
            yield found
        database.close()


async def test_a_pasted_table_becomes_rows_once_its_questions_are_answered_and_read(
    people: tuple[Drafting, Drafting, Drafting],
) -> None:
    office, reader, elsewhere = people
    database = office.service.database
    before = hash_of(database)
    draft = await office.start(answers=CITED)
    assert draft.answer["draft"]["title"] == "Quembry Shop Book, forks with travel spacers (invented)"
    await draft.paste(TORQUES)
    assert [line["cells"] for line in draft.answer["grids"][0]["lines"]][1] == ["Mast nut", "7O"]
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
