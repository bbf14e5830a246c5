"""Random `fits` questions on a generated catalogue, parameters given and omitted, against a second reading.

LEGWORK_TEST_QUESTIONS sets how many: 5000 is the promise."""

import csv
import os
import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.database.migrating import migrate
from app.exchange.loading import Entry, load
from app.questions.sheet.fits import FitsAsked, fits
from tests.catalogue_generator import write_package
from tests.questions.brute import Brute, Package, Point
from tests.questions.test_brute_force import Expected, asked, shown_ids

CHASSIS = 100
QUESTIONS = int(os.environ.get("LEGWORK_TEST_QUESTIONS", "1000"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("generated") / "package"
    write_package(folder, CHASSIS, seed=5)
    _add_parts(folder)
    _add_bulletins(folder)
    _add_replacements(folder)
    return folder


def _add_replacements(folder: Path) -> None:
    """For every fourth fit that nothing narrows, a figure from a document that replaces its source."""
    with (folder / "fits.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    with (folder / "sources.csv").open(newline="") as file:
        sources = list(csv.DictReader(file))
    narrowed = {row["exception_to"] for row in rows}
    replaced = [
        row for row in rows
        if not row["exception_to"] and row["id"] not in narrowed and int(row["spacer_limit"] or 0) > 2 and row["source"]
    ][::4]  # fmt: skip
    new = {
        id: {
            **next(row for row in sources if row["id"] == id),
            "id": f"{id}-new",
            "title": f"{id} new",
            "supersedes": id,
        }
        for id in sorted({row["source"] for row in replaced})
    }
    more = [
        {**row, "id": f"{row['id']}-new", "source": f"{row['source']}-new", "axle_to_crown_mm": ""} for row in replaced
    ]
    for name, found in (("sources", [*sources, *new.values()]), ("fits", [*rows, *more])):
        with (folder / f"{name}.csv").open("w", newline="") as file:
            writer = csv.DictWriter(file, found[0], restval="")
            writer.writeheader()
            writer.writerows(found)


PARTS = {"crown-alloy": "crown", "crown-carbon": "crown", "guard-long": "guard", "peg": "own: remover"}
"""Parts with their kinds; no figure depends on the last."""


def _add_parts(folder: Path) -> None:
    with (folder / "parts.csv").open(newline="") as file:
        columns = next(csv.reader(file))
    with (folder / "parts.csv").open("a", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="")
        writer.writerows({"id": id, "name": id, "kind": kind} for id, kind in PARTS.items())


def _add_bulletins(folder: Path) -> None:
    """Bulletins that lower the spacer limit of one fit: for a range of serials, for several variants, dampers or
    wheels, or for a fitted part."""
    with (folder / "fits.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    of_chassis = {row["id"]: row for row in csv.DictReader((folder / "chassis.csv").open(newline=""))}
    variants: dict[str, list[str]] = {}
    for variant in csv.DictReader((folder / "variants.csv").open(newline="")):
        variants.setdefault(variant["chassis"], []).append(variant["id"])
    whole: dict[str, list[dict[str, str]]] = {}
    for row in rows:
        narrowed = any(other["exception_to"] == row["id"] for other in rows)
        if not row["exception_to"] and not narrowed and int(row["spacer_limit"] or 0) > int(row["spacers_fitted"] or 0):
            whole.setdefault(row["chassis"], []).append(row)
    for number, (chassis, of_it) in enumerate(whole.items()):
        damper, wheels = (of_chassis[chassis][name] for name in ("dampers", "wheel_sizes"))
        both = ";".join(variants.get(chassis, [])[:2])
        serials = {"serial_from": "B21-40000", "serial_to": "B21-49999"}
        scopes: list[dict[str, str]] = [
            [serials, {"variant": both}],
            [{"fitted_part": "crown-alloy"}, {"fitted_part": "crown-carbon", "wheel_size": wheels}],
            [{"damper": damper}, {"variant": both, "wheel_size": wheels}],
            [{"fitted_part": "crown-alloy"}, {"fitted_part": "guard-long", "damper": damper}] if number % 2 else [],
            [serials],
        ][number % 5]
        for row, scope in zip(of_it, scopes, strict=False):
            given = {name: value for name, value in scope.items() if not row[name]}
            rows.append({
                **row, **given, "id": f"{row['id']}-{'-'.join(scope)}".replace("_", "-"), "exception_to": row["id"],
                "spacer_limit": str(int(row["spacer_limit"]) - 1),
            })  # fmt: skip
    with (folder / "fits.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0], restval="")
        writer.writeheader()
        writer.writerows(rows)


@pytest.fixture(scope="module")
def generated(folder: Path) -> Iterator[Catalogue]:
    database = Database(f"sqlite:///{folder.parent / 'legwork.db'}")
    migrate(database, "catalogue")
    report = load(database, folder, Entry("generated", "test"))
    assert report["accepted"], report["findings"][:3]
    yield Catalogue(database)
    database.close()


def test_fits_of_a_generated_catalogue_are_those_of_a_second_reading(folder: Path, generated: Catalogue) -> None:
    package = Package(folder)
    chance = random.Random(17)
    asked_for = 0
    narrowed = 0
    with generated.snapshot() as snapshot:
        for chassis in sorted(package.by_id["chassis"]):
            brute = Brute(package, chassis)
            expected = Expected(brute, "fits")
            every = set(brute.domain["spring"])
            for _ in range(QUESTIONS // CHASSIS):
                given = _question(brute, chance)
                answer = fits(snapshot, chassis, FitsAsked(**asked(given)))
                may_hold = {
                    id
                    for id in expected.answer(given, every)
                    if given.get("travel", expected.by_id[id]["travel_mm"]) == expected.by_id[id]["travel_mm"]
                }
                assert shown_ids(answer["fits"]) == may_hold, (chassis, given)  # type: ignore[arg-type]
                answered = [each["id"] for each in answer["fits"]]
                open_ones = expected.open_parameters(answered, given, every) - {"travel", "spring"}
                assert {each["parameter"] for each in answer["undecided"]} == open_ones, (chassis, given)
                asked_for += 1
                narrowed += may_hold != set(expected.by_id)
    assert asked_for == QUESTIONS
    assert narrowed > QUESTIONS // 2  # the questions distinguish the fits


def _question(brute: Brute, chance: random.Random) -> Point:
    """Values for some of the parameters; a variant only with a year in which it was made."""
    while True:
        choices = {name: brute.domain[name] for name in ("model_year", "travel", "variant", "damper", "wheel_size")}
        choices["serial"] = brute.stamped or [""]
        choices["fitted_part"] = [*PARTS, "crown-carbon;guard-long"]
        given = {
            name: value
            for name, values in choices.items()
            if chance.random() < 0.6 and (value := chance.choice(values))
        }
        if any(brute.points(given)):
            return given
