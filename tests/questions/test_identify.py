"""Identify: its promises on a random catalogue of 20,000 chassis, and every kind of clue on a small one."""

import math
import random
from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.rows import MemoryRows
from app.catalogue.serials import Run
from app.catalogue.tables import Chassis, Damper, Maker, Row, Variant
from app.database.connections import Database
from app.errors import Invalid
from app.questions.identify.identify import IdentifyAnswer, IdentifyAsked, clues, identify
from app.questions.identify.index import CLUES, Index, build
from app.questions.identify.model import next_check, rank
from tests.questions.forks_made_up import Made, make, read
from tests.questions.storing import store

FIRST = "stanchion_diameter"


@pytest.fixture(scope="module")
def large() -> tuple[Made, Index]:
    made = make(20_000, seed=20_000)
    return made, build(MemoryRows(made.rows))


def understood(given: dict[str, Any]) -> dict[str, str | int | float]:
    return clues(IdentifyAsked.model_validate(given)) if given else {}


def test_after_five_clues_one_in_ten_wrong_the_true_one_is_in_the_top_three(large: tuple[Made, Index]) -> None:
    made, index = large
    chance = random.Random(7)
    found = 0
    trials = 40
    for _ in range(trials):
        true = chance.choice(made.chassis)
        given: dict[str, Any] = {}
        looked: set[str] = set()
        clue: str | None = FIRST
        while clue is not None and len(given) < 5:
            shown = chance.choice(made.chassis) if chance.random() < 0.1 else true
            seen = read(chance, made, shown, clue, noise_mm=0.2)
            looked.add(clue)
            if seen is not None:
                given[clue] = seen
            ranking = rank(index, understood(given), 20)
            check = next_check(index, ranking, looked)
            unasked = (each for each in CLUES if each not in looked)
            clue = check.clue if check is not None else next(unasked, None)
        found += true.id in {index.ids[place] for place in ranking.best[:3]}
    assert found >= 0.95 * trials


@pytest.mark.parametrize("count", [2, 8, 50, 400, 20_000])
def test_following_the_next_check_ends_with_what_no_look_can_tell_apart(large: tuple[Made, Index], count: int) -> None:
    made, index = large
    if count < len(made.chassis):
        made = make(count, seed=count)
        index = build(MemoryRows(made.rows))
    chance = random.Random(count)
    questions: list[int] = []
    kept = 0
    trials = 6 if count == 20_000 else 40
    for _ in range(trials):
        true = chance.choice(made.chassis)
        given: dict[str, Any] = {}
        looked: set[str] = set()
        ranking = rank(index, {}, 20)
        while (check := next_check(index, ranking, looked)) is not None:
            looked.add(check.clue)
            seen = read(chance, made, true, check.clue, noise_mm=0.2)
            if seen is not None:
                given[check.clue] = seen
            ranking = rank(index, understood(given), 20)
        questions.append(len(looked))
        kept += true.id in {index.ids[place] for place in ranking.plausible}
        assert len(ranking.plausible) == 1 or not _splits(index, ranking.plausible, looked)
    assert sum(questions) / trials <= math.ceil(math.log2(count)) + 2
    assert kept >= 0.95 * trials


def _splits(index: Index, places: list[int], looked: set[str]) -> bool:
    """Whether some unused clue has a single reading for each of these chassis, and two readings in all."""
    for clue in set(CLUES) - looked - {"serial", "stanchion_diameter", "axle_diameter", "hub_spacing"}:
        values = {index.value(clue, place) for place in places}
        if None not in values and len(values) > 1 and all(len(value or ()) == 1 for value in values):
            return True
    return False


MAKERS = [Maker(id="ostrel", name="Ostrel"), Maker.checked(id="pikka", name="Pikka Works")]
DAMPERS = [
    Damper.checked(id="foot-damper", maker="ostrel", name="Foot", adjuster_at="foot", foot_joint="bolt into shaft"),
    Damper.checked(id="top-damper", maker="ostrel", name="Top", adjuster_at="top", foot_joint="nut on shaft"),
    Damper.checked(id="plain-damper", maker="ostrel", name="Plain"),
]


def chassis(id: str, **facts: Any) -> Chassis:
    return Chassis.checked({"id": id, "maker": "ostrel", "name": id, **facts})


