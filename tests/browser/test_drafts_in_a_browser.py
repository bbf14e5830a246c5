"""A manual's table on a phone, by keyboard: pasted, understood, answered, read by another key and loaded, on pages
without barriers. No id is typed."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from app.access import keys
from app.database.connections import Database
from app.settings import Settings
from tests.browser.conftest import Open, Watched, served
from tests.browser.test_bench_in_a_browser import looked_at
from tests.browser.test_pages_in_a_browser import _enter, _tab_to
from tests.conftest import Fresh

WIDTH = 390
TABLE = "Bolt\tTorque (in-lb)\nown: mast screw\t7O\nAxle\t118\nown: spar screw\tN/A"


@pytest.fixture(scope="module")
def own_site(fresh_database: Fresh, shop: Database) -> Iterator[str]:
    """A service on a demo of its own; these tests change it."""
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        with served(database, shop, Settings(port=0, write_rate="1000/minute")) as address:
            yield address
        database.close()


def signed_in(opened: Open, site: str, shop: Database, label: str, scope: str, path: str) -> Watched:
    """A browser that signs in with a new key on the way to a page."""
    key = str(keys.add(shop, label, [scope], of="left").token)
    watched = opened(f"/sign-in?next={path}", at=site, width=WIDTH, bypass_csp=True)
    _tab_to(watched.page, "input#key")
    watched.page.keyboard.type(key)
    _enter(watched.page)
    return watched


def test_a_table_is_entered_on_a_phone_by_keyboard(opened: Open, own_site: str, shop: Database, tmp_path: Path) -> None:
    person = signed_in(opened, own_site, shop, "office", "edit", "/enter/drafts/new")
    page = person.page
    looked_at(page, WIDTH)
    page.locator("#f-chassis").select_option("quembry-trivet-35")
    page.locator("#f-source").select_option("quembry-shop-book-3")
    _tab_to(page, "#f-page")
    page.keyboard.type("14")
    _tab_to(page, "button.go")
    _enter(page)
    looked_at(page, WIDTH)
    _tab_to(page, "#f-pasted")
    page.keyboard.insert_text(TABLE)
    _tab_to(page, "button.go")
    _enter(page)
    looked_at(page, WIDTH)
    _tab_to(page, "button.go", 200)
    _enter(page)
    looked_at(page, WIDTH)
    assert "What does “7O” mean?" in page.locator("main").inner_text()
    _tab_to(page, 'button[value$="=70"]', 200)
    _enter(page)
    _tab_to(page, 'button[value$="=bolt"]', 200)
    _enter(page)
    looked_at(page, WIDTH)
    assert "0 to answer" in page.locator("main").inner_text()
    here = page.url.partition("?")[0]
    file = tmp_path / "more.csv"
    file.write_text("Bolt;Torque (in-lb)\nTop cap;205\n", "utf-8")
    page.goto(f"{here}/paste")
    page.locator("#f-file").set_input_files(file)
    page.get_by_role("button", name="Send the file").click()
    looked_at(page, WIDTH)
    assert page.locator("legend").first.inner_text() == "more"

    reader = signed_in(opened, own_site, shop, "bench 2", "review", f"{here.removeprefix(own_site)}/reader").page
    looked_at(reader, WIDTH)
    while "Every row is read" not in reader.locator("main").inner_text():
        _tab_to(reader, 'button[value="so"]', 200)
        _enter(reader)
    page.goto(f"{here}/load")
    looked_at(page, WIDTH)
    page.get_by_role("button", name="Load", exact=True).click()
    assert page.url.endswith("/v1/revisions/2")
    looked_at(page, WIDTH)
    page.get_by_role("link", name="All changes").click()
    looked_at(page, WIDTH)
    page.goto(f"{own_site}/v1/drafts")
    looked_at(page, WIDTH)
