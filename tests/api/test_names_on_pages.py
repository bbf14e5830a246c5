"""Pages show names, as the catalogue files do, where JSON has ids; both come from one answer."""

import csv
import re
from typing import Any

import pytest

from app.database.connections import Database
from app.web.representation.words import sentence
from tests.api.asking import asking
from tests.api.reading_html import Page
from tests.conftest import SEED_DATA

pytestmark = pytest.mark.anyio

HTML = {"Accept": "text/html"}
TRIVET = "/v1/chassis/quembry-trivet-35"


def called(table: str) -> dict[str, str]:
    """The names of the rows of a file, by id."""
    with (SEED_DATA / f"{table}.csv").open(encoding="utf-8") as file:
        return {row["id"]: row.get("name") or row["title"] for row in csv.DictReader(file)}


async def test_what_a_page_names_it_calls_by_name_on_either_engine(demo: Database) -> None:
    wanted = {
        f"{TRIVET}/fits?travel=150&model_year=2023": {
            "variants": "quembry-trivet-35-run-two", "parts": "travel-spacer-quembry-35",
        },
        TRIVET: {"makers": "quembry", "sources": "quembry-shop-book-3", "springs": "quembry-trivet-spring-run-one"},
        f"{TRIVET}/setup?travel=150&spring=quembry-trivet-spring-run-two&rider_mass=80": {
            "springs": "quembry-trivet-spring-run-two", "variants": "quembry-trivet-35-run-two",
        },
        "/v1/fits": {"springs": "lommeris-haar-42-spring-180", "chassis": "lommeris-haar-42"},
    }  # fmt: skip
    async with asking(demo) as client:
        for address, ids in wanted.items():
            html = (await client.get(address, headers=HTML)).text
            page = Page(html).text
            answer = (await client.get(address)).text
            for table, id in ids.items():
                assert f'"{id}"' in answer, f"{address}: {id}"
                assert called(table)[id] in page, f"{address}: {id}"
                assert not re.search(rf"(?<![\w-]){id}(?![\w-])", page), f"{address}: {id}"


async def test_a_wheel_is_called_as_it_is_asked_for_with_its_bead_seat(demo: Database) -> None:
    """ISO 5775-1: 622 and 584 mm are the bead seats of 29 in and 27.5 in mountain wheels."""
    async with asking(demo) as client:
        page = Page((await client.get(f"{TRIVET}/fits?travel=150&wheel_size=622", headers=HTML)).text)
        fork = (await client.get(TRIVET, headers=HTML)).text
    assert "wheel size 29 in (622 mm)" in page.text
    assert not re.search(r"wheel size\s+622", page.text)
    assert '<option value="584">27.5 in (584 mm)</option>' in fork


@pytest.mark.parametrize(
    "question",
    ["fits?", "sheet?", "setup?rider_mass=80&", "job-card?job=lower-leg-service&damper=quembry-strainer&"],
)
async def test_what_is_asked_anew_is_chosen_by_name(demo: Database, question: str) -> None:
    async with asking(demo) as client:
        asked = f"{TRIVET}/{question}travel=150&variant=quembry-trivet-35-run-two&wheel_size=29"
        html = (await client.get(asked, headers=HTML)).text
        as_it_was = (await client.get(f"{TRIVET}/{question}travel=150&wheel_size=26", headers=HTML)).text
    form = html.partition('class="ask"')[2].partition("</form>")[0]
    run_two = called("variants")["quembry-trivet-35-run-two"]
    assert f'<option value="quembry-trivet-35-run-two" selected>{run_two}</option>' in form
    assert '<option value="622" selected>29 in (622 mm)</option>' in form
    assert f'<option value="quembry-sieve">{called("dampers")["quembry-sieve"]}</option>' in form
    assert "Id of the damper" not in form
    assert 'name="wheel_size" value="26"' in as_it_was, "a refusal keeps what was typed"


async def test_near_misses_that_differ_in_the_wheel_are_one_line_with_every_statement(demo: Database) -> None:
    address = f"{TRIVET}/fits?travel=150&model_year=2023"
    async with asking(demo) as client:
        missed: list[dict[str, Any]] = (await client.get(address)).json()["near_misses"]
        html = (await client.get(address, headers=HTML)).text
    near = html[html.index('<section class="near">') :].partition("</section>")[0]
    alike = {(each["spring"]["id"], each["travel"]["text"], each["reasons"][0]["text"]) for each in missed}
    assert len(alike) < len(missed)
    assert near.count('<li class="line">') == len(alike)
    for each in missed:
        assert f"/v1/statements/{each['id']}" in near
    assert near.count("wheel size 27.5 in (584 mm), 29 in (622 mm)") == len(alike)


async def test_a_moment_is_read_to_the_minute_and_borne_whole(demo: Database) -> None:
    async with asking(demo) as client:
        moment = (await client.get("/v1/revisions")).json()["revisions"][0]["recorded_at"]
        html = (await client.get("/v1/revisions", headers=HTML)).text
    assert f'<time datetime="{moment}">{moment[:10]} {moment[11:16]} UTC</time>' in html
    assert moment not in Page(html).text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("the frame takes it", "The frame takes it"),
        ("quembry-trivet is not there", "quembry-trivet is not there"),
        ("mm is no unit of torque", "mm is no unit of torque"),
        ("`travel` is twice", "`travel` is twice"),
        ("150 mm of travel", "150 mm of travel"),
        ("", ""),
    ],
)
def test_a_sentence_begins_with_a_capital_unless_an_id_or_unit_does(text: str, shown: str) -> None:
    assert sentence(text) == shown