SMALL: list[Row] = [
    *MAKERS,
    *DAMPERS,
    chassis(
        "old", model_year_from=2015, model_year_to=2018, stanchion_diameter_mm=34.0, wheel_sizes=(584,),
        hub_spacings_mm=(100.0,), axle_diameters_mm=(15.0,), steerers=("straight 28.6",), dampers=("foot-damper",),
        marks=("K4 on the crown",),
    ),
    chassis(
        "new", model_year_from=2019, model_year_to=2023, stanchion_diameter_mm=34.9, wheel_sizes=(584, 622),
        hub_spacings_mm=(110.0,), axle_diameters_mm=(15.0,), steerers=("tapered 28.6-39.8",), dampers=("top-damper",),
        marks=("two stars on the left lower",),
    ),
    chassis("silent", dampers=("top-damper", "plain-damper")),
    chassis("other", maker="pikka", stanchion_diameter_mm=40.0, model_year_from=2020, axle_diameters_mm=(20.0,)),
    Variant.checked(id="old-first", chassis="old", name="First", serial_pattern="K@##-###", serial_to="KB99-999"),
    Variant.checked(id="old-second", chassis="old", name="Second", serial_pattern="K@##-###", serial_from="KC00-000"),
    Variant.checked(id="new-only", chassis="new", name="Only", serial_pattern="######"),
]  # fmt: skip


def asked(database: Database, **given: Any) -> IdentifyAnswer:
    store(database, SMALL)
    question = IdentifyAsked.model_validate(given)
    return Catalogue(database).answer(lambda snapshot: identify(snapshot, question))


@pytest.mark.parametrize(
    ("clue", "value", "first"),
    [
        ("stanchion_diameter", "34.1", "old"),
        ("stanchion_diameter", "1.374in", "new"),
        ("model_year", 2016, "old"),
        ("wheel_size", "29", "new"),
        ("hub_spacing", "99", "old"),
        ("axle_diameter", "20.1mm", "other"),
        ("steerer", "Tapered", "new"),
        ("serial", "ka01-234", "old"),
        ("serial", "123456", "new"),
        ("mark", "K4", "old"),
        ("mark", "two star on left lower", "new"),
        ("maker", "pikka works", "other"),
        ("maker", "Pika Works", "other"),
        ("foot_joint", "nut on shaft", "new"),
        ("adjuster_at", "foot", "old"),
    ],
)
def test_each_clue_puts_what_it_tells_of_first_and_permits_the_unknown(
    database: Database, clue: str, value: Any, first: str
) -> None:
    answer = asked(database, **{clue: value})
    found = [candidate["chassis"]["id"] for candidate in answer["candidates"]]
    assert found[0] == first
    assert [each["parameter"] for each in answer["candidates"][0]["agrees"]] == [clue]
    if clue != "maker":
        silent = next(each for each in answer["candidates"] if each["chassis"]["id"] == "silent")
        assert silent["unknown"] == [clue]
        assert silent["score"] < answer["candidates"][0]["score"]
    assert sum(each["score"] for each in answer["candidates"]) == pytest.approx(1, abs=0.01)


def test_a_serial_names_the_variants_whose_range_holds_it(database: Database) -> None:
    for serial, variant in (("KB99-999", "old-first"), ("KC00-000", "old-second")):
        candidate = asked(database, serial=serial)["candidates"][0]
        assert [each["id"] for each in candidate.get("variants", [])] == [variant]


@pytest.mark.parametrize(
    ("serial", "holds"),
    [("KA01-234", True), ("KB99-999", True), ("KC00-000", False), ("K101-234", False), ("KA01-23", False), ("", False)],
)
def test_a_serial_is_held_by_shape_and_range(serial: str, holds: bool) -> None:
    assert Run("v", "K@##-###", None, "KB99-999").holds(serial) is holds


def test_one_wrong_clue_among_five_is_shown_and_does_not_mislead(database: Database) -> None:
    answer = asked(
        database, stanchion_diameter="34.1", model_year=2016, wheel_size="584", mark="K4", axle_diameter="20"
    )
    best = answer["candidates"][0]
    assert best["chassis"]["id"] == "old"
    assert [each["parameter"] for each in best["disagrees"]] == ["axle_diameter"]
    clue = best["disagrees"][0]
    assert (clue["parameter"], clue["given"], clue["listed"]) == ("axle_diameter", "20", ["15"])
    assert clue["given_length"]["text"] == "20 mm"
    assert [each["text"] for each in clue["listed_lengths"]] == ["15 mm"]


