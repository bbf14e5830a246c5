"""The set-up page, its text and the card: the answer first, with its limits, and readings that are easy to enter."""

import re

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Limit
from app.database.connections import Database
from tests.api.asking import asking
from tests.questions.setup_rows import common, fit, guide, rider_limit, spring
from tests.questions.storing import store

pytestmark = pytest.mark.anyio

PAGE = {"Accept": "text/html"}
SHOWN = (
    "Fill here, at 0 m",
    "Reads at 2300 m",
    "Sag, from extended",
    "Never above",
)


def words(page: str) -> str:
    """The text of a page without its tags."""
    return " ".join(re.sub(r"<[^>]*>", " ", page).split())


async def test_the_answer_comes_before_its_curve_and_how_it_was_worked_out_is_folded(database: Database) -> None:
    store(database, [*common(), spring(), fit(), guide()])
    async with asking(database) as client:
        page = (await client.get("/v1/chassis/fork/setup?rider_mass=75&altitude=2300", headers=PAGE)).text
    body = page[page.index("<main") :]
    places = [body.index(text) for text in SHOWN]
    assert places == sorted(places)
    assert body.index("Never above") < body.index('class="plot"') < body.index("How this was worked out")
    assert "Where is it filled?" in body
    assert re.search(r'<details class="fold" id="how"><summary>How this was worked out', body)
    assert "2300 m" in words(body[: body.index("Fill here")])
    assert "75 kg" in words(body[: body.index("Fill here")])


async def test_one_or_two_readings_are_given_in_three_fields_each_with_two_lines(database: Database) -> None:
    store(database, [*common(), spring(), fit()])
    async with asking(database) as client:
        page = (await client.get("/v1/chassis/fork/setup?rider_mass=75", headers=PAGE)).text
        form = page[page.index('id="measure"') :]
        form = form[: form.index("</form>")]
        assert re.findall(r'<input id="[^"]*" name="([^"]*)"', form) == ["reading", "reading", "sag"]
        helps = re.findall(r"<small[^>]*>(.*?)</small>", form, re.S)
        assert [each.count("<br>") for each in helps] == [1, 1, 1]
        examples = re.findall(r'placeholder="([0-9]+mm@[^"]+)"', form)
        assert len(examples) == 2
        both = "&".join(f"reading={each}" for each in examples)
        measured = (await client.get(f"/v1/chassis/fork/setup?rider_mass=75&{both}")).json()
        assert measured["basis"] == "measured from two sags"
        one = f"/v1/chassis/fork/setup?rider_mass=75&reading={examples[0]}&reading=&sag="
        filled = await client.get(one, headers=PAGE, follow_redirects=True)
        assert filled.status_code == 200
        assert "measured from one sag" in filled.text


async def test_a_rider_above_the_limit_sees_the_limit_first_everywhere(database: Database) -> None:
    store(database, [*common(), spring(), fit(), guide(60, 140), rider_limit("120")])
    async with asking(database) as client:
        page = (await client.get("/v1/chassis/fork/setup?rider_mass=130", headers=PAGE)).text
        text = (await client.get("/v1/chassis/fork/setup.txt?rider_mass=130")).text
    assert "at most 120 kg" in words(page)
    assert "psi" not in words(page[page.index("Rider above the limit") : page.index("Published set-up")])
    lines = text.splitlines()
    assert "at most 120 kg" in " ".join(lines[2:6])
    assert "START PRESSURE" not in text


async def test_a_card_for_a_rider_above_the_limit_says_so_in_its_first_line(loaded: Catalogue) -> None:
    async with asking(loaded.database) as client:
        asked = "/v1/chassis/tarnoch-raddle-37/job-card.txt?job=lower-leg-service&travel=160&wheel_size=622&rider_mass="
        over, within = [(await client.get(asked + mass)).text for mass in ("140", "80")]
        altitude = (await client.get(f"{asked}80&altitude=2300")).text
    assert "This fork carries a rider of at most 130 kg" in " ".join(over.partition("=\n")[2].splitlines()[:2])
    assert "Start pressure" not in over
    assert "carries a rider of at most" not in within
    assert "Fill to" in altitude
    assert "need not refill for a climb" in " ".join(altitude.split())


async def test_a_page_names_the_scope_of_every_limit(database: Database) -> None:
    narrow: Limit = rider_limit().replaced(variant=("light",))
    store(database, [*common(), spring(), fit(wheel_size=(622,)), narrow])
    async with asking(database) as client:
        page = words((await client.get("/v1/chassis/fork/setup?rider_mass=75&wheel_size=622", headers=PAGE)).text)
        text = " ".join((await client.get("/v1/chassis/fork/setup.txt?rider_mass=75&wheel_size=622")).text.split())
    for shown in (page, text):
        assert re.search(r"rider with gear ?: OK.{0,60}applies to variant light", shown)
        assert re.search(r"maximum pressure \(fit\) ?: OK.{0,60}applies to wheel size", shown)
