"""`fits` and `sheet` against a second reading of the demo's CSV files that enumerates every configuration.

Every statement that may hold is shown and no other, for given and omitted parameters alike."""

import itertools
import os
import random
from collections import defaultdict
from collections.abc import Iterator
from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.questions.sheet.fits import FitsAsked, fits
from app.questions.sheet.sheet import SheetAsked, sheet
from tests.conftest import SEED_DATA
from tests.questions.brute import SUBJECT, Brute, Cells, Package, Point, agree

PACKAGE = Package(SEED_DATA)
CHASSIS = sorted(PACKAGE.by_id["chassis"])
SHEETS = int(os.environ.get("LEGWORK_TEST_SHEETS", "60"))  # random sheets per chassis, besides every full configuration
SHOWN = ["torques", "fills", "greases", "uses", "limits", "intervals", "guides", "adjustments"]


def shown_ids(statements: list[dict[str, Any]]) -> set[str]:
    """Ids of the statements of an answer, those of agreeing sources included."""
    return {each["id"] for each in statements} | {also["id"] for each in statements for also in each.get("also_in", [])}


class Expected:
    """The second reading's result for one chassis, computed once per table and configuration."""

    def __init__(self, brute: Brute, table: str) -> None:
        self.brute = brute
        self.table = table
        self.rows = brute.package.of(table, brute.chassis["id"])
        self.by_id = {row["id"]: row for row in self.rows}
        self.overruled = brute.overruled_by(table, self.rows)
        self.points = list(brute.points({}))
        self.holding = [brute.holding(table, self.rows, self.overruled, point) for point in self.points]

    def answer(self, given: Point, springs: set[str]) -> dict[str, list[Point]]:
        """For each statement that may hold, the configurations of the question at which it holds."""
        found: dict[str, list[Point]] = defaultdict(list)
        is_open = self.brute.leaving_open(given)
        for point, holding in zip(self.points, self.holding, strict=True):
            if point["spring"] in springs and is_open(point):
                for id in holding:
                    found[id].append(point)
        return found

    def open_parameters(self, shown: list[str], given: Point, springs: set[str]) -> set[str]:
        """Parameters with a value that would rule out a shown statement, although it may hold."""
        is_open = self.brute.leaving_open(given)
        within = [point for point in self.points if point["spring"] in springs and is_open(point)]
        found = set()
        for row in (self.by_id[id] for id in shown):
            holding = [point for point in within if self.brute.contains(self.table, row, point)]
            for name in self.brute.domain:
                values = {point[name] for point in within}
                possible = {point[name] for point in holding}
                if possible and possible != values:
                    found.add(name)
        return found


@pytest.fixture(scope="module", params=CHASSIS)
def brute(request: pytest.FixtureRequest) -> Brute:
    return Brute(PACKAGE, request.param)


def questions(brute: Brute, names: list[str]) -> Iterator[Point]:
    """Every combination of values and omissions of these parameters."""
    choices = {**brute.domain, "serial": brute.stamped, "fitted_part": sorted(brute.kind_of)}
    for values in itertools.product(*([None, *filter(None, choices[name])] for name in names)):
        given = {name: value for name, value in zip(names, values, strict=True) if value is not None}
        if any(brute.points(given)):
            yield given


def asked(given: Point) -> dict[str, Any]:
    return {name: int(value) if name == "model_year" else value for name, value in given.items()}


def test_fits_are_those_of_a_second_reading(brute: Brute, loaded: Catalogue) -> None:
    expected = Expected(brute, "fits")
    every = set(brute.domain["spring"])
    names = ["model_year", "travel", "variant", "damper", "wheel_size"]
    asked_for = list(questions(brute, names))
    stamped = [given for given in questions(brute, [*names, "serial"]) if "serial" in given]
    asked_for += random.Random(8).sample(stamped, min(150, len(stamped)))
    if not loaded.database.is_sqlite:
        asked_for = random.Random(7).sample(asked_for, min(40, len(asked_for)))
    with loaded.snapshot() as snapshot:
        for given in asked_for:
            answer = fits(snapshot, brute.chassis["id"], FitsAsked(**asked(given)))
            may_hold = set(expected.answer(given, every))
            if "travel" in given:
                may_hold = {id for id in may_hold if expected.by_id[id]["travel_mm"] == given["travel"]}
            assert shown_ids(answer["fits"]) == may_hold, given  # type: ignore[arg-type]
            answered = [each["id"] for each in answer["fits"]]
            open_ones = expected.open_parameters(answered, given, every) - {"travel", "spring"}
            assert {each["parameter"] for each in answer["undecided"]} == open_ones, given