def test_an_empty_set_says_which_clue_excludes_all(database: Database) -> None:
    store(database, [row for row in SMALL if row.id != "silent"])
    question = IdentifyAsked(mark="a whale and three lighthouses", hub_spacing=None)
    rows = [row for row in SMALL if row.id not in ("silent", "other")]
    store(database, rows, withdrawn=[])
    answer = Catalogue(database).answer(lambda snapshot: identify(snapshot, question))
    assert [each["chassis"]["id"] for each in answer["candidates"]] == ["other"]  # which has no marks in the catalogue
    store(database, withdrawn=[row for row in SMALL if row.id == "other"])
    answer = Catalogue(database).answer(lambda snapshot: identify(snapshot, question))
    assert answer["candidates"] == []
    (excluding,) = answer["excluding"]
    assert (excluding["parameter"], excluding["without"]) == ("mark", 2)
    assert "next_check" not in answer


def test_clues_that_only_together_leave_none_are_all_named(database: Database) -> None:
    store(database, [row for row in SMALL if row.id not in ("silent", "other")])
    question = IdentifyAsked(mark="K4", stanchion_diameter="34.9", model_year=2021, wheel_size="559", foot_joint=None)
    answer = Catalogue(database).answer(lambda snapshot: identify(snapshot, question))
    assert "wheel_size" in {each["parameter"] for each in answer["excluding"]}
    assert answer["candidates"][0]["chassis"]["id"] == "new"


def test_the_next_check_says_what_each_reading_leaves(database: Database) -> None:
    answer = asked(database, maker="ostrel")
    check = answer["next_check"]
    assert check["parameter"] not in ("maker",)
    assert check["text"].endswith((".", "?"))
    assert sum(each["probability"] for each in check["readings"]) == pytest.approx(1, abs=0.01)
    assert all(1 <= each["leaves"] <= answer["plausible"] for each in check["readings"])


def test_a_later_revision_is_not_answered_from_the_index_of_an_earlier_one(database: Database) -> None:
    earlier = asked(database, stanchion_diameter="36")
    assert [each["chassis"]["id"] for each in earlier["candidates"]] == ["silent"]
    store(database, [chassis("latest", stanchion_diameter_mm=36.0)])
    question = IdentifyAsked(stanchion_diameter="36")
    answer = Catalogue(database).answer(lambda snapshot: identify(snapshot, question))
    assert answer["candidates"][0]["chassis"]["id"] == "latest"


def test_without_a_clue_the_easiest_thing_to_look_at_is_named(loaded: Catalogue) -> None:
    def ask(**given: Any) -> IdentifyAnswer:
        return loaded.answer(lambda snapshot: identify(snapshot, IdentifyAsked(**given)))

    assert ask()["next_check"]["parameter"] == "stanchion_diameter"
    skipped = ["stanchion_diameter"]
    while "next_check" in (answer := ask(skip=skipped)):
        assert answer["next_check"]["parameter"] not in skipped
        skipped.append(answer["next_check"]["parameter"])
    assert len(skipped) > 5


def test_several_marks_are_weighed_each_for_itself_and_find_the_variant(loaded: Catalogue) -> None:
    question = IdentifyAsked(mark=["round spring cap", "square arch", "grey lowers"])
    answer = loaded.answer(lambda snapshot: identify(snapshot, question))
    first = answer["candidates"][0]
    assert first["chassis"]["id"] == "quembry-trivet-35"
    assert [clue["given"] for clue in first["agrees"]] == ["round spring cap", "square arch"]
    assert [clue["given"] for clue in first["disagrees"]] == ["grey lowers"]
    assert [variant["id"] for variant in first["variants"]] == ["quembry-trivet-35-run-one"]


def test_every_clue_that_cannot_be_read_is_named() -> None:
    with pytest.raises(Invalid) as refused:
        clues(IdentifyAsked(stanchion_diameter="35psi", wheel_size="thirty"))
    assert {fault.parameter for fault in refused.value.faults} == {"stanchion_diameter", "wheel_size"}


def test_an_empty_catalogue_has_no_candidates(database: Database) -> None:
    answer = Catalogue(database).answer(lambda snapshot: identify(snapshot, IdentifyAsked(stanchion_diameter="35")))
    assert (answer["revision"], answer["candidates"], answer["plausible"]) == (0, [], 0)
