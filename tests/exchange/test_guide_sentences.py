"""Sentences of manuals about set-up, torques and lengths: loaded, asked for, shown, exported, copied and migrated."""

import asyncio
import csv
import io
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Adjustment
from app.database.connections import Database
from app.database.migrating import bring_down, migrate, schema_of
from app.exchange.loading import Entry, load
from app.exchange.mirror import follow, verify
from app.exchange.origin import Origin, client_of
from app.exchange.writer import zipped
from app.operating.backup import hashed
from tests.api.asking import asking
from tests.conftest import ENGINES, Fresh
from tests.exchange.serving import serving
from tests.questions.storing import store

GUIDE, DOCUMENT = "guide-raddle-37-150-160-", {"source": "tarnoch-fork-manual-b", "page": "28"}
LINE = {
    "chassis": "tarnoch-raddle-37", "travel_from_mm": "150", "travel_to_mm": "160", "chamber": "positive",
    "mass_unit": "kg", "mass_is": "with gear", **DOCUMENT,
}  # fmt: skip
CROWN = {"chassis": "lommeris-haar-42", "unit": "N·m", "source": "lommeris-service-guide-3", "page": "24"}
INNER, OUTER = "lommeris-haar-42-upper-crown-bolt", "lommeris-haar-42-upper-crown-bolt-outer"
SENTENCES: dict[str, list[dict[str, str]]] = {
    "guides": [
        {"id": f"{GUIDE}75-kg", "sag_percent": "", "sag_min_percent": "18", "sag_max_percent": "20",
         "rebound_clicks": "", "rebound_clicks_min": "12", "rebound_clicks_max": "13"},
        {"id": f"{GUIDE}75-kg-park", **LINE, "riding": "park", "rider_mass_from": "75", "rider_mass_to": "85",
         "pressure": "91", "pressure_unit": "psi"},
        {"id": f"{GUIDE}115-kg", **LINE, "rider_mass_from": "115", "instruction": "ask the maker"},
    ],
    "adjustments": [
        {"id": "adjustment-raddle-37-pressure-e-bike", "value": "8"},
    ],
    "fasteners": [
        {"id": INNER, "side": "inner", "group": "upper crown"},
        {"id": OUTER, "chassis": "lommeris-haar-42", "position": "upper crown bolt", "side": "outer", "count": "2",
         "kind": "bolt", "drives": "hex 4 mm", "thread": "M5", "group": "upper crown",
         "source": "lommeris-service-guide-3", "page": "24"},
    ],
    "torques": [
        {"id": "torque-haar-42-upper-crown-bolt", "order": "1"},
        {"id": "torque-haar-42-upper-crown-outer", **CROWN, "fastener": OUTER, "order": "2", "value": "5.5"},
        {"id": "torque-haar-42-upper-crown-again", **CROWN, "fastener": INNER, "stage": "2", "order": "3",
         "min": "5", "max": "6"},
        {"id": "torque-haar-42-knob-screw-lull", "min": "", "max": "", "unit": "", "instruction": "hand tight"},
        {"id": "torque-haar-42-axle-carbon", **CROWN, "fastener": "lommeris-haar-42-axle", "value": "9",
         "mating_material": "carbon"},
    ],
    "springs": [
        {"id": "lommeris-haar-42-spring-180", "shaft_length_mm": "214.5", "length_tolerance_mm": "2"},
    ],
    "fits": [
        {"id": "fit-haar-42-180-622", "axle_to_crown_tolerance_mm": "2"},
    ],
}  # fmt: skip
ORDER = ("springs", "fasteners", "fits", "torques", "guides", "adjustments")
HAAR = "/v1/chassis/lommeris-haar-42"
BUILT = "travel=180&wheel_size=622&model_year=2023"
FRAME = "gorsewade-stile-l"
RADDLE = "/v1/chassis/tarnoch-raddle-37"


def entered(database: Database, folder: Path) -> None:
    """Loads each table as a person saves it: only the columns that are given."""
    for table in ORDER:
        for number, cells in enumerate(SENTENCES[table]):
            path = folder / str(number) / f"{table}.csv"
            path.parent.mkdir(exist_ok=True)
            text = io.StringIO()
            csv.writer(text, lineterminator="\n").writerows([cells.keys(), cells.values()])
            path.write_text(text.getvalue(), encoding="utf-8")
            report = load(database, path, Entry("sentences of manuals", "test"))
            assert report["accepted"], (cells["id"], report["findings"])