def test_a_near_miss_fails_on_the_one_condition_it_names(brute: Brute, loaded: Catalogue) -> None:
    expected = Expected(brute, "fits")
    chassis = brute.chassis["id"]
    conditions = {
        "model-year-outside": "model_year", "wheel-size-differs": "wheel_size", "damper-differs": "damper",
        "variant-differs": "variant", "serial-differs": "serial", "travel-differs": "travel",
        "fitted-part-differs": "fitted_part",
    }  # fmt: skip
    full = [given for given in questions(brute, ["model_year", "travel", "damper", "wheel_size"]) if len(given) >= 3]
    seen = 0
    with loaded.snapshot() as snapshot:
        for given in random.Random(11).sample(full, min(60, len(full))):
            answer = fits(snapshot, chassis, FitsAsked(**asked(given)))
            for miss in answer["near_misses"]:
                seen += 1
                (reason,) = miss["reasons"]
                if reason["code"] == "other-generation":
                    other = PACKAGE.by_id["chassis"][miss["chassis"]]
                    assert (other["maker"], other["name"]) == (brute.chassis["maker"], brute.chassis["name"])
                    continue
                freed = {name: value for name, value in given.items() if name != conditions[reason["code"]]}
                row = expected.by_id[miss["id"]]
                assert not any(_fits(brute, row, point, given) for point in brute.points(given))
                assert any(_fits(brute, row, point, freed) for point in brute.points(freed))
    assert seen or len(CHASSIS) > 1


def _fits(brute: Brute, row: Cells, point: Point, given: Point) -> bool:
    return brute.contains("fits", row, point) and given.get("travel", row["travel_mm"]) == row["travel_mm"]


def sheet_questions(brute: Brute, count: int) -> list[Point]:
    """Every full configuration of a fit, each with one random omission, and some random questions."""
    chance = random.Random(13)
    full = []
    for row in brute.package.of("fits", brute.chassis["id"]):
        for point in brute.points({"travel": row["travel_mm"], "spring": row["spring"]}):
            if brute.contains("fits", row, point):
                full.append({name: value for name, value in point.items() if value})
    chance.shuffle(full)
    found = full[: 2 * count]
    for given in full[:count]:
        left_out = chance.sample(sorted(given), chance.randint(1, len(given)))
        found.append({name: value for name, value in given.items() if name not in left_out})
    return found


def test_a_sheet_is_that_of_a_second_reading(brute: Brute, loaded: Catalogue) -> None:
    expected = {table: Expected(brute, table) for table in ["fits", *SHOWN]}
    every = set(brute.domain["spring"])
    count = SHEETS if loaded.database.is_sqlite else 5
    with loaded.snapshot() as snapshot:
        for given in sheet_questions(brute, count):
            answer = sheet(snapshot, brute.chassis["id"], SheetAsked(**asked(given)))
            without_spring = {name: value for name, value in given.items() if name != "spring"}
            fitting = {expected["fits"].by_id[id]["spring"] for id in _fitting(expected["fits"], without_spring)}
            springs = {given["spring"]} if "spring" in given else (fitting or every)
            given = _with_travel(expected["fits"], given)
            for table in SHOWN:
                shown = answer[table]  # type: ignore[literal-required]
                assert shown_ids(shown) == set(expected[table].answer(given, springs)), (given, table)
                named = {each["parameter"] for each in answer["undecided"]}
                open_ones = expected[table].open_parameters([each["id"] for each in shown], given, springs)
                assert open_ones <= named, (given, table)


def _with_travel(expected: Expected, given: Point) -> Point:
    """A spring that gives only one travel in the rest of the configuration decides the travel."""
    if "spring" not in given or "travel" in given:
        return given
    rows = [row for row in expected.by_id.values() if row["spring"] == given["spring"]]
    points = list(expected.brute.points(given))
    travels = {row["travel_mm"] for row in rows if any(expected.brute.contains("fits", row, point) for point in points)}
    return {**given, "travel": travels.pop()} if len(travels) == 1 else given


def _fitting(expected: Expected, given: Point) -> set[str]:
    may_hold = expected.answer(given, set(expected.brute.domain["spring"]))
    return {
        id for id in may_hold if given.get("travel", expected.by_id[id]["travel_mm"]) == expected.by_id[id]["travel_mm"]
    }


def test_what_is_also_in_another_source_says_the_same(brute: Brute, loaded: Catalogue) -> None:
    with loaded.snapshot() as snapshot:
        answer = sheet(snapshot, brute.chassis["id"], SheetAsked())
    for table in SUBJECT.keys() & set(answer):
        rows = {row["id"]: row for row in PACKAGE.tables[table]}
        for each in answer[table]:  # type: ignore[literal-required]
            for also in each.get("also_in", []):
                assert agree(table, rows[each["id"]], rows[also["id"]])


def test_two_unexcused_statements_of_one_subject_never_hold_together(brute: Brute, loaded: Catalogue) -> None:
    for table in SHOWN:
        expected = Expected(brute, table)
        for holding in expected.holding:
            for first, second in itertools.combinations(sorted(holding), 2):
                a, b = expected.by_id[first], expected.by_id[second]
                assert brute.subject(table, a) != brute.subject(table, b) or agree(table, a, b), (first, second)
