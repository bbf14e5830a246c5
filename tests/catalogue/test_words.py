"""The closed lists: no spelling is two words, and a cell comes back as it was written. Which words mean the same in the
trade is common practice, no source."""

import csv
from collections import Counter

import pytest

from app.catalogue.tables import TABLES, Fastener, Limit, Row, from_cells
from app.catalogue.words import LISTS, Word, is_spelt_otherwise, listed, meant, nearest, read, words, written
from app.questions.job.conditions import RING, SEAL_HEAD
from app.questions.job.figures import SPACER_CAP, TRAVEL_SPACER
from app.questions.job.order import OUTSIDE
from app.questions.job.parameters import JOB_WORDS
from app.questions.job.set_figures import CROWN_HEIGHT
from app.questions.job.steps import FOOT
from app.questions.setup.limits import RIDER_MASS
from app.questions.sheet.gather import WORK_ORDER
from app.rules.bands import HOURS, LIMITS
from tests.conftest import SEED_DATA

SYNONYMS = [(name, each.word, synonym) for name in LISTS for each in words(name) for synonym in each.synonyms]
WORDED = [
    (table, column.name, column.kind.words)
    for table in TABLES.values()
    for column in table.columns().values()
    if column.kind.words is not None
]


@pytest.mark.parametrize("name", LISTS)
def test_no_spelling_stands_for_two_words(name: str) -> None:
    """A synonym that folds into another word of its list would silently be that one."""
    for each in words(name):
        assert each.meaning
        for spelling in (each.word, *each.synonyms):
            assert meant(name, spelling) == each.word, spelling
    given = Counter(spelling for each in words(name) for spelling in (each.word, *each.synonyms))
    assert [spelling for spelling, times in given.items() if times > 1] == []


def test_no_synonym_is_only_another_spelling() -> None:
    assert [each for each in SYNONYMS if is_spelt_otherwise(*each[1:])] == []


def test_each_list_is_held_by_columns_and_each_column_by_a_list() -> None:
    assert {name for _, _, name in WORDED} == set(LISTS)
    assert {(table.table, column) for table, column, _ in WORDED} == {
        ("parts", "kind"), ("fasteners", "position"), ("fasteners", "side"), ("procedures", "job"),
        ("steps", "fastener_position"), ("steps", "place"), ("steps", "part_kind"), ("greases", "place"),
        ("uses", "job"), ("uses", "position"), ("limits", "subject"), ("intervals", "operation"),
    }  # fmt: skip


def test_every_word_that_the_code_knows_is_in_its_list() -> None:
    assert {*WORK_ORDER, *OUTSIDE, *FOOT, SPACER_CAP, SEAL_HEAD} <= set(listed("position"))
    assert {RING, TRAVEL_SPACER, "foam ring"} <= set(listed("part kind"))
    assert {RIDER_MASS, CROWN_HEIGHT, *LIMITS} <= set(listed("subject"))
    assert set(HOURS) <= set(listed("operation"))
    assert set(JOB_WORDS) == set(listed("job"))


@pytest.mark.parametrize("table", [table for table in TABLES.values() if any(each[0] is table for each in WORDED)])
def test_the_demo_and_the_common_orders_use_the_words_as_they_are(table: type[Row]) -> None:
    folders = (SEED_DATA, SEED_DATA.parent / "app" / "orders")
    paths = [path for folder in folders if (path := folder / f"{table.table}.csv").exists()]
    assert paths
    for path in paths:
        for line in csv.DictReader(path.read_text(encoding="utf-8").splitlines()):
            for _, column, name in (each for each in WORDED if each[0] is table):
                assert line[column] in ("", *listed(name)), (path.name, line["id"], column)


