"""The pages as people use them: by keyboard, on a phone, in the dark, without scripts, on paper."""

import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import httpx
import pytest
from playwright.sync_api import Page

from tests.api.walking import quantities
from tests.browser.conftest import Open

FORK = "/v1/chassis/quembry-trivet-35"
DECIDED = (
    "model_year=2023&variant=quembry-trivet-35-run-two&wheel_size=622&damper=quembry-sieve"
    "&spring=quembry-trivet-spring-run-two"
)
JOB = f"{FORK}/job-card?job=lower-leg-service&travel=150&{DECIDED}&rider_mass=80"
TWO_FIGURES = (
    "/v1/chassis/pellugar-godwit-37/job-card?job=full-service&wheel_size=584&model_year=2020&from_travel=140"
    "&rider_mass=80&serial=21600-00"
)
CHECK = "/v1/frames/gorsewade-hurdle-l/fork-check?chassis=quembry-trivet-35&travel=150&wheel_size=622"
PAGES = {
    "start": "/",
    "found": "/?q=trivet",
    "fork": FORK,
    "fits": f"{FORK}/fits?travel=150&model_year=2023",
    "sheet": f"{FORK}/sheet?travel=150&model_year=2023",
    "setup": f"{FORK}/setup?travel=150&{DECIDED}&rider_mass=80&reading=38mm@72psi&reading=33mm@80psi",
    "plot": "/v1/chassis/pellugar-whimbrel-31/setup?travel=100&rider_mass=80",
    "check": CHECK,
    "job": JOB,
    "bench": f"{JOB}&view=bench",
    "card": TWO_FIGURES,
    "coil": "/v1/chassis/quembry-crock-39/setup?rider_mass=80&travel=170&wheel_size=622",
    "units": "/v1/units",
    "identify": "/v1/identify?stanchion_diameter=37&wheel_size=29&model_year=2023",
    "history": "/v1/statements/fit-raddle-37-160-622/history",
    "findings": "/v1/findings",
    "convert": "/v1/convert?value=7.3&from=N%C2%B7m&to=in%C2%B7lbf",
    "list": "/v1/torques",
    "rules": "/v1/rules",
    "standard": "/v1/standards/threads",
    "revisions": "/v1/revisions",
    "compare": "/v1/compare?from=0&to=1&limit=20",
}
AXE = Path(__file__).with_name("vendored") / "axe.min.js"


