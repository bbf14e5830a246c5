"""Pages and texts ask for a serial in a field to type in, and show what it decides. Godwit has a bulletin for some."""

from collections.abc import AsyncIterator

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from tests.api.asking import asking
from tests.api.reading_html import Page

pytestmark = pytest.mark.anyio

FORK = "/v1/chassis/pellugar-godwit-37"
CARD = (
    f"{FORK}/job-card?job=full-service&model_year=2023&travel=150&wheel_size=622&spring=pellugar-godwit-37-spring-150"
)
PAGE = {"Accept": "text/html"}
RANGE = "21500-00 to 21899-99"


@pytest.fixture
async def client(loaded: Catalogue) -> AsyncIterator[httpx.AsyncClient]:
    async with asking(loaded.database) as client:
        yield client


async def test_a_sheet_asks_for_the_serial_and_takes_what_is_typed(client: httpx.AsyncClient) -> None:
    html = (await client.get(f"{FORK}/sheet", headers=PAGE)).text
    assert f"serial numbers {RANGE}." in Page(html).text
    assert '<input id="decide-serial" name="serial"' in html
    assert f'value="{RANGE}"' not in html, "a range is nothing to choose"
    text = (await client.get(f"{FORK}/sheet.txt")).text
    assert f"serial= as stamped; differs for {RANGE}" in text
    decided = (await client.get(f"{FORK}/sheet?serial=21600-00", headers=PAGE)).text
    assert "decide-serial" not in decided
    assert f"applies to serial numbers {RANGE}" in Page(decided).text


async def test_a_card_asks_for_the_serial_and_shows_every_figure_for_one_it_cannot_read(
    client: httpx.AsyncClient,
) -> None:
    asked = await client.get(CARD, headers=PAGE)
    assert "What is its serial number?" in asked.text
    assert f"The work depends on it. The work differs for serial numbers {RANGE}." in Page(asked.text).text
    unread = await client.get(f"{CARD}&serial=216-00", headers=PAGE)
    assert unread.status_code == 200
    page = Page(unread.text).text
    assert "(other serial numbers) or" in page
    assert f"(serial numbers {RANGE})" in page
    assert "Read the stamp letter by letter." in page
    text = " ".join((await client.get(f"{CARD.replace('job-card', 'job-card.txt')}&serial=216-00")).text.split())
    assert f"(serial numbers {RANGE})" in text
    assert "Read the stamp letter by letter." in text
    card = await client.get(f"{CARD}&serial=21600-00", headers=PAGE)
    assert card.status_code == 200
    assert "21600-00" in Page(card.text).text, "it is printed on the card"


async def test_a_serial_that_identified_a_fork_goes_on_to_its_sheet(client: httpx.AsyncClient) -> None:
    page = Page((await client.get("/v1/identify?serial=21600-00&maker=pellugar", headers=PAGE)).text)
    assert f"{FORK}/sheet?serial=21600-00" in page.links
