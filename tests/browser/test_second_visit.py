"""The second visit: a returning browser follows links, reloads, goes back, opens a tab and comes back next day.

The browser revalidates a stored page with its entity tag and puts the headers of the 304 on it (RFC 9111, 3.2). If
those headers named another policy, the page would lose its style, its icon and its forms."""

import io
import json
import os
import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from app.access import keys
from app.database.connections import Database
from app.settings import Settings
from tests.browser.conftest import ARGUMENTS, BROWSERS, served
from tests.browser.test_pages_in_a_browser import PAGES
from tests.conftest import ENGINES, Fresh

FURTHER = {
    "problem types": "/problems", "problem type": "/problems/gone", "not found": "/v1/chassis/nothing/fits",
    "refused": "/v1/units?unit=x", "undecided": "/v1/chassis/quembry-trivet-35/job-card?job=travel-change&travel=150",
    "sign in": "/sign-in", "bench log": "/v1/forks", "pinned": "/v1/makers?revision=1", "search": "/v1/search?q=trivet",
    "as html": "/v1/units.html",
}  # fmt: skip
KINDS = {**PAGES, **FURTHER}
STORED = PAGES | {name: FURTHER[name] for name in ("problem types", "problem type", "search", "as html")}
"""Pages that a browser stores: at the second visit it sends their tags."""
LOOKS = """() => {
    const of = (name) => { const found = document.querySelector(name); if (!found) return null;
        const style = getComputedStyle(found);
        return [style.fontFamily, style.fontSize, style.color, style.backgroundColor, style.display, style.padding] };
    return {rules: [...document.styleSheets].reduce((sum, sheet) => sum + sheet.cssRules.length, 0),
            looks: ["body", "h1", "nav", "table", "button", "input"].map(of)} }"""
ICON = """() => new Promise((done) => { const image = new Image();
    image.onload = () => done(true); image.onerror = () => done(false);
    image.src = document.querySelector('link[rel="icon"]').href })"""


@dataclass
class Visits:
    """A service with its log, and the console messages of a browser."""

    address: str
    log: io.StringIO
    said: list[str] = field(default_factory=list)

    def tab(self, context: BrowserContext) -> Page:
        """A new tab whose console is recorded."""
        page = context.new_page()
        page.on("console", lambda message: self.said.append(message.text))
        page.on("pageerror", lambda error: self.said.append(str(error)))
        return page

    def statuses(self, path: str) -> list[int]:
        """The status codes that the service has sent for that path so far."""
        lines = [json.loads(line) for line in self.log.getvalue().splitlines()]
        return [line["status"] for line in lines if line.get("path") == path]

    def refused_by_policy(self) -> list[str]:
        """Everything that a policy stopped from being loaded, applied or sent."""
        return [each for each in self.said if "Content Security Policy" in each]


VISITED = ENGINES if os.environ.get("LEGWORK_TEST_ENGINES") == "all" else ENGINES[:1]
"""What a browser stores does not depend on the engine; LEGWORK_TEST_ENGINES=all asks both all the same."""


@pytest.fixture(scope="module", params=VISITED)
def visits(request: pytest.FixtureRequest, fresh_database: Fresh, shop: Database) -> Iterator[Visits]:
    """A service on the demo. A page may be reused for a second without revalidation, so that both cases
    occur: the stored page alone, and the revalidated page."""
    log = io.StringIO()
    with fresh_database(request.param, True) as url:
        database = Database(url)
        with served(database, shop, Settings(port=0, write_rate="1000/minute", max_age=1), log) as address:
            yield Visits(address, log)
        database.close()


def opened(browser: Browser, profile: Path) -> BrowserContext:
    """One person's browser: its stored data survive a restart."""
    found = next(path for name in BROWSERS if (path := shutil.which(name)))
    context: BrowserContext = browser.browser_type.launch_persistent_context(
        str(profile), executable_path=found, args=list(ARGUMENTS), headless=True
    )
    return context


