"""The bench log as a mechanic sees it in a browser: sign in by keyboard, record a job, sign out, get refused."""

from typing import Any, NamedTuple

import pytest
from playwright.sync_api import Page

from app.access import keys
from app.bench import forks
from app.bench.forks import Registering
from app.database.connections import Database
from tests.bench.working import CHASSIS
from tests.browser.conftest import Open, Watched
from tests.browser.test_pages_in_a_browser import AXE, _enter, _tab_to

LARGEST = 60_000  # bytes of a page


class Bench(NamedTuple):
    """A shop with a fork: its key, and the address of the fork."""

    key: str
    fork: str
    serial: str


@pytest.fixture
def bench(shop: Database) -> Bench:
    """A separate shop for each test."""
    made = keys.add(shop, "bench 1", ["bench"])
    serial = f"SN-{made.id}"
    held: Any = {"spring": "lommeris-haar-42-spring-180", "travel_mm": 180.0, "spacers": 2, "model_year": 2023}
    fork, _ = forks.register(shop, made.shop, Registering(serial, CHASSIS, held, "2025-04-01"))
    return Bench(str(made.token), f"/v1/forks/{fork.id}", serial)


def signed_in(opened: Open, bench: Bench, path: str, **more: Any) -> Watched:
    """A window at that page, signed in on the way."""
    watched = opened(f"/sign-in?next={path}", **more)
    watched.page.get_by_label("Key").fill(bench.key)
    watched.page.get_by_role("button", name="Sign in").click()
    return watched


def refusals(watched: Watched, status: int) -> None:
    """Takes out the browser's own message for a refused page, which comes a moment after the page."""
    words = f"Failed to load resource: the server responded with a status of {status}"
    for _ in range(60):
        if any(each.startswith(words) for each in watched.said):
            break
        watched.page.wait_for_timeout(50)
    else:
        raise AssertionError(f"no page was refused with {status}: {watched.said}")
    watched.said[:] = [each for each in watched.said if not each.startswith(words)]


def test_by_keyboard_from_the_refused_page_to_a_recorded_job_and_out_again(opened: Open, bench: Bench) -> None:
    watched = opened(bench.fork, java_script_enabled=False)
    page = watched.page
    refusals(watched, 401)
    _tab_to(page, 'a[href^="/sign-in"]')
    _enter(page)
    _tab_to(page, "input#key")
    page.keyboard.type(bench.key)
    _enter(page)
    assert page.url.endswith(bench.fork)
    assert page.locator("h1").inner_text() == f"Fork {bench.serial}"
    assert page.locator("header").get_by_text("bench 1").is_visible()
    _tab_to(page, f'a[href="{bench.fork}/record"]')
    _enter(page)
    _tab_to(page, "#f-job")
    page.keyboard.type("Lower")
    _tab_to(page, "#f-pressure")
    page.keyboard.type("70 kg")
    _tab_to(page, "#f-note")
    page.keyboard.type("bush worn")
    _tab_to(page, "button.go")
    _enter(page)
    refusals(watched, 422)
    assert "is a unit of mass" in page.locator("#w-pressure").inner_text()
    assert page.locator("#f-job").input_value() == "lower-leg-service"
    assert page.locator("#f-note").input_value() == "bush worn"
    _tab_to(page, "#f-pressure")
    page.keyboard.press("Control+a")
    page.keyboard.type("70 psi")
    _enter(page)
    assert page.url.endswith(bench.fork)
    _tab_to(page, f'a[href="{bench.fork}/services"]')
    _enter(page)
    assert "Lower leg service" in page.locator("main").inner_text()
    assert "bush worn" in page.locator("main").inner_text()
    _tab_to(page, ".who button")
    _enter(page)
    assert page.url.endswith("/")
    assert page.locator(".who").count() == 0
    page.goto(page.url.rstrip("/") + bench.fork)
    refusals(watched, 401)
    assert bench.serial not in page.content()


@pytest.mark.parametrize(("width", "colours"), [(320, "light"), (1200, "dark")])
def test_its_pages_have_no_barrier_fit_a_phone_and_are_small(
    opened: Open, bench: Bench, width: int, colours: Any
) -> None:
    watched = opened("/sign-in", width=width, color_scheme=colours, bypass_csp=True)
    page, site = watched.page, watched.page.url.removesuffix("/sign-in")
    looked_at(page, width)
    page.get_by_label("Key").fill("legwork-wrong")
    page.get_by_role("button", name="Sign in").click()
    refusals(watched, 401)
    looked_at(page, width)
    page.get_by_label("Key").fill(bench.key)
    page.get_by_role("button", name="Sign in").click()
    register = f"/v1/forks/register?chassis={CHASSIS}"
    for path in ("/v1/forks", bench.fork, f"{bench.fork}/record", register, f"{bench.fork}/due", "/sign-in"):
        page.goto(site + path)
        looked_at(page, width)
    page.goto(f"{site}{bench.fork}/record")
    page.get_by_label("Sag").fill("lots")
    page.get_by_label("Job").select_option("full-service")
    page.get_by_role("button", name="Record the job").click()
    refusals(watched, 422)
    looked_at(page, width)


