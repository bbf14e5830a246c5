"""The bench log through forms: a form records what the equivalent JSON request records, and is refused alike."""

import html
import re
from typing import Any

import pytest

from tests.api.reading_html import Page
from tests.bench.browsing import FORM, OURS, browser, signed_in, token_of
from tests.bench.working import CHASSIS, Bench
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio
Two = tuple[Bench, Bench]
JOB = {
    "job": "lower-leg-service", "done_on": "2026-03-02", "hours": "41.5", "pressure": "70", "sag": "36 mm",
    "rider_mass": "82 kg", "rebound_clicks": "7", "spacers": "1", "note": "bush worn\r\nlook again",
}  # fmt: skip
SENT = {
    "job": "lower-leg-service", "done_on": "2026-03-02", "hours": 41.5, "fitted": {"spacers": 1},
    "measured": {"pressure": "70", "sag": "36 mm", "rider_mass": "82 kg", "rebound_clicks": 7},
    "note": "bush worn\nlook again",
}  # fmt: skip


def hidden(html: str, name: str) -> str:
    found = re.search(rf'<input type="hidden" name="{name}" value="([^"]*)">', html)
    assert found is not None, name
    return found[1].replace("&amp;", "&")


def as_recorded(service: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in service.items() if name not in ("number", "recorded_at")}


async def test_a_job_by_form_is_the_job_a_program_records(shops: Two) -> None:
    bench, _ = shops
    by_form, by_program = await bench.register(serial="FORM"), await bench.register(serial="PROGRAM")
    await bench.record(by_program, SENT["job"], **{name: value for name, value in SENT.items() if name != "job"})
    address = f"/v1/forks/{by_form}/record"
    async with signed_in(bench) as client:
        html = (await client.get(address, headers=OURS)).text
        form = {**JOB, "sent": hidden(html, "sent")}
        for _ in range(2):  # the second is a second tap on the button
            answer = await client.post(address, data=form, headers=OURS)
            assert (answer.status_code, answer.headers["location"]) == (303, f"/v1/forks/{by_form}")
        one, two = [(await bench.get(f"/v1/forks/{id}/services"))["services"] for id in (by_form, by_program)]
        assert [as_recorded(each) for each in one] == [as_recorded(each) for each in two]
        other_content = await client.post(address, data={**form, "hours": "42"}, headers=OURS)
        assert other_content.status_code == 422
        assert "was used for another request" in other_content.text
    (entry,) = {(each["status"], each["done"]) for each in bench.service.audit() if each["path"] == address} - {
        (422, False)
    }
    assert entry == (303, True)


async def test_what_is_refused_is_said_beside_its_field_and_all_that_was_typed_stays(shops: Two) -> None:
    bench, _ = shops
    id = await bench.register()
    address = f"/v1/forks/{id}/record"
    wrong = {
        "done_on": "2999-01-01", "pressure": "70 kg", "sag": "lots", "hours": "many", "rebound_clicks": "7.5",
        "spring": "no-such-spring", "travel": "9 m",
    }  # fmt: skip
    async with signed_in(bench) as client:
        for name, value in wrong.items():
            typed = {**JOB, name: value, "note": "<b>kept</b>", "sent": "a" * 20}
            answer = await client.post(address, data=typed, headers=OURS)
            assert answer.status_code == 422, name
            page = Page(answer.text)
            assert f'aria-describedby="w-{name}"' in answer.text, name
            assert answer.text.count("<strong id=") == 1, name
            assert value in answer.text
            assert "&lt;b&gt;kept&lt;/b&gt;" in answer.text
            assert 'value="41.5"' in answer.text or name == "hours"
            assert "Not recorded" in page.text
        as_program = {**SENT, "measured": {"pressure": "70 kg"}}
        refused = (await bench("POST", f"/v1/forks/{id}/services", as_program)).json()["errors"][0]["text"]
        answer = await client.post(address, data={**JOB, "pressure": "70 kg", "sent": "a" * 20}, headers=OURS)
        assert refused[1:] in Page(answer.text).text
        assert (await bench.get(f"/v1/forks/{id}/services"))["services"] == []


async def test_what_was_typed_outlives_the_session_and_is_sent_once_more(shops: Two) -> None:
    """Only the form's own fields come back, escaped; nothing is recorded before the browser signs in again."""
    bench, _ = shops
    id = await bench.register()
    address = f"/v1/forks/{id}/record"
    async with signed_in(bench) as client:
        form = {**JOB, "note": '"><b>kept</b>', "sent": hidden((await client.get(address, headers=OURS)).text, "sent")}
        await client.post("/sign-out", headers={**OURS, **FORM})
        refused = await client.post(address, data=form, headers=OURS)
        assert refused.status_code == 401
        assert refused.headers["cache-control"] == "private, no-store"
        page = Page(refused.text)
        assert "Nothing was recorded" in page.text
        assert "<b>kept" not in refused.text
        again = {name: html.unescape(hidden(refused.text, name)) for name in form}
        assert again == form
        assert (await bench.get(f"/v1/forks/{id}/services"))["services"] == []
        unknown = await client.post(address, data={**form, "evil": "x"}, headers=OURS)
        assert unknown.status_code == 422
        elsewhere = await client.post(address, data=form, headers={**OURS, "Sec-Fetch-Site": "cross-site"})
        assert elsewhere.status_code == 403
        assert "kept" not in elsewhere.text
        await client.post("/sign-in", data={"key": token_of(bench)}, headers=OURS)
        assert (await client.post(address, data=again, headers=OURS)).status_code == 303
    assert len((await bench.get(f"/v1/forks/{id}/services"))["services"]) == 1


