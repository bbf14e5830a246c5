"""Entry as a mechanic does it on a phone: from a gap to the stored figure by keyboard, on pages without barriers."""

import datetime as dt
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page

from app.access import keys
from app.catalogue.tables import Torque
from app.database.connections import Database
from app.exchange.editing import write_edits
from app.exchange.loading import Entry
from app.exchange.read_edits import Edit
from app.settings import Settings
from tests.browser.conftest import Open, served
from tests.browser.test_bench_in_a_browser import looked_at, refusals
from tests.browser.test_pages_in_a_browser import _enter, _tab_to
from tests.conftest import Fresh

TORQUE = "torque-whimbrel-31-axle"
SHEET = "/v1/chassis/pellugar-whimbrel-31/sheet?travel=100&cite=pellugar-whimbrel-workbook%2C14"
WIDTH = 390


@pytest.fixture(scope="module")
def own_site(fresh_database: Fresh, shop: Database) -> Iterator[str]:
    """A service on a demo of its own that lacks a torque; these tests change it."""
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        gap = [Edit(Torque, TORQUE, None)]
        write_edits(database, gap, Entry("to make a gap", "tests"), dt.date(2026, 11, 1))
        with served(database, shop, Settings(port=0, write_rate="1000/minute")) as address:
            yield address
        database.close()


def typed(page: Page, field: str, text: str) -> None:
    """Tab to a field and type."""
    _tab_to(page, field)
    page.keyboard.press("Control+a")
    page.keyboard.type(text)


def test_by_keyboard_on_a_phone_from_the_gap_to_the_figure_and_back(
    opened: Open, own_site: str, shop: Database
) -> None:
    key = str(keys.add(shop, "editor 1", ["edit"]).token)
    watched = opened(SHEET, at=own_site, width=WIDTH, bypass_csp=True)
    page = watched.page
    assert "Axle" not in page.locator("#torques").inner_text()
    _tab_to(page, 'a.enter[href*="axle"]', 400)
    _enter(page)
    typed(page, "input#key", key)
    _enter(page)
    looked_at(page, WIDTH)
    assert page.locator("#f-page").input_value() == "14"
    typed(page, "#f-value", "90 N·m")
    _enter(page)
    refusals(watched, 422)
    looked_at(page, WIDTH)
    assert "takes 3 to 25 N·m" in page.locator("#w-value").inner_text()
    assert page.locator("#f-as_printed").is_visible()
    typed(page, "#f-value", "11 N·m")
    _tab_to(page, "button.go")
    _enter(page)
    assert page.url == f"{own_site}{SHEET}#at-torque-pellugar-whimbrel-31-axle"
    assert "11 N·m" in page.locator("#torques").inner_text()
    looked_at(page, WIDTH)
    _tab_to(page, f'button[value="{TORQUE.replace("axle", "top-cap")}"]', 400)
    _enter(page)
    assert page.locator("h1").inner_text() == "Correct: torque"
    looked_at(page, WIDTH)


@pytest.mark.parametrize("colours", ["light", "dark"])
def test_the_screen_of_a_new_fork_and_the_longest_forms_have_no_barrier(
    opened: Open, own_site: str, shop: Database, colours: str
) -> None:
    watched = opened("/sign-in?next=/enter/fork", at=own_site, width=WIDTH, bypass_csp=True, color_scheme=colours)
    page = watched.page
    page.get_by_label("Key").fill(str(keys.add(shop, "editor 2", ["edit"]).token))
    page.get_by_role("button", name="Sign in").click()
    assert page.locator("h1").inner_text() == "Add a fork"
    looked_at(page, WIDTH)
    for path in ("/enter", "/enter/guides?chassis=pellugar-whimbrel-31", "/enter/variants/pellugar-godwit-37-day"):
        page.goto(own_site + path)
        for fold in page.locator("details").all():
            fold.evaluate("each => each.open = true")
        looked_at(page, WIDTH)
