"""Work orders in a browser without script: start, save a phase, change the fields, record; nothing typed is lost."""

import html
import re
from typing import Any

import httpx
import pytest

from tests.api.reading_html import Page
from tests.api.test_bench_forms import hidden
from tests.api.walking import quantities
from tests.bench.browsing import OURS, browser, signed_in, token_of
from tests.bench.working import CHASSIS, SERIAL, Bench
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio
Two = tuple[Bench, Bench]


def entries(page: str, phase: str) -> dict[str, str]:
    """What a browser sends for the form of a phase as it is on the page."""
    form = page.split(f'id="phase-{phase}"')[1].split("</form>")[0]
    found: dict[str, str] = {}
    for field in re.findall(r"<input [^>]*>", form):
        name = re.search(r'name="([^"]*)"', field)
        value = re.search(r'value="([^"]*)"', field)
        if name and value and ("type=" not in field or "hidden" in field or " checked" in field):
            found[name[1]] = html.unescape(value[1])
    return found


async def start(client: httpx.AsyncClient, bench: Bench, job: str = "lower-leg-service") -> tuple[str, str]:
    """A work order started from the page of a fork's card: the fork, and the address of the order."""
    fork = await bench.register()
    card = await client.get(f"/v1/chassis/{CHASSIS}/job-card?fork={fork}&job={job}", headers=OURS)
    (link,) = [each for each in Page(card.text).links if each.startswith("/v1/work-orders/start/")]
    form = (await client.get(link, headers=OURS)).text
    assert f'value="{SERIAL}"' in form
    (action,) = re.findall(r'<form class="ask filled" method="post" action="([^"]*)"', form)
    sent = {"serial": SERIAL, "bike": "red one", "promised": "2026-12-01", "sent": hidden(form, "sent")}
    made = [await client.post(html.unescape(action), data=sent, headers=OURS) for _ in range(2)]
    assert [each.status_code for each in made] == [303, 303], made[0].text
    assert made[0].headers["location"] == made[1].headers["location"], "a second tap starts no second order"
    return fork, made[0].headers["location"]


async def test_two_pages_save_their_phases_and_neither_loses_a_tick(shops: Two) -> None:
    bench, _ = shops
    async with signed_in(bench) as one, signed_in(bench) as two:
        _, here = await start(one, bench)
        order = (await bench.get(here))["order"]
        first, third = order["phases"][0]["steps"], order["phases"][2]["steps"]
        pages = [(await client.get(here, headers=OURS)).text for client in (one, two)]
        assert all("red one" in page and "0 of" in page for page in pages)
        a = {**entries(pages[0], "a"), **{f"tick-{step}": "done" for step in first[:2]}}
        saved = await one.post(f"{here}/phases/a", data=a, headers=OURS)
        assert (saved.status_code, saved.headers["location"]) == (303, f"{here}#phase-a")
        c = {**entries(pages[1], "c"), f"tick-{third[0]}": "done"}
        assert (await two.post(f"{here}/phases/c", data=c, headers=OURS)).status_code == 303
        # the other page still shows phase A without ticks: what it did not change stays
        stale = {**entries(pages[1], "a"), f"tick-{first[2]}": "done"}
        assert (await two.post(f"{here}/phases/a", data=stale, headers=OURS)).status_code == 303
        assert (await bench.get(here))["order"]["ticks"] == [*first[:3], third[0]]
        again = (await one.get(here, headers=OURS)).text
        untick = {name: value for name, value in entries(again, "a").items() if name != f"tick-{first[1]}"}
        await one.post(f"{here}/phases/a", data=untick, headers=OURS)
        assert (await bench.get(here))["order"]["ticks"] == [first[0], first[2], third[0]]


