"""From the start page to every answer by tapping alone: no page refuses before it has asked, and no id is typed."""

import random
import re
from html import unescape
from html.parser import HTMLParser
from urllib.parse import urlencode, urljoin, urlsplit

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from tests.api.asking import asking
from tests.api.reading_html import Page

pytestmark = pytest.mark.anyio
PAGE = {"Accept": "text/html"}
IDS = {"chassis", "variant", "spring", "from_spring", "damper", "fluid", "frame", "part", "source", "maker", "id"}
MOST = 1500
SERIAL_ASKED = "What is its serial number?"
STAMPED = ("21600-00", "21400-00")  # inside and outside the range of the demo's bulletin


class Ways(HTMLParser):
    """The links of a page, and its lookup buttons with the fields as they are filled in."""

    def __init__(self, at: str, html: str) -> None:
        super().__init__()
        self.at, self.to, self.typed = at, [], set()
        self._action: str | None = None
        self._hidden: list[tuple[str, str]] = []
        self.questions = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "a" and "href" in given:
            self.to.append(urljoin(self.at, given["href"]))
        elif tag == "form":
            posts = given.get("method") == "post"
            self._action, self._hidden = None if posts else given.get("action", self.at), []
        elif tag == "input" and self._action is not None:
            if given.get("type") == "hidden":
                self._hidden.append((given["name"], given["value"]))
            elif given.get("type", "text") in ("text", "search"):
                self.typed.add(given.get("name", ""))
        elif tag == "button" and self._action is not None and "name" in given:
            action = urlsplit(urljoin(self.at, given.get("formaction", self._action))).path
            self.to.append(f"{action}?{urlencode([*self._hidden, (given['name'], given['value'])])}")
        elif tag == "h2" and given.get("id") == "question":
            self.questions += 1

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._action = None


def kind(address: str) -> str:
    """The kind of an address: its path with ids masked, and the names of its parameters."""
    split = urlsplit(address)
    path = re.sub(r"^(/v1/[a-z-]+)/[^/]+", r"\1/…", split.path)
    names = sorted({*re.findall(r"(?:^|&)([a-z_]+)=", split.query)} - {"units", "revision", "skip"})
    job = re.search(r"job=([a-z-]+)", split.query)
    return f"{path} {names} {job and job[1]}"


async def crawl(client: httpx.AsyncClient, *first: str) -> dict[str, tuple[int, Ways]]:
    """Every kind of page that can be reached by tapping, with its status."""
    waiting, kinds, found = list(first), set(), {}
    while waiting and len(found) < MOST:
        address = waiting.pop(0).partition("#")[0]
        if not address.startswith("/") or address.startswith("/static") or kind(address) in kinds:
            continue
        kinds.add(kind(address))
        response = await client.get(address, headers=PAGE)
        if response.status_code == 303:
            waiting.insert(0, response.headers["location"])
            continue
        html = response.text if "html" in response.headers.get("content-type", "") else ""
        found[address] = response.status_code, Ways(address, html)
        waiting += found[address][1].to
    assert len(found) < MOST
    return found


async def test_no_page_found_by_tapping_refuses_or_wants_an_id_typed(loaded: Catalogue) -> None:
    async with asking(loaded.database) as client:
        found = await crawl(client, "/", "/?door=service", "/?door=travel", "/?door=rider")
        refused = {address: status for address, (status, _) in found.items() if status >= 400}
        assert refused == {}
        typed = {address: ways.typed & IDS for address, (_, ways) in found.items() if ways.typed & IDS}
        assert typed == {}
        assert sum(ways.questions for _, ways in found.values()) > 20
        assert all(ways.questions <= 1 for _, ways in found.values())
        assert any("/fork-check?" in address for address in found)
        assert any("/job-card?" in address and ways.questions == 0 for address, (_, ways) in found.items())


async def test_one_question_a_page_and_the_only_choice_is_made_and_shown(loaded: Catalogue) -> None:
    async with asking(loaded.database) as client:
        address = "/v1/chassis/tarnoch-raddle-37/job-card?job=travel-change"
        asked = []
        while True:
            response = await client.get(address, headers=PAGE)
            if response.status_code == 303:
                address = response.headers["location"]
                continue
            assert response.status_code == 200, response.text[:500]
            ways = Ways(address, response.text)
            if not ways.questions:
                break
            question = re.search(r'<h2 id="question">([^<]+)</h2>', response.text)
            assert question is not None
            asked.append(unescape(question[1]))
            Page(response.text)
            pads = [to for to in ways.to if "/job-card?" in to and len(to) > len(address)]
            address = pads[-1]
        assert asked[:3] == [
            "Which wheel is it ridden with?", "Which travel does it have now?", "Which travel should it have?",
        ]  # fmt: skip
        assert "is-job-card" in response.text
        refusal = await client.get("/v1/chassis/tarnoch-raddle-37/job-card?job=travel-change")
        assert refusal.status_code == 422  # a program gets every error at once


ANSWERED_NO = {
    "no-volume-spacers", "nothing-to-change", "damper-not-serviceable", "procedure-unsafe", "spacer-limit-not-stated",
}  # fmt: skip
"""Refusals that are an answer about this fork: no other choice was possible."""


