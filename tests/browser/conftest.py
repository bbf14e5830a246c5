"""A service on the demo behind a real socket, a slow line to it, and Debian's Chromium. If there is no browser, the
tests are skipped with the reason; if CI is set, they fail."""

import http.server
import io
import os
import re
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import httpx
import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.database.migrating import migrate
from app.main import create_app
from app.settings import Settings
from app.web.server.server import config_of
from tests.conftest import Fresh

BROWSERS = ("chromium-headless-shell", "chromium", "/usr/bin/chromium")
"""The first that is there. The shell draws the same pages with half the processor time."""
ARGUMENTS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip

Open = Callable[..., "Watched"]


class Watched:
    """A page, its console messages and its requests."""

    def __init__(self, context: BrowserContext) -> None:
        self.page: Page = context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))


@pytest.fixture(scope="session")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """The shop database of that service, without a key."""
    database = Database(f"sqlite:///{tmp_path_factory.mktemp('shop') / 'shop.db'}")
    migrate(database, "shop")
    yield database
    database.close()


@contextmanager
def served(database: Database, shop: Database, settings: Settings, log: io.StringIO | None = None) -> Iterator[str]:
    """The address of a service in a thread."""
    app = create_app(settings, Catalogue(database), shop, log_to=log or io.StringIO())
    server = uvicorn.Server(config_of(app, settings))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    deadline = time.monotonic() + 30
    while not server.started:
        assert time.monotonic() < deadline, "the server did not start"
        time.sleep(0.02)
    yield f"http://127.0.0.1:{server.servers[0].sockets[0].getsockname()[1]}"
    server.should_exit = True
    thread.join(15)


@pytest.fixture(scope="session")
def on_demo(fresh_database: Fresh) -> Iterator[Database]:
    """The demo, which no test here changes."""
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        yield database
        database.close()


@pytest.fixture(scope="session")
def site(on_demo: Database, shop: Database) -> Iterator[str]:
    """The address of a service on the demo."""
    with served(on_demo, shop, Settings(port=0, write_rate="1000/minute")) as address:
        yield address


@pytest.fixture(scope="module")
def dribbling(site: str) -> Iterator[str]:
    """The address of a slow line to that service: fifty times a second it passes on 700 bytes of a page, up to the end
    of a row, a list entry or a section, so that each painted part is complete."""
    ends = re.compile(rb"</(?:tr|li|section)>\n")

    class Line(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked = {"accept": self.headers["accept"], "accept-encoding": "identity"}
            answer = httpx.get(site + self.path, headers=asked)
            self.send_response(answer.status_code)
            for name in ("content-type", "content-length", "content-security-policy"):
                if name in answer.headers:
                    self.send_header(name, answer.headers[name])
            self.end_headers()
            begin, content = 0, answer.content
            while begin < len(content):
                found = ends.search(content, begin + 700) if "html" in answer.headers["content-type"] else None
                end = found.end() if found else len(content)
                self.wfile.write(content[begin:end])
                begin = end
                time.sleep(0.02)

        def log_message(self, format: str, *values: Any) -> None:
            """Logs nothing, to keep pytest's output clean."""

    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Line) as line:
        threading.Thread(target=line.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{line.server_port}"
        line.shutdown()


def chromium() -> str | None:
    """The path of Chromium; None if the machine has none."""
    return next((path for name in BROWSERS if (path := shutil.which(name))), None)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Chromium as the machine has it."""
    found = chromium()
    if found is None:
        if os.environ.get("CI"):
            pytest.fail("there is no chromium; apt-get install -y chromium")
        pytest.skip("there is no chromium on this machine")
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=found, args=list(ARGUMENTS))
        yield started
        started.close()


@pytest.fixture
def opened(browser: Browser, site: str) -> Iterator[Open]:
    """Opens an address of the service in a new window. Afterwards there must be no console message except those a test
    takes out of `said`, and no request to another host."""
    windows: list[tuple[BrowserContext, Watched, str]] = []

    def open_(path: str, *, width: int = 1200, at: str = site, **settings: Any) -> Watched:
        context = browser.new_context(viewport={"width": width, "height": 900}, **settings)
        watched = Watched(context)
        windows.append((context, watched, at))
        watched.page.goto(at + path)
        return watched

    yield open_
    for context, watched, at in windows:
        context.close()
        assert watched.said == []
        assert [url for url in watched.asked if not url.startswith((at, "data:"))] == []