def test_what_was_typed_when_the_session_is_over_is_sent_after_signing_in_in_another_tab(
    opened: Open, bench: Bench
) -> None:
    watched = signed_in(opened, bench, f"{bench.fork}/record", width=320, bypass_csp=True)
    page = watched.page
    page.get_by_label("Job").select_option("full-service")
    page.get_by_label("Note").fill("bush worn\nlook again")
    page.context.clear_cookies()
    page.get_by_role("button", name="Record the job").click()
    refusals(watched, 401)
    looked_at(page, 320)
    with page.expect_popup() as opening:
        page.get_by_role("link", name="Sign in").click()
    opening.value.get_by_label("Key").fill(bench.key)
    opening.value.get_by_role("button", name="Sign in").click()
    opening.value.get_by_role("heading", name="Bench log").wait_for()
    page.get_by_role("button", name="send it again").click()
    assert page.url.endswith(bench.fork)
    page.goto(page.url + "/services")
    assert "bush worn look again" in " ".join(page.locator("main").inner_text().split())


def looked_at(page: Page, width: int) -> None:
    """axe-core finds nothing; the page is small and no wider than its window, and touch targets are large."""
    page.wait_for_load_state()  # a refused form is looked at once its style is there
    assert len(page.content().encode()) <= LARGEST
    assert page.evaluate("document.documentElement.scrollWidth") <= width, page.url
    small = page.evaluate(
        """[...document.querySelectorAll(`button, select, textarea, summary, input:not([type=hidden]), a.key, .who a`)]
        .filter(each => each.checkVisibility()).map(each => [each.outerHTML.slice(0, 80), each.getBoundingClientRect()])
        .filter(([, box]) => box.height < 43.9 || box.width < 43.9)"""
    )
    assert small == [], page.url
    page.add_script_tag(content=AXE.read_text("utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    broken = [(each["id"], each["nodes"][0]["html"][:200], len(each["nodes"])) for each in found["violations"]]
    assert broken == [], page.url


def test_two_browsers_of_two_shops_see_each_their_own(opened: Open, bench: Bench, shop: Database) -> None:
    other = Bench(str(keys.add(shop, "bench 2", ["bench"]).token), "", "")
    here, there = signed_in(opened, bench, "/v1/forks"), signed_in(opened, other, "/v1/forks")
    for _ in range(2):
        assert bench.serial in here.page.content()
        assert bench.serial not in there.page.content()
        for watched in (here, there):
            watched.page.reload()
    keys.revoke(shop, bench.key.split("-")[1])
    here.page.reload()
    refusals(here, 401)
    assert bench.serial not in here.page.content()
    assert there.page.locator("h1").inner_text() == "Bench log"


def test_a_page_of_another_site_can_make_the_browser_write_nothing(opened: Open, bench: Bench, shop: Database) -> None:
    """The page is at `localhost`, to a browser another site than 127.0.0.1, where the mechanic is signed in."""
    watched = signed_in(opened, bench, bench.fork)
    page = watched.page
    home = page.url.removesuffix(bench.fork)
    elsewhere = home.replace("127.0.0.1", "localhost")
    forms = {
        f"{bench.fork}/record": {"job": "full-service", "sent": "a" * 20},
        "/sign-out": {},
        "/sign-in": {"key": bench.key},
    }
    for path, fields in forms.items():
        page.route(f"{elsewhere}/static/evil", lambda route: route.fulfill(body="<p>evil", content_type="text/html"))
        page.goto(f"{elsewhere}/static/evil")
        with page.expect_navigation():
            page.evaluate(
                """([action, fields]) => { const form = document.createElement('form'); form.method = 'post';
                form.action = action; for (const [name, value] of Object.entries(fields)) {
                const input = document.createElement('input'); input.name = name; input.value = value;
                form.append(input) } document.body.append(form); form.submit() }""",
                [home + path, fields],
            )
        refusals(watched, 403)
        assert "Form sent from another site" in page.locator("h1").inner_text()
    page.goto(home + bench.fork + "/services")
    assert "No jobs recorded" in page.locator("main").inner_text()
    watched.asked[:] = [url for url in watched.asked if not url.startswith(elsewhere)]