async def test_a_refused_measurement_is_marked_and_everything_typed_stays(shops: Two) -> None:
    bench, _ = shops
    async with signed_in(bench) as client:
        _, here = await start(client, bench)
        order = (await bench.get(here))["order"]
        play = next(each for each in order["measurements"] if each["what"] == "bushing play")
        part = next(each for each in order["parts"] if each.get("step") in order["phases"][2]["steps"])
        typed = {f"measure-{play['id']}": "a <b>little", f"tick-{play['step']}": "done", f"part-{part['id']}": "kept"}
        refused = await client.post(f"{here}/phases/c", data=typed, headers=OURS)
        assert refused.status_code == 422
        page = Page(refused.text)
        assert "The limit is" in page.text
        assert 'value="a &lt;b&gt;little"' in refused.text
        kept = entries(refused.text, "c")
        assert {name: kept.get(name) for name in typed} == typed
        assert (await bench.get(here))["order"]["ticks"] == []
        kept[f"measure-{play['id']}"] = "9"
        assert (await client.post(f"{here}/phases/c", data=kept, headers=OURS)).status_code == 303
        found = (await bench.get(here))["order"]
        assert (found["ticks"], [each.get("fate") for each in found["parts"] if each["id"] == part["id"]]) == (
            [play["step"]], ["kept"],
        )  # fmt: skip
        shown = (await client.get(here, headers=OURS)).text
        assert "1 outside" in Page(shown).text
        assert 'id="phase-c" open' in shown, "what is outside its limit is in sight"
        wrong = await client.post(f"{here}/phases/c", data={"tick-1": "done"}, headers=OURS)
        assert_problem(await client.post(f"{here}/phases/x", data={}, headers={**OURS, "Accept": "*/*"}), 404)
        assert wrong.status_code == 422, "a step of another phase"


async def test_the_fields_are_not_overwritten_by_an_older_page(shops: Two) -> None:
    bench, _ = shops
    async with signed_in(bench) as one, signed_in(bench) as two:
        _, here = await start(one, bench)
        forms = [(await client.get(f"{here}/fields", headers=OURS)).text for client in (one, two)]
        version = hidden(forms[0], "version")
        fork = (await bench.get(here))["order"]["fork"]
        body = {"serial": SERIAL, "bike": "blue one", "fork": fork, "version": version}
        assert (await one.post(f"{here}/fields", data=body, headers=OURS)).status_code == 303
        for version in ("9" * 5000, "x", ""):
            refused = await one.post(f"{here}/fields", data={**body, "version": version}, headers=OURS)
            assert 400 <= refused.status_code < 500, refused.status_code
        late = await two.post(f"{here}/fields", data={**body, "bike": "green one"}, headers=OURS)
        assert late.status_code == 412
        assert 'value="green one"' in late.text
        order = (await bench.get(here))["order"]
        assert (order["bike"], "promised" in order) == ("blue one", False)
        again = {**body, "bike": "green one", "version": hidden(late.text, "version")}
        assert (await two.post(f"{here}/fields", data=again, headers=OURS)).status_code == 303
        assert (await bench.get(here))["order"]["bike"] == "green one"


async def test_the_job_is_recorded_from_the_order_and_the_page_shows_what_is_due(shops: Two) -> None:
    bench, _ = shops
    async with signed_in(bench) as client:
        fork, here = await start(client, bench)
        order = (await bench.get(here))["order"]
        sag = next(each for each in order["measurements"] if each["what"] == "sag, mean of six")
        phase = next(each["id"] for each in order["phases"] if sag["step"] in each["steps"])
        await client.post(f"{here}/phases/{phase}", data={f"measure-{sag['id']}": "38"}, headers=OURS)
        form = (await client.get(f"{here}/finish", headers=OURS)).text
        assert 'value="38mm"' in form
        body = {"done_on": "2026-03-02", "hours": "12", "sag": "38mm", "note": "x" * 1001, "sent": hidden(form, "sent")}
        long = await client.post(f"{here}/finish", data=body, headers=OURS)
        assert long.status_code == 422
        assert 'value="38mm"' in long.text
        for _ in range(2):
            done = await client.post(f"{here}/finish", data={**body, "note": "bush fine"}, headers=OURS)
            assert (done.status_code, done.headers["location"]) == (303, here), done.text
        (service,) = (await bench.get(f"/v1/forks/{fork}/services"))["services"]
        assert (service["job"], service["measured"]["sag"]["text"]) == ("lower-leg-service", "38 mm")
        page = Page((await client.get(here, headers=OURS)).text)
        assert "Recorded as job 1" in " ".join(page.text.split())
        assert "What is due next" in page.text
        assert f"{here}/finish" not in page.links