@pytest.mark.parametrize(
    ("name", "text", "word"),
    [
        ("position", "Foot bolt", "foot bolt"), ("position", "FOOT BOLTS", "foot bolt"),
        ("position", "foot-bolt", "foot bolt"), ("position", "footbolt", "foot bolt"),
        ("position", "Topcap", "top cap"), ("position", "bottom bolt", "foot bolt"),
        ("position", "Thru-axle", "axle"), ("position", "through axle", "axle"),
        ("position", "disc brake bolts", "brake caliper bolt"),
        ("position", "brake calliper bolt", "brake caliper bolt"),
        ("subject", "Tire width", "tyre width"), ("subject", "Rider weight", "rider mass"),
        ("subject", "own: rider weight", "rider mass"), ("side", "Air side", "spring side"),
        ("side", "non drive side", "left"), ("place", "O-ring", None), ("place", "wiper seals", "dust wiper"),
        ("part kind", "Circlip", "retaining ring"), ("part kind", "O-rings", "o-ring"),
        ("operation", "Lower leg service", "lower-leg-service"), ("operation", "overhaul", "full-service"),
        ("job", "token change", "spacer-change"), ("subject", "system weight", "system mass"),
        ("position", "cap", None), ("position", "bolt", None), ("position", "own: lever pivot", None),
    ],
)  # fmt: skip
def test_what_the_trade_says_is_understood(name: str, text: str, word: str | None) -> None:
    assert meant(name, text) == word
    assert written(read(name, text)) == text


@pytest.mark.parametrize(
    ("name", "text", "suggested"),
    [
        ("position", "cap", {"top cap", "damper cap", "spacer cap"}),
        ("position", "seal head", {"spring seal head", "damper seal head"}),
        ("position", "fot bolt", {"foot bolt"}),
        ("subject", "ridermas", {"rider mass"}),
        ("subject", "play", {"bushing play"}),
        ("place", "o-ring", {"top cap seal", "air piston seal"}),
        ("operation", "service", {"lower-leg-service", "full-service", "damper-service"}),
        ("position", "xyzzy", set()),
    ],
)
def test_what_could_mean_several_words_suggests_them_all(name: str, text: str, suggested: set[str]) -> None:
    found = nearest(name, text)
    assert suggested <= set(found)
    assert bool(found) == bool(suggested)


def test_a_cell_equals_its_word_and_is_written_as_it_was() -> None:
    row = Limit.checked(from_cells(Limit, {"id": "limit", "chassis": "fork", "subject": "Rider weight", "max": "125"}))
    same = Limit.checked(from_cells(Limit, {"id": "limit", "chassis": "fork", "subject": "rider mass", "max": "125"}))
    assert row.subject == same.subject == "rider mass"
    assert isinstance(row.subject, Word)
    assert not isinstance(same.subject, Word)
    again = [
        row,
        Limit.from_database(tuple(row.stored().values())),
        Limit.checked(row.values()),
        row.replaced(page="5"),
    ]
    for each in again:
        assert (each.cells()["subject"], each.exchanged()["subject"]) == ("Rider weight", "Rider weight")
        assert each.stored()["subject"] == "Rider weight"
    assert row.cells() != same.cells()


def test_a_wheel_is_entered_by_name_or_bead_seat_and_read_as_it_is_stored() -> None:
    sizes = TABLES["chassis"].columns()["wheel_sizes"].kind
    assert sizes.write(sizes.enter("29;27.5;26;507")) == "622;584;559;507"
    assert sizes.read("29;20") == (29, 20)
    size = Limit.columns()["wheel_size"].kind
    assert [size.enter(text) for text in ("29", "622", "27.5;26")] == [(622,), (622,), (584, 559)]
    for text in ("29 mm", "20", "28", "0", "-29", ""):
        with pytest.raises(ValueError, match="a wheel size must be a bead seat diameter in mm"):
            size.enter(text)
    with pytest.raises(ValueError, match="same item twice"):
        sizes.enter("29;622")


def test_a_part_at_a_position_is_a_word_too() -> None:
    assert Fastener.checked(id="a", position="Top caps", kind="cap").position == "top cap"