@pytest.fixture(scope="module", params=ENGINES)
def database(
    request: pytest.FixtureRequest, fresh_database: Fresh, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Database]:
    """The demo with the sentences; read only."""
    with fresh_database(request.param, True) as url:
        database = Database(url)
        entered(database, tmp_path_factory.mktemp("entered"))
        yield database
        database.close()


def answers(database: Database, address: str) -> tuple[Any, str, str]:
    """The answer as JSON, as text and as a page."""

    async def ask() -> list[httpx.Response]:
        async with asking(database) as client:
            kinds = ("application/json", "text/plain", "text/html")
            return [await client.get(address, headers={"Accept": kind}) for kind in kinds]

    found = asyncio.run(ask())
    assert [each.status_code for each in found] == [200] * 3, found[0].text
    return found[0].json(), " ".join(found[1].text.split()), " ".join(found[2].text.split())


def test_ranges_riding_words_and_adjustments_are_on_the_sheet(database: Database) -> None:
    sheet, text, page = answers(database, f"{RADDLE}/sheet?travel=160")
    lines = {each["id"]: each for each in sheet["guides"]}
    middle = lines[f"{GUIDE}75-kg"]
    assert (middle["sag"]["kind"], middle["sag"]["text"]) == ("range", "18–20 %")
    assert (middle["rebound_clicks"]["min"], middle["rebound_clicks"]["max"]) == (12, 13)
    assert lines[f"{GUIDE}75-kg-park"]["riding"] == "park"
    assert lines[f"{GUIDE}115-kg"]["instruction"] == "ask the maker"
    assert {(each["target"], each["text"]) for each in sheet["adjustments"]} == {
        ("pressure", "add 8 psi"), ("rebound clicks", "take off 1 click"),
    }  # fmt: skip
    for shown in (text, page):
        for said in ("18–20 %", "12–13 clicks from", "park", "ask the maker", "115 kg and more", "e-bike", "add 8 psi"):
            assert said in shown, said
    assert '<th scope="col">any riding</th><th scope="col">park</th>' in page
    assert '<th scope="row">75 kg to below 85 kg</th><td>86 psi</td><td>91 psi</td>' in page


def test_a_set_up_asks_for_the_riding_and_adds_only_what_is_asked_for(database: Database) -> None:
    asked = f"{RADDLE}/setup?travel=160&rider_mass=80"
    both, text, page = answers(database, asked)
    assert {"parameter": "riding", "values": ["other", "park"]}.items() <= next(
        each for each in both["undecided"] if each["parameter"] == "riding"
    ).items()
    assert 'name="riding" value="park"' in page
    assert "riding" in text
    assert "condition=e-bike" in page
    park, *_ = answers(database, f"{asked}&riding=park&condition=e-bike")
    assert (park["start_pressure"]["text"], park["asked"]["condition"]) == ("99 psi", ["e-bike"])
    *_, text = answers(database, f"{asked}&riding=other&condition=e-bike&condition=frost")
    assert "94 psi" in text
    assert "11–12 clicks from" in text
    heavy, text, page = answers(database, f"{RADDLE}/setup?travel=160&rider_mass=120")
    assert "start_pressure" not in heavy
    for shown in (text, page):
        assert "The guide gives no figure for this rider: ask the maker." in shown


def test_the_job_card_has_order_words_and_tolerance(database: Database) -> None:
    card, text, page = answers(database, f"{HAAR}/job-card?job=full-service&{BUILT}&damper=lommeris-lull&spacers=2")
    turns = "Tighten in this order: inner 5–6 N·m, outer 5.5 N·m, inner 5–6 N·m."
    for shown in (text, page):
        assert turns in shown
        assert "hand tight" in shown
        assert "582–586" in shown
    assert "9 N·m (carbon)" in page
    crown = next(each for each in card["steps"] if turns in each["text"])
    assert [each["order"] for each in crown["torque"]] == [1, 2, 3]
    assert not [gap for gap in card["gaps"] if gap["what"] == "torque"]