async def test_pages_and_text_show_every_figure_of_the_card(shops: Two) -> None:
    bench, _ = shops
    async with signed_in(bench) as client:
        fork, here = await start(client, bench, "full-service")
        for address in (here, "/v1/work-orders", f"/v1/forks/{fork}/export"):
            answer = await bench.get(address)
            html_page = (await client.get(address, headers=OURS)).text
            text = (await bench("GET", address, Accept="text/plain")).text
            page = Page(html_page)
            assert len(html_page.encode()) <= 60_000
            assert not page.tags & {"script", "style", "iframe"}
            assert "style" not in page.attributes
            assert max(map(len, text.split("\n"))) <= 80
            for form in (page.text, " ".join(text.split())):
                assert {figure for figure in quantities(answer) if figure not in form} == set(), address
        assert f"[ ] {1:>2} " in (await bench("GET", here, Accept="text/plain")).text
        await bench("PATCH", here, {"ticks": {"1": True}})
        assert f"[x] {1:>2} " in (await bench("GET", here, Accept="text/plain")).text


async def test_what_was_typed_outlives_the_session(shops: Two) -> None:
    bench, _ = shops
    async with signed_in(bench) as client:
        _, here = await start(client, bench)
        await client.post("/sign-out", headers={**OURS, "Content-Type": "application/x-www-form-urlencoded"})
        body = {"tick-1": "done", "was-tick-2": "done"}
        refused = await client.post(f"{here}/phases/a", data=body, headers=OURS)
        assert refused.status_code == 401
        assert {name: hidden(refused.text, name) for name in body} == body
        assert f'action="{here}/phases/a"' in refused.text
        await client.post("/sign-in", data={"key": token_of(bench)}, headers=OURS)
        assert (await client.post(f"{here}/phases/a", data=body, headers=OURS)).status_code == 303
        assert (await bench.get(here))["order"]["ticks"] == [1]


async def test_signed_out_a_card_says_that_it_keeps_no_ticks(shops: Two) -> None:
    bench, other = shops
    card = f"/v1/chassis/{CHASSIS}/job-card?job=lower-leg-service&travel=180&model_year=2023&wheel_size=622"
    card += "&spring=lommeris-haar-42-spring-180&damper=lommeris-lull&from_spacers=2"
    async with browser(bench) as nobody, signed_in(bench) as client, signed_in(other) as stranger:
        page = Page((await nobody.get(card, headers=OURS)).text)
        assert "Ticks on this page are not kept" in page.text
        assert not [link for link in page.links if "/work-orders/" in link]
        onwards = next(link for link in page.links if link.startswith("/sign-in?next=%2Fv1%2Fchassis"))
        key: dict[str, Any] = {
            "key": token_of(bench),
            "next": hidden((await nobody.get(onwards, headers=OURS)).text, "next"),
        }
        back = await nobody.post("/sign-in", data=key, headers=OURS)
        assert back.headers["location"] == card
        _, here = await start(client, bench)
        editor = {"key": str(bench.service.keys["edit"].token)}
        assert (await nobody.post("/sign-in", data=editor, headers=OURS)).status_code == 303
        page = Page((await nobody.get(card, headers=OURS)).text)
        assert "Ticks on this page are not kept" in page.text
        assert not [link for link in page.links if "/work-orders/" in link], "this key has no scope bench"
        plain = {**OURS, "Accept": "*/*"}
        for path in (here, f"{here}/fields", f"{here}/finish"):
            assert_problem(await stranger.get(path, headers=plain), 404)
        for path in (f"{here}/phases/a", f"{here}/fields", f"{here}/finish"):
            assert_problem(await stranger.post(path, data={}, headers=plain), 404)
            assert_problem(await client.post(path, data={}, headers={"Origin": "http://evil.test"}), 403)
