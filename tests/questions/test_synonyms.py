"""The demo with every word stored as a synonym, as an older build or an origin may have it: all answers stay the same.

Rows go in without the rules. The figures are those of the invented demo."""

import datetime as dt
from collections.abc import Iterator
from typing import Any

import pytest

from app.bench.due import DoneJob, due
from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import TABLES, Interval, Limit, Row
from app.catalogue.words import LISTS, read, words
from app.database.connections import Database
from app.questions.answers.words import UNCHECKED, all_words
from app.questions.fork_check.fork_check import ForkCheckAsked, fork_check
from app.questions.job.job_card import JobCardAsked, job_card
from app.questions.setup.parameters import SetupAsked
from app.questions.setup.setup import setup
from app.questions.sheet.sheet import SheetAsked, sheet
from tests.conftest import Fresh
from tests.questions.storing import store
from tests.questions.test_job_card import CROCK, HAAR, HEDDLE, TRIVET, WHIMBREL

RADDLE = {"travel": "160", "model_year": 2023, "wheel_size": "622"}
CARDS: tuple[dict[str, Any], ...] = (
    {**HAAR, "job": "travel-change", "from_travel": "180", "to_travel": "200"},
    {**HAAR, "job": "full-service", "travel": "190"},
    {**HEDDLE, "model_year": 2024, "job": "lower-leg-service"},
    {**HEDDLE, "model_year": 2024, "job": "spacer-change", "spacers": 2},
    {**WHIMBREL},
    {**TRIVET, "from_travel": "130", "to_travel": "140"},
    {
        **CROCK,
        "from_travel": "170",
        "to_travel": "180",
        "wheel_size": "622",
        "spring": "quembry-crock-coil-firm",
        "from_spring": "quembry-crock-coil-firm",
    },
    {"chassis": "tarnoch-raddle-37", **RADDLE, "job": "full-service"},
)
FORKS = ("lommeris-haar-42", "tarnoch-raddle-37", "quembry-trivet-35", "tarnoch-heddle-33-second")


def with_synonyms(row: Row) -> Row:
    """The row with a synonym in place of each word that has one, and the word in capitals where it has none."""
    other: dict[str, object] = {}
    for name, column in row.model.columns().items():
        if column.kind.words is not None and row[name] is not None:
            synonyms = next((each.synonyms for each in words(column.kind.words) if each.word == row[name]), ())
            other[name] = read(column.kind.words, synonyms[-1] if synonyms else row[name].upper())
    return row.replaced(**other)


@pytest.fixture(scope="module")
def demos(fresh_database: Fresh) -> Iterator[tuple[Catalogue, Catalogue]]:
    """The demo, and the demo in synonyms; both at revision 2."""
    with fresh_database("sqlite", True) as plain_url, fresh_database("sqlite", True) as synonym_url:
        plain, synonyms = Database(plain_url), Database(synonym_url)
        with Catalogue(synonyms).snapshot() as snapshot:
            rows = [with_synonyms(row) for table in TABLES.values() for row in snapshot.all(table)]
        store(synonyms, rows)
        store(plain)
        yield Catalogue(plain), Catalogue(synonyms)
        plain.close()
        synonyms.close()


def test_the_synonyms_are_what_is_stored(demos: tuple[Catalogue, Catalogue]) -> None:
    with demos[0].snapshot() as plain, demos[1].snapshot() as synonyms:
        (limit,) = [row for row in synonyms.all(Limit) if row.id == "limit-raddle-37-rider-mass"]
        assert limit.cells()["subject"] == "body weight"
        differing = [
            (table.table, row.id)
            for table in TABLES.values()
            for row in synonyms.all(table)
            if row.cells() != plain.many(table, [row.id])[row.id].cells()
        ]
    assert {table for table, _ in differing} == {
        "parts", "fasteners", "procedures", "steps", "greases", "uses", "limits", "intervals",
    }  # fmt: skip


