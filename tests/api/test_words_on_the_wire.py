"""Words over HTTP: the list itself, a refusal with the right word, and a shop's own word in JSON, page and text."""

import csv
import io
import re
from collections.abc import AsyncIterator

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Limit
from app.catalogue.words import LISTS, listed, read, words
from app.database.connections import Database
from app.questions.answers.words import UNCHECKED
from tests.api.asking import asking
from tests.conftest import Fresh
from tests.questions.storing import store

pytestmark = pytest.mark.anyio

CHASSIS = "tarnoch-raddle-37"
FORK = f"/v1/chassis/{CHASSIS}/sheet?travel=160&model_year=2023&wheel_size=29"
SYNONYM, OWN, UNKNOWN = "Rider weight", "own: handlebar width", "Lever ratio"


@pytest.fixture(scope="module")
async def demo(fresh_database: Fresh) -> AsyncIterator[Database]:
    """The demo with limits whose subjects are a synonym, an own word and an unknown word, past the rules."""
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        with Catalogue(database).snapshot() as snapshot:
            (rider,) = [row for row in snapshot.all(Limit) if row.id == "limit-raddle-37-rider-mass"]
        store(
            database,
            [
                rider.replaced(subject=read("subject", SYNONYM)),
                rider.replaced(id="limit-own", subject=read("subject", OWN), unit="mm", max=rider.max),
                rider.replaced(id="limit-unknown", subject=read("subject", UNKNOWN), unit=None, max=None),
            ],
        )
        yield database
        database.close()


async def test_all_words_are_listed_with_meaning_and_synonyms(demo: Database) -> None:
    async with asking(demo) as client:
        found = (await client.get("/v1/words")).json()
        rows = list(csv.DictReader(io.StringIO((await client.get("/v1/words.csv")).text, newline="")))
        text, page = (await client.get("/v1/words.txt")).text, (await client.get("/v1/words.html")).text
        assert (await client.get("/v1/words?list=side")).status_code == 422
    assert [(row["list"], row["word"]) for row in found["words"]] == [
        (name, each.word) for name in LISTS for each in words(name)
    ]
    assert [row["word"] for row in rows] == [row["word"] for row in found["words"]]
    by_word = {(row["list"], row["word"]): row for row in found["words"]}
    assert by_word["subject", "rider mass"]["used_by"] == ["set-up", "job card"]
    assert "rider weight" in by_word["subject", "rider mass"]["synonyms"]
    assert by_word["subject", "rotor diameter"]["note"] == UNCHECKED
    assert {each["name"]: each["columns"] for each in found["lists"]}["subject"] == ["limits.subject"]
    for name in LISTS:
        assert all(word in text and word in page for word in listed(name))
    assert "used by" in page
    assert "no question checks this" in text


async def test_a_synonym_and_a_slip_are_refused_with_the_word_to_use(demo: Database) -> None:
    async with asking(demo) as client:
        for subject, said in (
            (SYNONYM, ("“Rider weight” means rider mass: write rider mass",)),
            ("rider mas", ("“rider mas” is not a subject of the list; did you mean rider mass?",)),
            ("tyre", ("did you mean ", "tyre width", "tyre diameter")),
        ):
            row = {"id": "limit-new", "chassis": "quembry-crock-39", "subject": subject, "max": "125", "unit": "kg",
                   "source": "quembry-long-travel-book", "page": "3"}  # fmt: skip
            change = {"table": "limits", "op": "put", "row": row}
            answer = (await client.post("/v1/checks", json={"changes": [change], "reason": "read"})).json()
            assert not answer["accepted"]
            (found,) = [each for each in answer["findings"] if each["rule"] == "word-unknown"]
            assert (found["severity"], found["value"]) == ("reject", subject)
            assert all(part in found["text"] for part in said), found["text"]


async def test_an_own_word_is_shown_as_such_and_that_nothing_checks_it(demo: Database) -> None:
    async with asking(demo) as client:
        found = (await client.get(FORK)).json()
        page = re.sub(r"<[^>]*>", " ", (await client.get(f"{FORK}&format=html")).text)
        text = (await client.get(f"{FORK}&format=txt")).text
        row = (await client.get("/v1/statements/limit-own")).json()
    limits = {each["id"]: each for each in found["limits"]}
    assert limits["limit-own"]["subject"] == OWN
    assert limits["limit-own"]["unchecked"] == limits["limit-unknown"]["unchecked"] == UNCHECKED
    assert limits["limit-unknown"]["subject"] == UNKNOWN
    assert limits["limit-raddle-37-rider-mass"]["subject"] == "rider mass"
    assert "unchecked" not in limits["limit-raddle-37-rider-mass"]
    for shown in (page, text):
        assert OWN in shown
        assert UNKNOWN in shown
        assert shown.lower().count("no question checks this") >= 2
    assert row["row"]["subject"] == OWN


async def test_what_was_written_stays_in_rows_lists_and_feeds_and_is_found_by_its_word(demo: Database) -> None:
    async with asking(demo) as client:
        row = (await client.get("/v1/statements/limit-raddle-37-rider-mass")).json()["row"]
        assert row["subject"] == SYNONYM
        changes = (await client.get("/v1/changes?after=1")).json()["changes"]
        assert {each["row"]["subject"] for each in changes} == {SYNONYM, OWN, UNKNOWN}
        for asked in ("rider mass", "rider weight", "Rider weight", "body weight"):
            answer = (await client.get("/v1/limits", params={"subject": asked, "chassis": CHASSIS})).json()
            assert [each["id"] for each in answer["rows"]] == ["limit-raddle-37-rider-mass"], asked
        own = (await client.get("/v1/limits", params={"subject": OWN})).json()
        assert [each["id"] for each in own["rows"]] == ["limit-own"]


async def test_a_set_up_keeps_the_limit_that_is_called_otherwise(demo: Database) -> None:
    async with asking(demo) as client:
        asked = "travel=160&model_year=2023&wheel_size=29&rider_mass=131"
        text = (await client.get(f"/v1/chassis/{CHASSIS}/setup.txt?{asked}")).text
    assert "EXCEEDED" in text
    assert "≤ 130 kg" in text
