"""Bench log, identify and histories as pages and text: the figures of the answer, and the next step."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from app.database.connections import Database
from tests.api.asking import asking
from tests.api.reading_html import Page
from tests.api.walking import quantities
from tests.api.writing import put, writing
from tests.bench.working import CHASSIS, SERIAL, benches

pytestmark = pytest.mark.anyio


def numbers(value: Any, name: str = "") -> Iterator[str]:
    """Every bare figure of an answer except those of quantities, which `quantities` returns."""
    if isinstance(value, dict) and "ucum" not in value:
        for key, inner in value.items():
            yield from numbers(inner, key)
    elif isinstance(value, list):
        for inner in value:
            yield from numbers(inner, name)
    elif isinstance(value, int | float) and not isinstance(value, bool) and name != "version":
        yield f"{abs(value):g}"  # a negative number is shown as "over"


def said(html: str) -> str:
    page = Page(html)
    assert not page.tags & {"script", "style", "iframe"}
    assert "style" not in page.attributes
    return page.text


async def test_the_bench_log_has_pages_and_texts_with_every_figure(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        id = await bench.register(first_used_on="2025-04-01", fluids=[])
        await bench.record(
            id, "lower-leg-service", done_on="2026-03-02", hours=41.5, fitted={"spacers": 1}, note="bush worn",
            measured={"pressure": "70 psi", "sag": "36 mm", "rider_mass": "82 kg", "rebound_clicks": 7},
        )  # fmt: skip
        here = f"/v1/forks/{id}"
        for address in (here, f"{here}/due?hours=92", f"{here}/services", f"{here}/label", "/v1/forks",
                        "/v1/forks/recent-configurations", f"{here}/export"):  # fmt: skip
            answer = await bench.get(address)
            page = said((await bench("GET", address, Accept="text/html")).text)
            text = (await bench("GET", address, Accept="text/plain")).text
            assert max(map(len, text.split("\n"))) <= 80, address
            assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]", text), address
            for form in (page, " ".join(text.split())):
                measured = {each.removeprefix("-") for each in quantities(answer)}  # "over", as above
                for figure in {*measured, *numbers(answer)} - {"1"}:
                    assert figure in form, f"{address}: {figure}"
        html = (await bench("GET", here, Accept="text/html")).text
        links = Page(html).links
        assert SERIAL in html
        assert {f"{here}/due", f"{here}/services", f"{here}/label"} <= set(links)
        assert f"/v1/chassis/{CHASSIS}/job-card?fork={id}&job=lower-leg-service" in links
        for link in links:
            if f"fork={id}" in link:
                assert (await bench("GET", link)).status_code == 200, link
        last = Page((await bench("GET", "/v1/forks/recent-configurations", Accept="text/html")).text).links
        sheet = next(link for link in last if "/sheet?" in link)
        known = (await bench.get(sheet))["configuration"]
        assert (known["travel"]["text"], known["spring"]) == ("180 mm", "lommeris-haar-42-spring-180")
        card = next(link for link in last if "/job-card?" in link and "job=lower-leg-service" in link)
        assert "spacers=1" in card
        of_card = await bench.get(card)
        assert (of_card["job"], of_card["configuration"]) == ("lower-leg-service", known)


async def test_a_browser_without_a_key_is_told_how_the_log_is_asked(demo: Database) -> None:
    async with asking(demo) as client:
        refused = await client.get("/v1/forks?serial=a%22%24(b)", headers={"Accept": "text/html"})
        assert refused.status_code == 401
        assert 'curl -H "Authorization: Bearer $KEY" "http://legwork.test/v1/forks.txt?serial=a%22%24%28b%29"' in said(
            refused.text
        )


async def test_identify_says_what_to_look_at_and_each_reading_is_one_tap(demo: Database) -> None:
    address = "/v1/identify?stanchion_diameter=37&wheel_size=29&model_year=2023"
    async with asking(demo) as client:
        answer = (await client.get(address)).json()
        html = (await client.get(address, headers={"Accept": "text/html"})).text
        text = " ".join((await client.get(address, headers={"Accept": "text/plain"})).text.split())
        page = said(html)
        for form in (page, text):
            for each in answer["candidates"]:
                assert each["chassis"]["name"] in form
                of_page = form is page and each["disagrees"]  # a page names only what rules it out
                for clue in (*([] if of_page else each["agrees"]), *each["disagrees"]):
                    assert clue["given"] in form
                    assert ", ".join(clue["listed"]) in form
        links = Page(html).links
        first = answer["candidates"][0]["chassis"]["id"]
        assert f"/v1/chassis/{first}/sheet?wheel_size=29&model_year=2023" in links
        assert answer["next_check"]["text"] in text
        assert answer["next_check"]["parameter"] == "mark"
        for each in answer["next_check"]["readings"]:
            assert f'<input type="checkbox" name="mark" value="{each["reading"]}">' in html
            assert f"mark={each['reading']}" in text
            marked = await client.get(address, params={"mark": each["reading"]}, headers={"Accept": "text/html"})
            assert marked.status_code == 200, each


async def test_a_history_tells_every_version_and_what_changed_in_it(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path) as service:
        row, tag = await service.row()
        address = f"/v1/statements/{row['id']}"
        for value, reason in (("136", "a misprint"), ("138", "the third edition")):
            body = put({**row, "value": value}, reason=reason)
            done = await service.client.put(address, json=body, headers={"If-Match": tag})
            assert done.status_code == 200, done.text
            tag = done.headers["etag"]
        gone = await service.client.delete(f"{address}?reason=the page is void", headers={"If-Match": tag})
        assert gone.status_code == 200
        versions = (await service.client.get(f"{address}/history")).json()["versions"]
        assert [each["row"]["value"] for each in versions] == [row["value"], "136", "138"]
        page = said((await service.client.get(f"{address}/history", headers={"Accept": "text/html"})).text)
        plain = (await service.client.get(f"{address}/history", headers={"Accept": "text/plain"})).text
        text = " ".join(plain.split())
        for form in (page, text):
            assert "the page is void" in form
            for each in versions:
                assert each["reason"] in form
                assert each["recorded_at"] in plain
                assert f"{each['recorded_at'][:10]} {each['recorded_at'][11:16]} UTC" in page
        newest, middle, first = re.split(r"From revision \d", page)[1:4]
        assert "was 136" in newest
        assert f"was {row['value']}" in middle
        assert "was " not in first
        assert [line.split() for line in plain.split("\n") if line.startswith("* ")] == [
            ["*", "value", "138"], ["*", "value", "136"],
        ]  # fmt: skip
        for address, shown in (("/v1/revisions", 4), ("/v1/changes?after=1", 3)):
            answer = (await service.client.get(address)).json()
            page = said((await service.client.get(address, headers={"Accept": "text/html"})).text)
            listed = answer["revisions" if "revisions" in answer else "changes"]
            assert len(listed) == shown
            for each in listed:
                assert each.get("reason", each.get("id")) in page
