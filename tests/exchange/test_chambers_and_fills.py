"""Chambers and fills as manuals state them: loaded, shown, exported byte for byte and mirrored.

One fork has two positive chambers and a negative one with its own valve, a leg without oil, a greased leg, and a damper
whose oil is given dry and for a refill. It is invented."""

import csv
import html
import io
import re
import zipfile
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.content_hash import content_hash
from app.catalogue.tables import TABLES
from app.database.connections import Database
from app.exchange.loading import Entry, check, load
from app.exchange.mirror import follow, verify
from app.exchange.origin import Origin
from app.exchange.writer import zipped
from tests.conftest import ENGINES, Fresh
from tests.exchange.serving import serving

TODAY = date(2026, 11, 28)
BY = {"source": "book", "page": "4"}
OF = {"chassis": "fork", **BY}
CHAMBERS: list[dict[str, str]] = [
    {"id": "air-negative", "spring": "air", "chamber": "negative", "valve": "own valve", "order": "1",
     "maximum": "180", "unit": "psi", "relative_to": "positive", "offset": "10", **BY},
    {"id": "air-positive", "spring": "air", "chamber": "positive", "valve": "own valve", "order": "2",
     "maximum": "150", "unit": "psi", **BY},
    {"id": "air-second", "spring": "air", "chamber": "second positive", "valve": "own valve", "order": "3",
     "maximum": "200", "unit": "psi", "relative_to": "positive", "factor_min": "1.6", **BY},
]  # fmt: skip
FILLS: list[dict[str, str]] = [
    {"id": "fill-damper-dry", **OF, "chamber": "damper", "condition": "as built", "fluid": "thin", "value": "120",
     "unit": "mL"},
    {"id": "fill-damper-refill", **OF, "chamber": "damper", "condition": "refill", "fluid": "thin", "value": "110",
     "unit": "mL", "level_mm": "95", "level_min_mm": "90", "level_max_mm": "100", "level_limit_min_mm": "82",
     "level_datum": "top of the stanchion"},
    {"id": "fill-damper-rings", **OF, "chamber": "damper", "condition": "new foam rings", "fluid": "thin",
     "value": "55", "unit": "mL"},
    {"id": "fill-leg-damper", **OF, "chamber": "damper-side lower leg", "amount": "none"},
    {"id": "fill-leg-spring", **OF, "chamber": "spring-side lower leg", "amount": "greased", "fluid": "stiff",
     "mass_g": "4.5"},
    {"id": "fill-piston", **OF, "chamber": "above the air piston", "fluid": "thick", "mass_min_g": "1.5",
     "mass_max_g": "2.0"},
]  # fmt: skip
PACKAGE: dict[str, list[dict[str, str]]] = {
    "makers": [{"id": "maker", "name": "Maker"}],
    "sources": [{"id": "book", "maker": "maker", "title": "Book", "kind": "manual", "published_on": "2024"}],
    "chassis": [{"id": "fork", "maker": "maker", "name": "Fork", "model_year_from": "2024", "model_year_to": "2025",
                 "crowns": "single", "travel_min_mm": "150", "travel_max_mm": "150", "dampers": "bath", **BY}],
    "springs": [{"id": "air", "maker": "maker", "name": "Air 150", "kind": "air", "negative": "own valve",
                 "travel_set_by": "shaft length", **BY}],
    "chambers": CHAMBERS,
    "dampers": [{"id": "bath", "maker": "maker", "name": "Bath", "kind": "open bath", "serviceable": "here",
                 "foot_joint": "bolt into shaft", "adjuster_at": "foot", **BY}],
    "fluids": [{"id": "stiff", "name": "Stiff grease", "kind": "grease"},
               {"id": "thick", "name": "Thick oil", "kind": "bath oil"},
               {"id": "thin", "name": "Thin oil", "kind": "damper oil"}],
    "fits": [{"id": "fit", **OF, "spring": "air", "travel_mm": "150"}],
    "fills": FILLS,
    "greases": [{"id": "grease", **OF, "place": "air piston seal", "fluid": "stiff", "mass_g": "0.8"}],
    "guides": [{"id": "guide", **OF, "chamber": "positive", "rider_mass_from": "70", "rider_mass_to": "80",
                "mass_unit": "kg", "pressure": "82", "pressure_unit": "psi"}],
}  # fmt: skip