@pytest.mark.parametrize("scripts", [True, False])
def test_from_the_search_to_the_job_card_by_keyboard_only(opened: Open, scripts: bool) -> None:
    page = opened("/", java_script_enabled=scripts).page
    _tab_to(page, "input#q")
    page.keyboard.type("quembry trivt")
    _enter(page)
    _tab_to(page, f'a[href="{FORK}"]')
    _enter(page)
    _tab_to(page, "#model_year")
    page.keyboard.type("2023")
    _tab_to(page, "#travel")
    page.keyboard.type("150")
    _tab_to(page, "button.go")
    _enter(page)
    assert page.url.endswith(f"{FORK}/fits?model_year=2023&travel=150")
    assert page.locator("h1").inner_text() == "What fits: Quembry Trivet"
    for value in ("quembry-trivet-35-run-two", "622"):
        _tab_to(page, f'button[value="{value}"]')
        _enter(page)
    _tab_to(page, '.way a[href*="/sheet"]')
    _enter(page)
    assert page.locator("h1").inner_text() == "Sheet: Quembry Trivet"
    _tab_to(page, 'button[value="quembry-sieve"]')
    _enter(page)
    assert page.locator(".undecided").count() == 0
    _tab_to(page, 'a[href*="job=lower-leg-service"]')
    _enter(page)
    assert page.locator("h1").inner_text() == "Lower-leg service: Quembry Trivet"
    assert page.locator("ol.work > li").count() > 20


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("colours", ["light", "dark"])
def test_no_page_has_a_barrier_that_can_be_found_by_rule(opened: Open, name: str, colours: Any) -> None:
    """axe-core with all its rules of WCAG 2.2 A and AA and best practice; it runs under the page's own policy."""
    page = opened(PAGES[name], width=390, color_scheme=colours, bypass_csp=True).page
    page.add_script_tag(content=AXE.read_text("utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert found["passes"] or found["incomplete"] is not None
    broken = [(each["id"], each["nodes"][0]["html"][:200], len(each["nodes"])) for each in found["violations"]]
    assert broken == []


@pytest.mark.parametrize("name", PAGES)
def test_nothing_is_wider_than_a_small_phone_and_what_is_touched_is_large(opened: Open, name: str) -> None:
    page = opened(PAGES[name], width=320).page
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    small = page.evaluate(
        """[...document.querySelectorAll(`button, select, summary, input:not([type=hidden]):not([type=checkbox]), a.key,
        .way a, .units a, .within a, .found a`)].filter(each => each.checkVisibility()).map(each =>
        [each.outerHTML.slice(0, 80),
        each.getBoundingClientRect()]).filter(([, box]) => box.height < 43.9 || box.width < 43.9)"""
    )
    assert small == []


@pytest.mark.parametrize("name", PAGES)
def test_pages_load_and_stand_still_wide_and_dark(opened: Open, name: str) -> None:
    page = opened(PAGES[name], width=1600, color_scheme="dark").page
    shift = page.evaluate(
        """new Promise(done => { let sum = 0; new PerformanceObserver(list => list.getEntries().forEach(
        each => sum += each.value)).observe({type: 'layout-shift', buffered: true}); setTimeout(() => done(sum), 60)
        })"""
    )
    assert shift == 0
    background = page.evaluate("getComputedStyle(document.querySelector('main')).backgroundColor")
    assert background == "rgb(22, 29, 27)"


@pytest.mark.parametrize("width", [390, 1600])
@pytest.mark.parametrize("name", PAGES)
def test_the_loaded_part_of_a_page_does_not_move_while_the_rest_loads(
    opened: Open, dribbling: str, name: str, width: int
) -> None:
    """Over a line that delivers a few rows at a time, so that almost every part of a page is painted before the next. A
    trailing gap between two words is ignored: it is laid out again together with the next word."""
    page = opened(PAGES[name], width=width, at=dribbling).page
    moved = page.evaluate(
        """new Promise(done => { const all = []; new PerformanceObserver(list => list.getEntries().forEach(each =>
        all.push(...each.sources.map(source => source.node ? source.node.textContent.trim() : 'gone').filter(Boolean)))
        ).observe({type: 'layout-shift', buffered: true}); setTimeout(() => done(all), 60) })"""
    )
    assert moved == []


@pytest.mark.parametrize("name", ["sheet", "job"])
def test_each_part_of_a_long_page_is_one_tap_away_without_scripts(opened: Open, name: str) -> None:
    page = opened(PAGES[name], width=390, java_script_enabled=False).page
    links = page.locator(".within a").all()
    assert len(links) >= 5
    for link in links:
        link.click()
        part = page.locator(str(link.get_attribute("href")))
        assert part.count() == 1
        box = part.bounding_box()
        assert box is not None
        assert -1 < box["y"] < 900, link.inner_text()


def test_a_source_is_one_tap_away_without_scripts(opened: Open) -> None:
    page = opened(PAGES["sheet"], java_script_enabled=False).page
    assert "Quembry Shop Book" in page.locator(".sources li").first.inner_text()
    first = page.locator("table .cite").first
    assert first.inner_text().removeprefix("Source").strip().startswith("a ")
    first.click()
    assert "Quembry Shop Book" in page.locator("main").inner_text()


def test_a_refusal_keeps_what_was_typed_and_is_fixed_by_one_tap(opened: Open) -> None:
    watched = opened(f"{FORK}/fits?travel=150&model_year=2031")
    assert watched.said.pop().startswith("Failed to load resource")  # the browser's own message for a 422
    page = watched.page
    assert page.locator("#f-model_year").input_value() == "2031"
    page.get_by_role("link", name="Take 2024").click()
    assert page.locator("h1").inner_text() == "What fits: Quembry Trivet"


def without_scopes(value: Any) -> Any:
    """An answer without the scopes of its figures: a card is made for one configuration."""
    if isinstance(value, list):
        return [without_scopes(each) for each in value]
    if isinstance(value, dict):
        return {name: without_scopes(each) for name, each in value.items() if name != "scope"}
    return value


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["job", "sheet"])
def test_what_is_printed_carries_the_figures_of_the_answer(
    opened: Open, site: str, tmp_path: Path, name: str, paper: str
) -> None:
    if shutil.which("pdftotext") is None:
        if os.environ.get("CI"):
            pytest.fail("there is no pdftotext; apt-get install -y poppler-utils")
        pytest.skip("there is no pdftotext on this machine (poppler-utils)")
    path = tmp_path / "card.pdf"
    path.write_bytes(opened(PAGES[name]).page.pdf(format=paper))
    told = subprocess.run(["pdftotext", str(path), "-"], capture_output=True, check=True, text=True).stdout
    words = " ".join(told.split())
    answer = json.loads(httpx.get(site + PAGES[name]).text)
    missing = {figure for figure in quantities(without_scopes(answer)) if figure not in words}
    assert missing == set()
    assert "Find" not in words.split()  # screen-only parts


def test_steps_are_not_broken_over_pages_and_print_without_colour(opened: Open) -> None:
    page = opened(JOB).page
    page.emulate_media(media="print", color_scheme="light")
    kept = page.evaluate(
        "[...document.querySelectorAll('.step')].every(each => getComputedStyle(each).breakInside == 'avoid')"
    )
    assert kept
    colours: list[str] = page.evaluate(
        "[...new Set([...document.querySelectorAll('main, main *:not(svg *)')].flatMap(each => "
        "[getComputedStyle(each).color, getComputedStyle(each).borderBottomColor]))]"
    )
    for colour in colours:
        red, green, blue = (part.strip() for part in colour[colour.index("(") + 1 : -1].split(",")[:3])
        assert red == green == blue, colour
    assert page.locator("svg.code").is_visible()
    assert page.locator(".blank").count() > 5


def test_the_description_for_programs_works_under_our_policy(opened: Open) -> None:
    watched = opened("/docs")
    watched.page.get_by_text("Which springs fit this chassis at this travel").first.wait_for()
    assert any(url.endswith("/openapi.json") for url in watched.asked)


def _tab_to(page: Page, selector: str, most: int = 200) -> None:
    """Presses Tab until the focused element matches the selector."""
    for _ in range(most):
        if page.locator(f"{selector}:focus").count():
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{selector} cannot be reached by Tab at {page.url}")


def _enter(page: Page) -> None:
    with page.expect_navigation():
        page.keyboard.press("Enter")