@pytest.mark.parametrize("asked", CARDS, ids=lambda asked: f"{asked['chassis']} {asked['job']}")
def test_the_job_card_is_the_same(demos: tuple[Catalogue, Catalogue], asked: dict[str, Any]) -> None:
    given = {name: value for name, value in asked.items() if name != "chassis"}
    cards = []
    for catalogue in demos:
        with catalogue.snapshot() as snapshot:
            cards.append(job_card(snapshot, asked["chassis"], JobCardAsked(**given)))
    assert cards[0] == cards[1]
    assert cards[0]["steps"]


@pytest.mark.parametrize("chassis", FORKS)
def test_sheet_and_due_dates_are_the_same(demos: tuple[Catalogue, Catalogue], chassis: str) -> None:
    sheets, dates = [], []
    done = [DoneJob("lower-leg-service", None, None), DoneJob("full-service", None, None)]
    for catalogue in demos:
        with catalogue.snapshot() as snapshot:
            sheets.append(sheet(snapshot, chassis, SheetAsked()))
            intervals = snapshot.where(Interval, "chassis", chassis)
            dates.append(due(intervals, done, first_used_on=None, today=dt.date(2026, 1, 1), hours=None))
    assert sheets[0] == sheets[1]
    assert dates[0] == dates[1]
    assert dates[0]


def test_a_rider_above_the_limit_is_told_so_whatever_the_limit_is_called(demos: tuple[Catalogue, Catalogue]) -> None:
    for catalogue in demos:
        with catalogue.snapshot() as snapshot:
            answer = setup(snapshot, "tarnoch-raddle-37", SetupAsked(rider_mass="131", **RADDLE))
            assert "130 kg" in str(answer["headline"])


def test_the_words_say_which_questions_a_limit_decides(demos: tuple[Catalogue, Catalogue]) -> None:
    """`used_by` against the answers of the demo: a limit is used by a question if the answer names it."""
    used: dict[str, set[str]] = {}
    with demos[0].snapshot() as snapshot:
        limits = {row.id: str(row.subject) for row in snapshot.all(Limit)}
        answers: list[tuple[str, object]] = [
            ("set-up", setup(snapshot, "tarnoch-raddle-37", SetupAsked(rider_mass="80", **RADDLE))),
        ]
        for asked in CARDS:
            given = {name: value for name, value in asked.items() if name != "chassis"}
            answers.append(("job card", job_card(snapshot, asked["chassis"], JobCardAsked(**given))))
    for question, answer in answers:
        text = repr(answer)
        for id, subject in limits.items():
            if f"'{id}'" in text:
                used.setdefault(subject, set()).add(question)
    said = {
        row["word"]: {*row.get("used_by", ())} - {"fork check"}
        for row in all_words()["words"]
        if row["list"] == "subject"
    }
    assert {subject: used.get(subject, set()) for subject in set(limits.values())} == {
        subject: said[subject] for subject in set(limits.values())
    }
    assert {row["word"] for row in all_words()["words"] if row.get("note") == UNCHECKED} == {
        word for word, questions in said.items() if not questions
    }


def test_the_fork_check_uses_the_limits_that_say_so_and_no_other(fresh_database: Fresh) -> None:
    """It names no limit, so the answer is compared with those of a demo that lacks the limits of a subject."""
    asked = ForkCheckAsked(chassis="tarnoch-raddle-37", travel="160", wheel_size="622")
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        with Catalogue(database).snapshot() as snapshot:
            whole = fork_check(snapshot, "gorsewade-stile-l", asked)
            limits = [row for row in snapshot.all(Limit) if row.chassis == "tarnoch-raddle-37"]
        uses = {row["word"]: row.get("used_by", ()) for row in all_words()["words"] if row["list"] == "subject"}
        for subject in dict.fromkeys(row.subject for row in limits):
            own = [row for row in limits if row.subject == subject]
            store(database, withdrawn=own)
            with Catalogue(database).snapshot() as snapshot:
                without = fork_check(snapshot, "gorsewade-stile-l", asked)
            store(database, own)
            assert ({**without, "revision": 1} != whole) == ("fork check" in uses[subject]), subject
        database.close()


def test_every_list_and_its_columns_are_listed() -> None:
    found = all_words()
    assert [each["name"] for each in found["lists"]] == list(LISTS)
    assert all(each["columns"] for each in found["lists"])
    assert {row["list"] for row in found["words"]} == set(LISTS)
