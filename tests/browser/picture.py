"""The picture of README: an answer of the search on a phone, and a set-up on a screen, from the invented demo.

`python -m tests.browser.picture` makes it again. The words of both pages are in it as a digest, so that a test can tell
when a page says something else.
"""

import base64
import hashlib
import struct
import zlib
from pathlib import Path
from typing import NamedTuple

from playwright.sync_api import Browser, Page, sync_playwright

from tests.browser.conftest import ARGUMENTS, chromium
from tests.house.tour import demo_server

PICTURE = Path(__file__).with_name("readme.png")
HEIGHT = 780
GAP = 24
_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_KEYWORD = b"Words"
_IN_THE_PICTURE = """height => [...document.querySelectorAll('.invented')].some(each =>
    /invented/.test(each.innerText) && each.getBoundingClientRect().bottom < height)"""


class Shown(NamedTuple):
    """A page of the picture: its address and the width of its window in px."""

    address: str
    width: int


PAGES = (
    Shown("/?q=raddle+top+cap", 390),
    Shown("/v1/chassis/tarnoch-raddle-37/setup?travel=160&model_year=2023&wheel_size=29&rider_mass=80", 1000),
)


def visit(page: Page, site: str, shown: Shown) -> str:
    """Open a page as it is in the picture. Returns its visible words; fails if none in the picture says "invented"."""
    page.set_viewport_size({"width": shown.width, "height": HEIGHT})
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    page.goto(site + shown.address)
    if not page.evaluate(_IN_THE_PICTURE, HEIGHT):
        raise AssertionError(f"nothing in the picture says that {shown.address} is invented")
    return " ".join(page.locator("body").inner_text().split())


def digest(words: list[str]) -> str:
    """SHA-256 of the words of all pages, in hexadecimal digits."""
    return hashlib.sha256("\n".join(words).encode()).hexdigest()


def make(browser: Browser, site: str) -> bytes:
    """The picture as PNG, with the digest of the words in a text chunk (PNG, third edition, 11.3.3.3)."""
    context = browser.new_context()
    page = context.new_page()
    words, parts = [], []
    for shown in PAGES:
        words.append(visit(page, site, shown))
        parts.append(base64.b64encode(page.screenshot(caret="hide")).decode())
    images = "".join(f'<img src="data:image/png;base64,{each}">' for each in parts)
    style = (
        f"body {{margin: {GAP}px; display: flex; gap: {GAP}px; background: #fff}} img {{outline: 1px solid #5a6b66}}"
    )
    width = sum(each.width for each in PAGES) + GAP * (len(PAGES) + 1)
    both = context.new_page()  # not the page itself: its policy allows no style of ours
    both.set_viewport_size({"width": width, "height": HEIGHT + 2 * GAP})
    both.set_content(f"<!doctype html><style>{style}</style>{images}")
    picture = both.screenshot()
    context.close()
    return with_text(picture, digest(words))


def with_text(png: bytes, text: str) -> bytes:
    """A PNG with a text chunk after its header chunk."""
    content = b"tEXt" + _KEYWORD + b"\0" + text.encode("latin-1")
    chunk = struct.pack(">I", len(content) - 4) + content + struct.pack(">I", zlib.crc32(content))
    end_of_header = len(_SIGNATURE) + 25
    return png[:end_of_header] + chunk + png[end_of_header:]


def text_of(png: bytes) -> str:
    """The text that `with_text` put into a PNG; an empty string if there is none."""
    at = len(_SIGNATURE)
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        kind, content = png[at + 4 : at + 8], png[at + 8 : at + 8 + length]
        if kind == b"tEXt" and content.startswith(_KEYWORD + b"\0"):
            return content.partition(b"\0")[2].decode("latin-1")
        at += length + 12
    return ""


if __name__ == "__main__":
    with demo_server() as port, sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium(), args=list(ARGUMENTS))
        PICTURE.write_bytes(make(started, f"http://127.0.0.1:{port}"))
        started.close()
