"""Web pages of another origin, in a browser (wire case 62): blocked unless listed; if listed, without cookies."""

import http.server
import json
import threading
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from app.access import keys
from app.database.connections import Database
from app.settings import Settings
from tests.bench.working import FORK
from tests.browser.conftest import served

FETCH = """
async ([url, options]) => {
    try {
        const response = await fetch(url, options);
        return {status: response.status, body: await response.text(), headers: Object.fromEntries(response.headers)};
    } catch (error) {
        return {blocked: String(error)};
    }
}
"""


@pytest.fixture(scope="module")
def elsewhere() -> Iterator[str]:
    """The origin of an empty page that is not ours: another port of this machine."""

    class Empty(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("content-type", "text/html")
            self.end_headers()
            self.wfile.write(b"<!doctype html><title>Elsewhere</title>")

        def log_message(self, format: str, *values: Any) -> None:
            """Logs nothing, to keep pytest's output clean."""

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Empty) as line:
        threading.Thread(target=line.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{line.server_port}"
        line.shutdown()


@pytest.fixture
def page(browser: Browser, elsewhere: str) -> Iterator[Page]:
    """Opens that page."""
    context = browser.new_context()
    opened = context.new_page()
    opened.goto(elsewhere)
    yield opened
    context.close()


def fetch(page: Page, url: str, **options: Any) -> dict[str, Any]:
    found: dict[str, Any] = page.evaluate(FETCH, [url, options])
    return found


def asked(page: Page, service: str, token: str) -> dict[str, dict[str, Any]]:
    """A lookup, a batch, and a write with a key, as a page sends them."""
    batch = {"questions": ["/v1/chassis/quembry-trivet-35/fits?travel=150"]}
    typed = {"Content-Type": "application/json"}
    fork = {**FORK, "serial": f"SN-{token[-6:]}"}
    with_key = {**typed, "Authorization": f"Bearer {token}", "Idempotency-Key": f"from-a-page-{token[-6:]}"}
    return {
        "lookup": fetch(page, f"{service}/v1/chassis/quembry-trivet-35/fits?travel=150"),
        "batch": fetch(page, f"{service}/v1/batch", method="POST", headers=typed, body=json.dumps(batch)),
        "write": fetch(page, f"{service}/v1/forks", method="POST", headers=with_key, body=json.dumps(fork)),
    }


def test_a_page_from_elsewhere_is_blocked_unless_its_origin_is_listed(
    page: Page, site: str, shop: Database, on_demo: Database
) -> None:
    token = str(keys.add(shop, "a page", ["bench"]).token)
    assert all("blocked" in each for each in asked(page, site, token).values())
    with served(on_demo, shop, Settings(port=0, cors_origins=["http://127.0.0.1:9"])) as service:
        assert all("blocked" in each for each in asked(page, service, token).values())


def test_a_page_whose_origin_is_listed_reads_batches_and_writes_with_a_key(
    page: Page, elsewhere: str, shop: Database, on_demo: Database
) -> None:
    token = str(keys.add(shop, "a page", ["bench"]).token)
    with served(on_demo, shop, Settings(port=0, cors_origins=[elsewhere], read_rate="999/second")) as service:
        found = asked(page, service, token)
        assert {name: each.get("status") for name, each in found.items()} == {"lookup": 200, "batch": 200, "write": 201}
        assert {"etag", "ratelimit", "ratelimit-policy", "x-request-id"} <= found["lookup"]["headers"].keys()
        assert "location" in found["write"]["headers"]
        # The second time from the cache, unchanged; a refusal can be read too.
        lookup = f"{service}/v1/chassis/quembry-trivet-35/fits?travel=150"
        assert fetch(page, lookup)["body"] == found["lookup"]["body"]
        tag = found["lookup"]["headers"]["etag"]
        assert fetch(page, lookup, headers={"If-None-Match": tag}, cache="no-store")["status"] == 304
        refused = fetch(page, f"{service}/v1/forks", headers={"Authorization": "Bearer legwork-0-none"})
        assert refused["status"] == 401


def test_no_page_acts_as_a_signed_in_browser(
    browser: Browser, elsewhere: str, shop: Database, on_demo: Database
) -> None:
    """Another port of this machine is the same site, so the cookie would be sent, but the browser withholds the
    answer."""
    token = str(keys.add(shop, "a page", ["bench"]).token)
    with served(on_demo, shop, Settings(port=0, cors_origins=[elsewhere])) as service:
        context = browser.new_context()
        page = context.new_page()
        page.goto(f"{service}/sign-in?next=/v1/forks")
        page.get_by_label("Key").fill(token)
        page.get_by_role("button", name="Sign in").click()
        assert fetch(page, f"{service}/v1/forks")["status"] == 200
        page.goto(elsewhere)
        assert fetch(page, f"{service}/v1/forks")["status"] == 401
        assert "blocked" in fetch(page, f"{service}/v1/forks", credentials="include")
        context.close()


def test_with_any_origin_allowed_every_page_reads(page: Page, shop: Database, on_demo: Database) -> None:
    token = str(keys.add(shop, "a page", ["bench"]).token)
    with served(on_demo, shop, Settings(port=0, cors_origins=["*"])) as service:
        assert [each["status"] for each in asked(page, service, token).values()] == [200, 200, 201]


def test_a_page_reads_with_its_key_where_lookups_are_closed(
    page: Page, elsewhere: str, shop: Database, on_demo: Database
) -> None:
    """The preflight has no key, and is answered before keys are checked."""
    token = str(keys.add(shop, "a page", ["read"]).token)
    with served(on_demo, shop, Settings(port=0, cors_origins=[elsewhere], open_reads=False)) as service:
        lookup = f"{service}/v1/chassis/quembry-trivet-35/fits?travel=150"
        assert fetch(page, lookup)["status"] == 401
        assert fetch(page, lookup, headers={"Authorization": f"Bearer {token}"})["status"] == 200