def file_of(table: str) -> str:
    """A table of the package as the program writes it: every column, the rows by id."""
    text = io.StringIO()
    names = [*TABLES[table].columns()]
    writer = csv.DictWriter(text, names, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(PACKAGE[table])
    return text.getvalue()


@pytest.fixture(scope="module", params=ENGINES)
def stored(request: pytest.FixtureRequest, fresh_database: Fresh, tmp_path_factory: Any) -> Iterator[Database]:
    folder = tmp_path_factory.mktemp("package")
    for table in PACKAGE:
        (folder / f"{table}.csv").write_text(file_of(table), encoding="utf-8")
    with fresh_database(request.param, False) as url:
        database = Database(url)
        report = load(database, folder, Entry("the fork", "tests"), orders=True, today=TODAY)
        assert report["accepted"], report["findings"]
        assert {each["rule"] for each in report["findings"]} <= {"spring-without-limit"}, "no oil is missing"
        yield database
        database.close()


@pytest.fixture(scope="module")
def served(stored: Database, tmp_path_factory: Any) -> Iterator[httpx.Client]:
    with (
        serving(stored, tmp_path_factory.mktemp("shop")) as (address, _),
        httpx.Client(base_url=address, timeout=60) as client,
    ):
        yield client


def forms(client: httpx.Client, path: str) -> tuple[dict[str, Any], str, str]:
    """An answer as JSON, as text, and as the words of its page."""
    answers = [client.get(path, headers={"Accept": each}) for each in ("application/json", "text/plain", "text/html")]
    assert [each.status_code for each in answers] == [200, 200, 200], answers[0].text
    page = html.unescape(re.sub(r"<[^>]*>", "", answers[2].text))
    return answers[0].json(), " ".join(answers[1].text.split()), " ".join(page.split())


def test_the_set_up_says_of_each_chamber_what_to_fill_it_to(served: httpx.Client) -> None:
    answer, text, page = forms(served, "/v1/chassis/fork/setup?travel=150mm&rider_mass=75")
    assert [(each["chamber"], each["pressure"]["text"], each["maximum"]["text"]) for each in answer["chambers"]] == [
        ("negative", "92 psi", "≤ 180 psi"), ("positive", "82 psi", "≤ 150 psi"),
        ("second positive", "≥ 132 psi", "≤ 200 psi"),
    ]  # fmt: skip
    for words in ("number 1 in the order of filling", "10 psi above the positive chamber", "≤ 180 psi",
                  "at least 1.6 times the positive chamber", "≥ 132 psi"):  # fmt: skip
        assert words in text, words
        assert words in page, words


def test_the_card_empties_every_valve_and_fills_in_the_order_of_the_chambers(served: httpx.Client) -> None:
    answer, text, page = forms(served, "/v1/chassis/fork/job-card?job=full-service&travel=150mm&rider_mass=75")
    emptied = [step["text"] for step in answer["steps"] if step["action"] == "empty" and "valve" in step["text"]]
    assert len(emptied) == 3
    filled = [step["text"] for step in answer["steps"] if "Start pressure" in step["text"]]
    for step, words in zip(filled, ("92 psi", "Start pressure: 82", "second positive"), strict=True):
        assert words in step.partition("Order of filling")[0]
    assert all("Order of filling: negative, positive, second positive." in step for step in filled)
    assert "at least 132 psi (published). It is at least 1.6 times the positive chamber. Maximum: 200 psi." in filled[2]
    assert "Pressure, second positive chamber: ____" in answer["label"]
    for words in ("No oil goes into this place: damper-side lower leg.", "4.5 g of Stiff grease",
                  "110 mL of Thin oil (refill)", "As built: 120 mL of Thin oil.",
                  "With new foam rings: 55 mL of Thin oil.", "Hard limit of the level: ≥ 82 mm.",
                  "1.5–2.0 g of Thick oil", "at least 1.6 times the positive chamber"):  # fmt: skip
        assert words in text, words
        assert words in page, words
    assert not {"fluid", "volume", "filling-order"} & {gap["what"] for gap in answer["gaps"]}
    assert {gap["about"] for gap in answer["gaps"] if gap["what"] == "fill"} == {"foam ring"}
    oil = next(each for each in answer["consumables"] if each["id"] == "thin")
    assert oil["need"]["value"] == 120, "the most under any condition"


def test_the_sheet_shows_every_fill_and_misses_no_oil(served: httpx.Client) -> None:
    answer, text, page = forms(served, "/v1/chassis/fork/sheet?travel=150mm")
    fills = {each["id"]: each for each in answer["fills"]}
    assert fills.keys() == {each["id"] for each in FILLS}
    assert fills["fill-leg-damper"]["amount"] == "none"
    assert fills["fill-leg-spring"]["mass"]["text"] == "4.5 g"
    assert fills["fill-piston"]["mass"]["text"] == "1.5–2.0 g"
    assert {each["condition"] for each in answer["fills"] if "condition" in each} == {
        "as built", "refill", "new foam rings",
    }  # fmt: skip
    assert fills["fill-damper-refill"]["level_limit"] == {
        "kind": "at_least", "min": 82, "unit": "mm", "ucum": "mm", "text": "≥ 82 mm",
    }  # fmt: skip
    assert answer["greases"][0]["mass"]["text"] == "0.8 g"
    assert not {"fill", "fluid", "volume"} & {gap["what"] for gap in answer["gaps"]}
    for words in ("no oil", "4.5 g", "damper, as built", "damper, refill", "damper, new foam rings", "≥ 82 mm",
                  "0.8 g"):  # fmt: skip
        assert words in text, words
        assert words in page, words


def test_each_row_has_its_own_address_and_list(served: httpx.Client) -> None:
    row, text, page = forms(served, "/v1/chambers/air-second")
    assert (row["row"]["factor_min"], row["row"]["relative_to"]) == ("1.6", "positive")
    assert "1.6" in text
    assert "1.6" in page
    listed, _, _ = forms(served, "/v1/chambers?spring=air")
    assert len(listed["rows"]) == 3
    spring, _, _ = forms(served, "/v1/springs/air")
    assert "/v1/chambers?spring=air" in {each["href"] for each in spring["links"]["referred_by"]}


def test_it_is_exported_byte_for_byte(stored: Database) -> None:
    package = io.BytesIO()
    with Catalogue(stored).snapshot() as snapshot:
        zipped(snapshot, snapshot.revision, package)
    with zipfile.ZipFile(package) as archive:
        for table in ("chambers", "fills", "greases"):
            assert archive.read(f"{table}.csv").decode() == file_of(table)


@pytest.mark.parametrize("engine", ENGINES)
def test_it_is_mirrored(engine: str, stored: Database, served: httpx.Client, fresh_database: Fresh) -> None:
    with fresh_database(engine, False) as url:
        copy = Database(url)
        origin = Origin(served)
        follow(copy, origin)
        verify(copy, origin, 1)
        with Catalogue(stored).snapshot() as theirs, Catalogue(copy).snapshot() as ours:
            assert content_hash(ours) == content_hash(theirs)
        copy.close()


def test_what_cannot_be_is_refused_with_how_to_fix_it(stored: Database, tmp_path: Path) -> None:
    """A dry leg with a volume, a greased leg with oil, a chamber that depends on itself, two chambers in one place."""
    wrong = {
        "fills": [{**FILLS[3], "value": "10", "unit": "mL"}, {**FILLS[4], "fluid": "thick"}],
        "chambers": [{**CHAMBERS[0], "relative_to": "negative"}, {**CHAMBERS[2], "order": "2"}],
    }
    for table, rows in wrong.items():
        with (tmp_path / f"{table}.csv").open("w", newline="") as file:
            writer = csv.DictWriter(file, list(dict.fromkeys(name for row in rows for name in row)), restval="")
            writer.writeheader()
            writer.writerows(rows)
    report = check(tmp_path, Catalogue(stored))
    assert not report["accepted"]
    assert {each["rule"] for each in report["findings"] if each["severity"] == "reject"} == {
        "kind-excludes-column", "greased-with-oil", "chamber-relative-to-itself", "chamber-order-twice",
    }  # fmt: skip
