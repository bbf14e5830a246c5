"""Drafts in a browser: start, paste, meaning, answers, second reader and load by forms, without typing an id."""

import re
from urllib.parse import urljoin

import httpx
import pytest

from tests.api.reading_html import Page
from tests.bench.browsing import HOME, OURS
from tests.drafts.drafting import Drafting

pytestmark = pytest.mark.anyio

TORQUES = "\tTorque (in-lb)\nown: mast nut\t7O\nAxle\t118"
"""The header of the first column is empty, as in a table that was copied from a page."""


class Browser:
    """A browser without script: it opens pages and sends the forms on them, with what the page filled in."""

    def __init__(self, by: Drafting) -> None:
        self.by = by
        transport = httpx.ASGITransport(by.service.app)
        self.client = httpx.AsyncClient(transport=transport, base_url=HOME, timeout=60)
        self.at, self.html, self.status = "", "", 0

    async def sign_in(self) -> "Browser":
        """Sign in with the key."""
        answer = await self.client.post("/sign-in", data={"key": self.by.token}, headers=OURS)
        assert answer.status_code == 303
        return self

    async def open(self, path: str) -> None:
        """Open a page."""
        await self._show(await self.client.get(path.partition("#")[0], headers=OURS), path)

    async def _show(self, answer: httpx.Response, path: str) -> None:
        self.at, self.html, self.status = path, answer.text, answer.status_code
        if self.status == 303:
            await self.open(urljoin(path, answer.headers["location"]))
        else:
            Page(self.html)  # every page is well formed

    @property
    def text(self) -> str:
        """The visible text of the page."""
        return Page(self.html).text

    async def send(self, action: str, **typed: str) -> None:
        """Send the form with this action: its hidden fields, and what was typed or tapped."""
        forms = re.findall(r'<form class="ask[^>]*action="([^"]+)"[^>]*>(.*?)</form>', self.html, re.DOTALL)
        own = next(inner for to, inner in forms if to.endswith(action))
        hidden = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', own))
        sent = {**hidden, **typed}
        to = next(to for to, _ in forms if to.endswith(action))
        await self._show(await self.client.post(to, data=sent, headers=OURS), to)

    def field_of(self, words: str) -> str:
        """The name of the answer under the point whose title has these words."""
        point = next(each for each in re.findall(r'<li class="point.*?</li>', self.html, re.DOTALL) if words in each)
        return re.findall(r'name="((?:answer|text)\.[0-9]+)"', point)[0]


async def test_a_table_is_pasted_understood_answered_read_and_loaded_on_pages(
    people: tuple[Drafting, Drafting, Drafting],
) -> None:
    office, reader, _ = people
    person, other = await Browser(office).sign_in(), await Browser(reader).sign_in()
    await person.open("/enter/drafts/new")
    assert '<option value="quembry-trivet-35">' in person.html
    await person.send("/new", chassis="quembry-trivet-35", source="quembry-shop-book-3", page="14")
    assert person.at.endswith("/paste")
    here = person.at.removesuffix("/paste")
    await person.send("/paste", name="Torques", pasted=TORQUES)
    assert person.at.startswith(f"{here}/meaning"), person.text
    assert "Column A, which has no heading" in person.text
    await person.send("/meaning", **{"answer.903": "x" * 1_001})
    assert person.status == 422, "longer than a program may send"
    await person.send("/meaning", **{"answer.900": "torques", "text.701": "position"})
    assert (person.status, person.at) == (200, f"{here}?grid=Torques")
    assert "7O" in person.text
    letters = person.field_of("What does “7O” mean?").removeprefix("answer.")
    await person.send(here, tap=f"answer.{letters}=70")
    assert "0 to answer" in person.text, person.text
    assert "value 115 → 118" in person.text
    await person.open(f"{here}/load")
    assert "waits for the second reader" in person.text
    await other.open(f"{here}/reader")
    for number in range(3):
        assert f"{number} of 3 rows read" in other.text
        await other.send("/reader", said="so")
    assert "Every row is read" in other.text
    await person.open(f"{here}/load")
    await person.send("/load", reason="torques of page 14")
    assert person.at == "/v1/revisions/2"
    assert "torques of page 14 (read by bench 2)" in person.text
    assert "115 → 118" in person.text
    await person.open("/enter/drafts/new?kind=undo&revision=2")
    await person.send("/new", revision="²")
    assert person.status == 422, "a digit, but not a number"
    await person.open("/enter/drafts/new?kind=undo&revision=2")
    await person.send("/new")
    assert "Undo revision 2" in person.text
    assert "value 118 → 115" in person.text