async def test_a_form_asks_for_sign_in_scope_shop_and_origin_before_its_body(shops: Two) -> None:
    bench, other = shops
    id = await bench.register()
    address = f"/v1/forks/{id}/record"
    plain = {**OURS, "Accept": "*/*"}
    async with browser(bench) as nobody, signed_in(bench) as client, signed_in(other) as stranger:
        for path in (address, "/v1/forks/register"):
            assert_problem(await nobody.post(path, data=JOB, headers=plain), 401)
            assert_problem(await nobody.post(path, data=JOB, headers={**plain, **bench.key}), 401)
            assert_problem(await client.post(path, data=JOB, headers={"Origin": "http://evil.test"}), 403)
            assert_problem(await client.post(path, data=JOB), 403)
            assert_problem(await client.post(path, json=SENT, headers=plain), 415)
            huge = await client.post(path, content=b"note=" + b"a" * 40_000, headers={**plain, **FORM})
            assert_problem(huge, 413)
        assert_problem(await stranger.post(address, data=JOB, headers=plain), 404)
        assert_problem(await stranger.get(address, headers=plain), 404)
        editor = {"key": str(bench.service.keys["edit"].token)}
        assert (await client.post("/sign-in", data=editor, headers=OURS)).headers["location"] == "/"
        for path in (address, "/v1/forks/register"):
            assert_problem(await client.post(path, data=JOB, headers=plain), 403)
            assert_problem(await client.get(path, headers=plain), 403)
    assert (await bench.get(f"/v1/forks/{id}/services"))["services"] == []


async def test_a_fork_is_registered_from_the_page_of_its_chassis(shops: Two) -> None:
    bench, _ = shops
    async with signed_in(bench) as client:
        chassis = Page((await client.get(f"/v1/chassis/{CHASSIS}", headers=OURS)).text)
        address = f"/v1/forks/register?chassis={CHASSIS}"
        assert address in chassis.links
        html = (await client.get(address, headers=OURS)).text
        assert '<option value="lommeris-haar-42-spring-180">' in html
        form = {
            "chassis": hidden(html, "chassis"), "serial": "BY FORM 1", "model_year": "2023", "travel": "180",
            "spring": "lommeris-haar-42-spring-180", "wheel_size": "622", "spacers": "2", "first_used_on": "2025-04-01",
        }  # fmt: skip
        answer = await client.post("/v1/forks/register", data=form, headers=OURS)
        assert answer.status_code == 303
        fork = (await client.get(answer.headers["location"])).json()["fork"]
        assert (fork["serial"], fork["chassis"], fork["first_used_on"]) == ("BY FORM 1", CHASSIS, "2025-04-01")
        assert (fork["configuration"]["travel"]["text"], fork["configuration"]["spacers"]) == ("180 mm", 2)
        again = await client.post("/v1/forks/register", data=form, headers=OURS)
        assert again.status_code == 409
        assert 'aria-describedby="w-serial"' in again.text
        assert (await client.get("/v1/forks")).json()["total"] == 1
        assert "First find the fork" in (await client.get("/v1/forks/register", headers=OURS)).text
        assert (await client.get("/v1/forks/register?chassis=no-such", headers=OURS)).status_code == 404


async def test_a_card_of_a_fork_leads_to_the_form_with_the_card_in_it(shops: Two) -> None:
    bench, _ = shops
    id = await bench.register()
    async with signed_in(bench) as client:
        card = f"/v1/chassis/{CHASSIS}/job-card?fork={id}&job=lower-leg-service&rider_mass=80"
        page = await client.get(card, headers=OURS)
        assert page.status_code == 200, page.text
        (link,) = [each for each in Page(page.text).links if each.startswith(f"/v1/forks/{id}/record?")]
        html = (await client.get(link, headers=OURS)).text
        assert '<option value="lower-leg-service" selected>' in html
        form = {"job": "lower-leg-service", **{name: hidden(html, name) for name in ("job_card", "revision", "sent")}}
        assert (await client.post(f"/v1/forks/{id}/record", data=form, headers=OURS)).status_code == 303
        (service,) = (await client.get(f"/v1/forks/{id}/services")).json()["services"]
        assert service["job_card"] == f"{card}&revision=1"
        assert (await client.get(service["job_card"], headers=OURS)).status_code == 200