def looks(page: Page) -> dict[str, Any]:
    """How a page looks, after checking that it has its style and that its icon may be loaded."""
    found: dict[str, Any] = page.evaluate(LOOKS)
    assert found["rules"] > 20, page.url
    assert page.evaluate(ICON), page.url
    return found


def test_every_page_keeps_its_style_and_icon(browser: Browser, visits: Visits, tmp_path: Path) -> None:
    visits.said.clear()
    context = opened(browser, tmp_path / "profile")
    page, first = visits.tab(context), {}
    for name, path in KINDS.items():
        page.goto(visits.address + path)
        first[name] = looks(page)
    time.sleep(1.1)
    second_tab = visits.tab(context)
    for name, path in KINDS.items():
        second_tab.goto(visits.address + path)
        assert looks(second_tab) == first[name], name
        second_tab.reload()
        assert looks(second_tab) == first[name], name
        second_tab.locator('footer nav a[href="/own-data"]').first.click()
        second_tab.wait_for_url("**/own-data")
        looks(second_tab)
        second_tab.go_back()
        assert looks(second_tab) == first[name], name
    context.close()
    before = len(visits.log.getvalue().splitlines())
    context = opened(browser, tmp_path / "profile")  # the next day: stored pages have to be revalidated
    page = visits.tab(context)
    for name, path in KINDS.items():
        page.goto(visits.address + path)
        assert looks(page) == first[name], name
    context.close()
    lines = [json.loads(line) for line in visits.log.getvalue().splitlines()[before:]]
    unchanged = {line["path"] for line in lines if line.get("status") == 304}
    wanted = {path.partition("?")[0] for path in STORED.values()}
    assert wanted <= unchanged, wanted - unchanged
    assert "/static/card.css" in unchanged
    assert visits.refused_by_policy() == []


def test_every_form_of_a_stored_page_can_be_sent(browser: Browser, visits: Visits, tmp_path: Path) -> None:
    visits.said.clear()
    context = opened(browser, tmp_path / "profile")
    page, sent = visits.tab(context), 0
    for name, path in KINDS.items():
        page.goto(visits.address + path)
        page.goto("about:blank")
        forms = None
        number = 0
        while forms is None or number < forms:
            time.sleep(0.05)
            page.goto(visits.address + path)
            page.reload()  # revalidated, so the headers of the 304 apply
            forms = page.locator("form").count()
            if forms == 0:
                break
            with page.expect_navigation(timeout=10_000) as navigation:
                page.evaluate(SUBMIT, number)
            assert navigation.value is not None, (name, number)
            looks(page)
            assert visits.refused_by_policy() == [], (name, number)
            number, sent = number + 1, sent + 1
    context.close()
    assert sent > 40


SUBMIT = """(number) => { const form = document.forms[number];
    for (const each of form.elements) each.required = false;
    const button = form.querySelector("button, input[type=submit]");
    form.requestSubmit(button && button.type === "submit" ? button : undefined) }"""


def test_the_bench_log_can_be_used_by_a_browser_that_was_here_before(
    browser: Browser, visits: Visits, shop: Database, tmp_path: Path
) -> None:
    """Sign in, register a fork, record a job, sign out: with pages that were opened before."""
    visits.said.clear()
    token = str(keys.add(shop, f"bench {tmp_path.name}", ["bench"]).token)
    context = opened(browser, tmp_path / "profile")
    page = visits.tab(context)
    for _ in range(2):
        page.goto(f"{visits.address}/sign-in")
        page.reload()
        page.get_by_label("Key").fill(token)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/v1/forks")
        looks(page)
        page.goto(f"{visits.address}/v1/chassis/quembry-trivet-35")
        looks(page)
        page.go_back()
        page.reload()
        looks(page)
        page.get_by_role("button", name="Sign out").click()
        page.wait_for_url(f"{visits.address}/")
        looks(page)
    context.close()
    assert visits.refused_by_policy() == []