@pytest.mark.parametrize("job", ["travel-change", "spacer-change", "lower-leg-service", "full-service"])
async def test_every_choice_that_is_offered_leads_on(loaded: Catalogue, job: str) -> None:
    chance = random.Random(job)
    async with asking(loaded.database) as client:
        forks = [row["id"] for row in (await client.get("/v1/chassis")).json()["rows"]]
        cards = 0
        for fork in forks * 2:
            address = f"/v1/chassis/{fork}/job-card?job={job}"
            for _ in range(12):
                response = await client.get(address, headers=PAGE)
                if response.status_code == 303:
                    address = response.headers["location"]
                    continue
                if response.status_code == 422:
                    codes = {fault["code"] for fault in (await client.get(address)).json()["errors"]}
                    assert codes <= ANSWERED_NO, (address, codes)
                    break
                assert response.status_code == 200, address
                ways = Ways(address, response.text)
                if not ways.questions:
                    cards += 1
                    break
                if SERIAL_ASKED in response.text:  # the one thing that is typed
                    address += f"&serial={chance.choice(STAMPED)}"
                    continue
                pads = [to for to in ways.to if "/job-card?" in to and len(to) > len(address)]
                if not pads:
                    assert "Nothing else is listed for it" in response.text, address
                    break
                address = chance.choice(pads)
            else:
                pytest.fail(address)
        assert cards > 4


async def test_what_is_there_already_is_not_offered_as_a_change(loaded: Catalogue) -> None:
    async with asking(loaded.database) as client:
        page = await client.get(
            "/v1/chassis/tarnoch-raddle-37/job-card?job=travel-change&wheel_size=622&from_travel=160", headers=PAGE
        )
        values = re.findall(r'<button name="to_travel" value="([^"]+)"', page.text)
        assert values == ["150", "170"]


async def test_a_change_may_keep_the_travel_or_the_spring_but_not_both(loaded: Catalogue) -> None:
    """A coil is changed at one travel, and the same coil gives both travels."""
    soft = "quembry-crock-coil-soft"
    address = (
        f"/v1/chassis/quembry-crock-39/job-card?job=travel-change&wheel_size=622&from_travel=170&from_spring={soft}"
    )
    async with asking(loaded.database) as client:

        async def offered(parameter: str, address: str) -> list[str]:
            page = await client.get(address, headers=PAGE)
            return re.findall(rf'<button name="{parameter}" value="([^"]+)"', page.text)

        assert await offered("to_travel", address) == ["170", "180"]
        others = [f"quembry-crock-coil-{each}" for each in ("firm", "medium", "stout")]
        assert sorted(await offered("spring", f"{address}&to_travel=170")) == others
        assert sorted(await offered("spring", f"{address}&to_travel=180")) == sorted([soft, *others])


async def test_the_things_a_mechanic_may_not_know_say_how_they_are_found_out(loaded: Catalogue) -> None:
    async with asking(loaded.database) as client:
        for address in (
            "/v1/identify",
            "/v1/chassis/tarnoch-raddle-37/job-card?job=travel-change&wheel_size=622",
            "/v1/chassis/tarnoch-raddle-37/job-card?job=spacer-change&wheel_size=622&travel=160&model_year=2023",
            "/v1/chassis/tarnoch-raddle-37/setup",
        ):
            page = (await client.get(address, headers=PAGE)).text
            assert re.search(
                r"<details class=\"how\"[^>]*><summary>How do I find out\?</summary>\s*<div>\s*<svg", page
            ), address


async def test_identify_asks_one_thing_names_what_disagrees_and_folds_what_is_ruled_out(loaded: Catalogue) -> None:
    async with asking(loaded.database) as client:
        first = (await client.get("/v1/identify", headers=PAGE)).text
        assert "What is the stanchion diameter?" in first
        assert re.findall(r'name="stanchion_diameter" value="([^"]+)"', first) == [
            "31 mm", "33 mm", "35 mm", "37 mm", "39 mm", "42 mm",
        ]  # fmt: skip
        query = "stanchion_diameter=35+mm&wheel_size=622"
        marks = (await client.get(f"/v1/identify?{query}", headers=PAGE)).text
        assert marks.count('<input type="checkbox" name="mark"') == 7
        two = f"/v1/identify?{query}&mark=round+spring+cap&mark=square+arch"
        page = (await client.get(two, headers=PAGE)).text
        assert 'href="/v1/chassis/quembry-trivet-35/sheet?wheel_size=622&amp;variant=quembry-trivet-35-run-one"' in page
        assert "Ruled out: 12 forks" in page
        wrong = (
            await client.get("/v1/identify?stanchion_diameter=37&wheel_size=622&model_year=2019", headers=PAGE)
        ).text
        assert "Only if you misread something" in wrong
        assert "you found 2019, the catalogue lists 2020" in wrong
        for body in (first, marks, page, wrong, (await client.get(two, headers={"Accept": "text/plain"})).text):
            assert not re.search(r"\bbits?\b|probabilit|\bscore\b|posterior", body)
