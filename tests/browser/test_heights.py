"""Heights on a phone of 390 × 844 CSS px, and lines of text forms, in one walk through one window."""

import httpx
import pytest

from tests.browser.conftest import Open
from tests.browser.test_pages_in_a_browser import DECIDED, FORK

SCREEN = 844
RADDLE = "/v1/chassis/tarnoch-raddle-37"
WHEEL = "model_year=2023&wheel_size=29"
CHANGE = f"{RADDLE}/job-card.txt?job=travel-change&from_travel=160&to_travel=150&{WHEEL}"
MOST_SCREENS = {
    f"{RADDLE}/setup?travel=160&{WHEEL}&rider_mass=92&altitude=2300&spacers=2": 4,
    f"{FORK}/setup?travel=150&{DECIDED}&rider_mass=80": 4,
    "/v1/chassis/pellugar-whimbrel-31/setup?travel=100&rider_mass=80": 4,
    "/v1/chassis/quembry-crock-39/setup?rider_mass=80&travel=170&wheel_size=622": 4,
    f"{RADDLE}/sheet?travel=160&{WHEEL}": 6,
    f"{FORK}/sheet?travel=150&{DECIDED}": 6,
    f"{RADDLE}/job-card?job=lower-leg-service&travel=160&{WHEEL}&damper=tarnoch-tappet&view=bench": 1,
    f"{FORK}/job-card?job=full-service&travel=150&{DECIDED}&view=bench": 1,
    f"{RADDLE}/job-card?job=travel-change&from_travel=160&to_travel=150&{WHEEL}&view=bench": 1,
    "/": 3,
}
MOST_LINES = {
    f"{RADDLE}/sheet.txt?travel=160&{WHEEL}": 120,
    f"{FORK}/sheet.txt?travel=150&{DECIDED}": 120,
    CHANGE: 220,
}


def test_every_kind_of_page_keeps_to_its_number_of_phone_screens(opened: Open, site: str) -> None:
    page = opened("/", width=390).page
    page.set_viewport_size({"width": 390, "height": SCREEN})
    long = {}
    for address, most in MOST_SCREENS.items():
        shown = page.goto(site + address)
        assert shown is not None
        assert shown.ok, address
        height = page.evaluate("document.documentElement.scrollHeight")
        if height > most * SCREEN:
            long[address] = height / SCREEN
    assert long == {}


def test_the_first_screen_of_a_set_up_holds_every_figure_that_is_set(opened: Open) -> None:
    page = opened(f"{RADDLE}/setup?travel=160&{WHEEL}&rider_mass=92&altitude=2300&spacers=2", width=390).page
    boxes = page.locator(".ruled-boxes > div")
    words = " ".join(boxes.all_inner_texts()).lower()
    for figure in ("fill here", "reads at", "sag, from extended", "spacers", "from closed", "never above"):
        assert figure in words
    assert words.count("from closed") == 2  # rebound and compression, each with its datum
    box = page.locator(".ruled-boxes").bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= SCREEN


def test_the_bench_view_has_every_torque_of_the_job_and_its_limits(opened: Open, site: str) -> None:
    address = f"{RADDLE}/job-card?job=lower-leg-service&travel=160&{WHEEL}&damper=tarnoch-tappet&view=bench"
    answer = httpx.get(site + address).json()
    page = opened(address, width=390).page
    page.set_viewport_size({"width": 390, "height": SCREEN})
    figures = page.locator(".arm .figure").all()
    said = [" ".join(figure.inner_text().split()) for figure in figures]
    assert {torque["torque"]["text"] for torque in answer["torques"]} <= set(said)
    limits = answer["settings"]["limits"]
    assert {limit["limit"]["text"] for limit in limits["pressure"]} <= set(said)
    assert f"{limits['spacers']['limit']} at most" in said
    for figure in figures:
        box = figure.bounding_box()
        assert box is not None
        assert box["y"] >= 0
        assert box["y"] + box["height"] <= SCREEN
        assert box["x"] + box["width"] <= 390
        assert box["height"] >= 24


@pytest.mark.parametrize("address", MOST_LINES)
def test_a_text_form_keeps_to_its_number_of_lines(site: str, address: str) -> None:
    lines = httpx.get(site + address).raise_for_status().text.splitlines()
    assert 40 < len(lines) <= MOST_LINES[address]
