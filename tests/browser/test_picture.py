"""The picture of README shows what the pages say now, and the top of README is short."""

import re

from playwright.sync_api import Browser

from tests.browser.picture import PAGES, PICTURE, digest, text_of, visit
from tests.house.tour import README, ROOT, steps

MOST_BYTES = 250_000
MOST_LINES = 40


def test_the_picture_shows_what_the_pages_say_now(browser: Browser, site: str) -> None:
    context = browser.new_context()
    words = [visit(context.new_page(), site, shown) for shown in PAGES]
    context.close()
    assert "30 N·m" in words[0]
    assert "86 psi" in words[1]
    assert text_of(PICTURE.read_bytes()) == digest(words), "make it again: python -m tests.browser.picture"


def test_readme_begins_with_one_picture_of_bounded_size_and_three_lines_of_output() -> None:
    top = README.read_text().partition("## Test\n")[0]
    assert len(top.splitlines()) <= MOST_LINES
    pictures = re.findall(r"!\[[^\]]*invented[^\]]*\]\(([^)]+)\)", top)
    assert [ROOT / path for path in pictures] == [PICTURE]
    assert PICTURE.stat().st_size <= MOST_BYTES
    (block,) = re.findall(r"```console\n(.*?)```", top, re.S)
    ((_, output),) = steps(block)
    assert len(output.splitlines()) == 3
    for word in ("## Run", "| you are | start here |", "never guesses", "No licence has been chosen", "your data"):
        assert word in top, word


def test_readme_has_no_figures_of_chance() -> None:
    text = README.read_text() + (ROOT / "app" / "web" / "guide" / "guide.md").read_text()
    assert re.findall(r"\bbits?\b|probabilit\w+|likelihood", text, re.I) == []