def test_order_material_and_lengths_are_on_the_sheet_and_the_spring(database: Database) -> None:
    sheet, text, page = answers(database, f"{HAAR}/sheet?{BUILT}&damper=lommeris-lull")
    crown = [each for each in sheet["torques"] if each["fastener"].get("group") == "upper crown"]
    assert [(each["order"], each["fastener"]["side"]) for each in crown] == [(1, "inner"), (2, "outer"), (3, "inner")]
    (knob,) = [each for each in sheet["torques"] if each["fastener"]["id"] == "lommeris-lull-knob-screw"]
    assert ("torque" in knob, knob["instruction"]) == (False, "hand tight")
    assert not [gap for gap in sheet["gaps"] if gap["what"] == "torque"]
    axle = [each for each in sheet["torques"] if each["fastener"]["id"] == "lommeris-haar-42-axle"]
    assert {each.get("mating_material") for each in axle} == {None, "carbon"}
    (fit,) = sheet["fits"]
    assert (fit["axle_to_crown"]["kind"], fit["axle_to_crown"]["text"]) == ("toleranced", "584 mm (582–586)")
    for shown in (text, page):
        for said in ("no. 3 of upper crown", "hand tight", "against", "carbon", "582–586"):
            assert said in shown, said
    spring, text, page = answers(database, "/v1/springs/lommeris-haar-42-spring-180")
    assert (spring["row"]["shaft_length_mm"], spring["row"]["length_tolerance_mm"]) == ("214.5", "2")
    for shown in (text, page):
        assert "214.5" in shown
        assert "length tolerance" in shown.lower()


def test_a_frame_is_checked_against_the_longest_that_the_tolerance_permits(database: Database) -> None:
    asked = f"/v1/frames/{FRAME}/fork-check?chassis=lommeris-haar-42&travel=180&wheel_size=622"
    margin = answers(database, asked)[0]["margins"]["axle_to_crown_below_greatest"]
    assert margin["value"] == 588 - (584 + 2)


def package(database: Database) -> dict[str, bytes]:
    """The CSV files of an export; its descriptor names the revision."""
    with Catalogue(database).snapshot() as snapshot:
        found = io.BytesIO()
        zipped(snapshot, snapshot.revision, found)
    with zipfile.ZipFile(found) as files:
        return {name: files.read(name) for name in files.namelist() if name.endswith(".csv")}


@contextmanager
def another(database: Database, fresh_database: Fresh) -> Iterator[Database]:
    """An empty catalogue on the other engine."""
    engine = next(each for each in ENGINES[::-1] if each != ("sqlite" if database.is_sqlite else "postgresql"))
    with fresh_database(engine, False) as url:
        other = Database(url)
        yield other
        other.close()


def test_an_export_loads_elsewhere_and_is_the_same_bytes_again(
    database: Database, fresh_database: Fresh, tmp_path: Path
) -> None:
    path = tmp_path / "all.zip"
    with Catalogue(database).snapshot() as snapshot, path.open("wb") as file:
        zipped(snapshot, snapshot.revision, file)
    with another(database, fresh_database) as copy:
        report = load(copy, path, Entry("a copy", "test"))
        assert report["accepted"], report["findings"]
        assert package(copy) == package(database)


def test_a_mirror_is_the_same_bytes(database: Database, fresh_database: Fresh, tmp_path: Path) -> None:
    with another(database, fresh_database) as copy, serving(database, tmp_path) as (address, _):
        with client_of(address, None) as client:
            source = Origin(client, tries=4, pause=lambda seconds: None)
            revision = follow(copy, source)
            verify(copy, source, revision)
        assert package(copy) == package(database)


@pytest.mark.parametrize("engine", ENGINES)
def test_the_schema_before_is_migrated_with_its_content(engine: str, fresh_database: Fresh) -> None:
    with fresh_database(engine, True) as url:
        database = Database(url)
        with Catalogue(database).snapshot() as snapshot:
            new = list(snapshot.all(Adjustment))
        revision = store(database, withdrawn=new)
        before = hashed(database, revision)
        bring_down(database, "catalogue", "0007")
        with database.read() as connection:
            assert schema_of(connection) == "0007"
        migrate(database, "catalogue")
        assert hashed(database, revision) == before
        database.close()
