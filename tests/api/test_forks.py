"""The bench log over HTTP: from the job card to the work, to the parts fitted, and on to the next job card."""

from pathlib import Path
from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.content_hash import content_hash
from app.database.connections import Database
from tests.bench.working import CHASSIS, FORK, SERIAL, benches
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio
QUESTIONS = f"/v1/chassis/{CHASSIS}"
CARD = f"{QUESTIONS}/job-card?job=travel-change&to_travel=200"
RIDER = {"rider_mass": "82 kg", "pressure": "70 psi", "exposed_stanchion": "181"}


def codes(answer: Any) -> set[tuple[str, str]]:
    """The codes and places of the errors."""
    return {(error["code"], error.get("pointer", error.get("parameter"))) for error in answer.json()["errors"]}


async def test_the_next_card_starts_from_what_was_fitted(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        before = content_hash_of(demo)
        id = await bench.register()
        card = await bench.get(f"{CARD}&fork={id}")
        by_hand = await bench.get(
            f"{CARD}&model_year=2023&from_travel=180&wheel_size=622&from_spring={FORK['spring']}"
            f"&damper=lommeris-lull&from_spacers=2&serial={SERIAL}"
        )
        assert card == by_hand
        assert card["present"]["travel"]["value"] == 180
        spring = card["fit"]["spring"]["id"]
        done = await bench.record(
            id, "travel-change", done_on="2026-03-02", hours=41.5, revision=card["revision"], job_card=CARD,
            fitted={"travel": "200mm", "spring": spring, "spacers": 1}, measured=RIDER,
            parts=[{"part": part["id"]} for part in card["parts"]],
        )  # fmt: skip
        assert done["fork"]["configuration"]["travel"]["text"] == "200 mm"
        assert (done["service"]["revision"], done["service"]["became_present"]) == (card["revision"], True)
        service = await bench.get(f"{QUESTIONS}/job-card?job=lower-leg-service&fork={id}")
        assert service["present"]["travel"]["value"] == 200
        assert service["fit"]["spring"]["id"] == spring
        assert service["settings"]["spacers"] == 1
        back = await bench.get(f"{QUESTIONS}/job-card?job=travel-change&to_travel=180&fork={id}")
        assert (back["present"]["travel"]["value"], back["present_spring"]["id"]) == (200, spring)
        assert content_hash_of(demo) == before, "the bench log is no part of the catalogue"
        assert SERIAL not in bench.service.log.getvalue()


async def test_a_fleet_names_forks_of_the_shop_and_each_card_is_that_of_its_fork(
    demo: Database, tmp_path: Path
) -> None:
    async with benches(demo, tmp_path) as (bench, _, other):
        id = await bench.register()
        card = {"chassis": CHASSIS, "fork": id, "job": "travel-change", "to_travel": "200"}
        elsewhere = {**card, "chassis": "lommeris-smirr-35"}
        found = (await bench("POST", "/v1/job-cards", {"cards": [card, elsewhere]})).json()
        assert (found["made"], found["refused"]) == (1, 1)
        assert found["cards"][0]["card"] == await bench.get(f"{CARD}&fork={id}")
        assert found["cards"][1]["problem"]["errors"][0]["code"] == "fork-of-another-chassis"
        theirs = (await other("POST", "/v1/job-cards", {"cards": [card]})).json()
        assert theirs["cards"][0]["status"] == 404, "a fork of another shop is none"
        nobody = (await bench.service.client.post("/v1/job-cards", json={"cards": [card]})).json()
        assert nobody["cards"][0]["status"] == 403, "this key has no scope bench"


async def test_a_measure_sent_as_a_number_is_refused_with_the_way_to_send_it(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        refused = await bench("POST", "/v1/forks", {**FORK, "travel": 180})
        assert_problem(refused, 422, code="not-text", pointer="/travel")
        assert "text, in quotes" in refused.text
        assert (await bench("POST", "/v1/forks", {**FORK, "travel": "180"})).status_code == 201


async def test_what_is_given_beats_what_is_noted(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        id = await bench.register()
        noted = await bench.get(f"{QUESTIONS}/sheet?fork={id}")
        assert noted["configuration"] == {
            "travel": noted["configuration"]["travel"], "model_year": 2023, "spring": FORK["spring"],
            "damper": "lommeris-lull", "wheel_size": 622, "serial": SERIAL,
        }  # fmt: skip
        other = await bench.get(f"{QUESTIONS}/sheet?fork={id}&travel=190&wheel_size=584")
        assert (other["configuration"]["travel"]["value"], other["configuration"]["wheel_size"]) == (190, 584)
        assert "spring" not in other["configuration"], "a spring of another travel was taken from the fork"
        pinned = await bench("GET", f"{QUESTIONS}/sheet?fork={id}&revision=1")
        assert pinned.headers["cache-control"] == "private, no-store"
        elsewhere = await bench("GET", f"/v1/chassis/lommeris-smirr-35/sheet?fork={id}")
        assert_problem(elsewhere, 422, code="fork-of-another-chassis", parameter="fork", suggestion=CHASSIS)


async def test_the_serial_of_a_fork_decides_and_is_in_no_log_or_metric(demo: Database, tmp_path: Path) -> None:
    """Godwit: a bulletin gives the top caps of a range of serials another torque."""
    godwit = {"chassis": "pellugar-godwit-37", "spring": "pellugar-godwit-37-spring-150", "travel": "150"}
    built = {**godwit, "damper": "pellugar-tidemark"}
    async with benches(demo, tmp_path) as (bench, _, _):
        seen = {}
        for serial in ("21600-77", "21400-77", "?-unreadable"):
            id = await bench.register(**built, serial=serial)
            found = await bench.get(f"/v1/chassis/pellugar-godwit-37/sheet?fork={id}")
            caps = {each["id"] for each in found["torques"] if each["fastener"]["position"] == "top cap"}
            seen[serial] = caps, "serial-unread" in {each["code"] for each in found["cautions"]}
            card = await bench("GET", f"/v1/chassis/pellugar-godwit-37/job-card?job=full-service&fork={id}")
            assert card.status_code == 200, card.text
            shown = {each["id"] for each in card.json()["torques"] if each["fastener"]["position"] == "top cap"}
            assert shown == caps, "the card has each figure that the serial leaves open"
        general, bulletin = "torque-godwit-37-top-cap", "torque-godwit-37-top-cap-note"
        assert seen == {
            "21600-77": ({bulletin}, False),
            "21400-77": ({general}, False),
            "?-unreadable": ({general, bulletin}, True),
        }  # fmt: skip
        texts = [each["text"] for each in card.json()["steps"]]
        assert any("serial numbers 21500-00" in text and "other serial numbers" in text for text in texts), texts
        await bench.get("/v1/chassis/pellugar-godwit-37/sheet?serial=21600-88")
        log, metrics = bench.service.log.getvalue(), (await bench("GET", "/metrics")).text
        assert "serial" in log, "the name of the parameter is logged"
        for serial in (*seen, "21600-88"):
            assert serial not in log
            assert serial not in metrics


async def test_two_sags_of_a_rider_become_readings_of_that_rider_only(demo: Database, tmp_path: Path) -> None:
    chassis = "tarnoch-heddle-33-second"
    async with benches(demo, tmp_path) as (bench, _, _):
        fits = (await bench.get(f"/v1/chassis/{chassis}/fits?travel=150&model_year=2023&wheel_size=622"))["fits"]
        spring = fits[0]["spring"]["id"]
        body = {
            "chassis": chassis,
            "model_year": 2023,
            "spring": spring,
            "wheel_size": "622",
            "damper": "tarnoch-tappet",
        }
        id = await bench.register(travel="150", **body)
        asked = f"/v1/chassis/{chassis}/setup?fork={id}&sag=24"
        sags = [{"sag": "38 mm", "pressure": "72 psi"}, {"sag": "33mm", "pressure": "80psi"}]
        await bench.record(id, "lower-leg-service", done_on="2026-01-05", measured={"rider_mass": "80", "sags": sags})
        found = await bench.get(asked)
        by_hand = await bench.get(
            f"/v1/chassis/{chassis}/setup?travel=150&model_year=2023&spring={spring}&wheel_size=622&damper=tarnoch-tappet"
            "&spacers=2&sag=24&rider_mass=80&reading=38mm@72psi&reading=33mm@80psi"
        )
        assert {each["basis"] for each in found["bases"]} == {each["basis"] for each in by_hand["bases"]}
        assert "measured from two sags" in {each["basis"] for each in found["bases"]}
        lighter = await bench.get(f"{asked}&rider_mass=60")
        assert "measured from two sags" not in {each["basis"] for each in lighter["bases"]}
        await bench.record(id, "spacer-change", done_on="2026-02-05", fitted={"spacers": 1})
        changed = await bench.get(asked)
        assert "measured from two sags" not in {each["basis"] for each in changed["bases"]}


async def test_what_is_due_counts_from_the_last_job(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        id = await bench.register()
        await bench.record(id, "lower-leg-service", done_on="2024-02-29", hours=30)
        answer = await bench.get(f"/v1/forks/{id}/due?on=2024-08-28&hours=65&riding=other")
        lower = next(each for each in answer["due"] if each["operation"] == "lower-leg-service")
        # interval-haar-42-lower-leg of the demo: 40 hours or 6 months
        assert (lower["due_on"], lower["days_left"], lower["due_at_hours"]["text"]) == ("2024-08-29", 1, "70 h")
        assert (lower["state"], lower["hours_left"]["value"]) == ("not due", 5)
        assert answer["riding"] == "other"
        hard = await bench.get(f"/v1/forks/{id}/due?on=2024-08-28&hours=65&riding=park")
        park = next(each for each in hard["due"] if each["operation"] == "lower-leg-service")
        assert (park["interval"]["riding"], park["due_on"], park["state"]) == ("park", "2024-05-29", "due")
        label = (await bench("GET", f"/v1/forks/{id}/label.txt")).text
        assert "lower leg service, 2024-02-29, 30 h" in label
        assert "Volume spacers: 2, at most 3" in label.splitlines()
        assert SERIAL not in label


async def test_the_strictest_riding_counts_until_somebody_says_how_the_fork_is_ridden(
    demo: Database, tmp_path: Path
) -> None:
    # intervals of the demo: 40 h or 6 months, with park riding 20 h or 3 months
    async with benches(demo, tmp_path) as (bench, _, _):
        id = await bench.register()
        await bench.record(id, "lower-leg-service", done_on="2024-02-29", hours=30)
        asked = f"/v1/forks/{id}/due?on=2024-08-28&hours=65"

        async def lower(path: str) -> tuple[str, str | None, dict[str, Any]]:
            answer = await bench.get(path)
            found = next(each for each in answer["due"] if each["operation"] == "lower-leg-service")
            return found["state"], found["interval"].get("riding"), answer

        state, riding, answer = await lower(asked)
        assert (state, riding, "riding" in answer) == ("due", "park", False)
        assert [each["values"] for each in answer["undecided"]] == [["park", "other"]]
        assert "strictest" in (await bench("GET", asked.replace("/due", "/due.txt"))).text.replace("\n", " ")
        assert_problem(await bench("GET", f"{asked}&riding=bikepark"), 422, code="riding-unknown", suggestion="park")
        fork = (await bench.record(id, "spacer-change", done_on="2024-03-01", riding="other"))["fork"]
        assert fork["riding"] == "other"
        state, riding, answer = await lower(asked)
        assert (state, riding, answer["riding"], answer["undecided"]) == ("not due", None, "other", [])
        assert (await lower(f"{asked}&riding=park"))[:2] == ("due", "park")
        wrong = {"job": "full-service", "riding": "moon"}
        assert ("riding-unknown", "/riding") in codes(await bench("POST", f"/v1/forks/{id}/services", wrong))
        done = (await bench.get(f"/v1/forks/{id}/services"))["services"]
        assert [each.get("riding") for each in done] == [None, "other"]


async def test_clicks_are_noted_with_the_end_that_the_damper_counts_from(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        open_ended = {
            "chassis": "quembry-ladle-39", "damper": "quembry-colander", "spring": None, "travel": "170", "spacers": 0,
        }  # fmt: skip
        body = {name: value for name, value in {**FORK, **open_ended}.items() if value is not None}
        answer = await bench("POST", "/v1/forks", body)
        assert answer.status_code == 201, answer.text
        id = answer.json()["fork"]["id"]
        measured = {"rebound_clicks": 4, "compression_clicks": 2}
        shown = (await bench.record(id, "lower-leg-service", measured=measured))["service"]["measured"]
        # the demo's Colander has 13 rebound and 9 compression clicks, counted from open
        assert shown["rebound_clicks"] == {
            "count": 4, "from": "open", "total": 13, "count_from_other_end": 9,
            "text": "4 clicks from open (9 from closed)",
        }  # fmt: skip
        assert shown["compression_clicks"]["text"] == "2 clicks from open (7 from closed)"
        measured["clicks_from"] = "closed"  # type: ignore[assignment]
        shown = (await bench.record(id, "lower-leg-service", measured=measured))["service"]["measured"]
        assert shown["rebound_clicks"]["text"] == "4 clicks from closed (9 from open)"
        for form in ("txt", "html"):
            log = (await bench("GET", f"/v1/forks/{id}/services.{form}")).text
            assert "4 clicks from closed" in log, form
            assert "2 clicks from open" in log, form


async def test_a_spring_decides_the_travel_and_a_contradiction_names_both(demo: Database, tmp_path: Path) -> None:
    """The 180 mm spring of the demo gives 180 mm and nothing else."""
    async with benches(demo, tmp_path) as (bench, _, _):
        without = {name: value for name, value in FORK.items() if name != "travel"}
        answer = await bench("POST", "/v1/forks", without)
        fork = answer.json()["fork"]
        assert fork["configuration"]["travel"]["text"] == "180 mm"
        both = await bench("POST", "/v1/forks", {**FORK, "serial": "other", "travel": "190"})
        assert_problem(both, 422, code="spring-gives-other-travel", pointer="/travel", suggestion="180")
        for named in ("180 mm", "190 mm", str(FORK["spring"])):
            assert named in both.text
        services = f"/v1/forks/{fork['id']}/services"
        alone = {"job": "travel-change", "fitted": {"travel": "190"}}
        assert codes(await bench("POST", services, alone)) == {("spring-gives-other-travel", "/fitted/travel")}
        other = "lommeris-haar-42-spring-190"
        after = await bench.record(fork["id"], "travel-change", fitted={"spring": other})
        assert after["fork"]["configuration"]["travel"]["text"] == "190 mm"
        assert after["service"]["fitted"]["travel"]["text"] == "190 mm"
        card = f"/v1/chassis/{CHASSIS}/job-card?fork={fork['id']}&job=lower-leg-service"
        assert (await bench("GET", card)).status_code == 200
        wrong = await bench("GET", f"{card}&spring={FORK['spring']}")
        assert_problem(wrong, 422, code="other-spring-in-fork", suggestion=other)
        for question in ("sheet", "setup"):
            path = f"/v1/chassis/{CHASSIS}/{question}?spring={other}"
            assert_problem(await bench("GET", f"{path}&travel=180"), 422, code="spring-gives-other-travel")
            assert (await bench.get(path))["configuration"]["travel"]["text"] == "190 mm"


async def test_a_job_entered_late_changes_nothing_that_is_in_it_now(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        id = await bench.register()
        await bench.record(id, "spacer-change", done_on="2026-02-01", hours=50, fitted={"spacers": 3})
        late = await bench.record(id, "spacer-change", done_on="2026-01-01", hours=40, fitted={"spacers": 0})
        assert (late["service"]["became_present"], late["fork"]["configuration"]["spacers"]) == (False, 3)
        body = {"job": "full-service", "done_on": "2026-01-15", "hours": 60}
        back = await bench("POST", f"/v1/forks/{id}/services", body)
        assert_problem(back, 422, code="hours-go-back", pointer="/hours", suggestion="50")


async def test_the_same_request_again_is_one_job(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        id = await bench.register()
        path, body = f"/v1/forks/{id}/services", {"job": "lower-leg-service", "hours": 12}
        first, again = [await bench("POST", path, body, Idempotency_Key="job-of-monday") for _ in range(2)]
        assert first.json() == again.json()
        assert len((await bench.get(path))["services"]) == 1
        other = await bench("POST", path, {**body, "hours": 13}, Idempotency_Key="job-of-monday")
        assert_problem(other, 422, code="idempotency-key-reused")


async def test_what_is_wrong_with_a_body_is_named_at_its_place(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, two, other):
        wrong = await bench("POST", "/v1/forks", {**FORK, "spring": "lommeris-haar-42-spring-18", "damper": "none"})
        assert codes(wrong) == {("id-unknown", "/spring"), ("id-unknown", "/damper")}
        bad = await bench("POST", "/v1/forks", {**FORK, "travel": "180 psi", "first_used_on": "2025-02-29"})
        assert {pointer for _, pointer in codes(bad)} == {"/travel", "/first_used_on"}
        id = await bench.register()
        twice = await two("POST", "/v1/forks", FORK)
        assert_problem(twice, 409, code="serial-registered", suggestion=id)
        assert (await other("POST", "/v1/forks", FORK)).status_code == 201, "each shop has its own serials"
        services = f"/v1/forks/{id}/services"
        assert_problem(await bench("POST", services, {"job": "polish"}), 422, code="job-unknown", pointer="/job")
        future = {"job": "full-service", "done_on": "2999-01-01", "measured": {"pressure": "7 kg"}}
        assert ("unit-of-another-kind", "/measured/pressure") in codes(await bench("POST", services, future))
        del future["measured"]
        assert_problem(await bench("POST", services, future), 422, code="day-to-come", pointer="/done_on")
        fitted = {"job": "full-service", "fitted": {"fluids": [{"chamber": "damper", "fluid": "honey"}]}}
        faults = codes(await bench("POST", services, fitted))
        assert faults == {("id-unknown", "/fitted/fluids/0/fluid")}


async def test_a_fork_is_put_right_with_its_tag_and_told_where_nobody_lists_it(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        id = await bench.register()
        read = await bench("GET", f"/v1/forks/{id}")
        assert read.json()["unlisted"] == []
        body = {**FORK, "spacers": 9}
        assert_problem(await bench("PUT", f"/v1/forks/{id}", body), 428)
        put = await bench("PUT", f"/v1/forks/{id}", body, If_Match=read.headers["etag"])
        assert put.status_code == 200, put.text
        assert put.json()["unlisted"], "no document lists nine spacers"
        assert_problem(await bench("PUT", f"/v1/forks/{id}", body, If_Match=read.headers["etag"]), 412)


async def test_recent_configurations_and_the_list_are_paged_and_name_no_other(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, two, other):
        ids = [await bench.register(serial=f"S{number}", spacers=number % 2) for number in range(5)]
        recent = (await two.get("/v1/forks/recent-configurations"))["configurations"]
        assert [(each["configuration"]["spacers"], each["forks"]) for each in recent] == [(0, 3), (1, 2)]
        assert not any(word in str(recent) for word in [*ids, "S1"])
        seen, path = [], "/v1/forks?limit=2"
        while path:
            page = await two.get(path)
            seen += [fork["id"] for fork in page["forks"]]
            path = page.get("next", "")
        assert sorted(seen) == sorted(ids)
        assert len(seen) == page["total"] == 5
        assert [fork["id"] for fork in (await bench.get("/v1/forks?serial=S3"))["forks"]] == [ids[3]]
        assert (await other.get("/v1/forks"))["total"] == 0
        assert (await other.get("/v1/forks/recent-configurations"))["configurations"] == []


async def test_an_export_has_all_that_is_kept(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        id = await bench.register(first_used_on="2025-05-01")
        await bench.record(id, "full-service", note="bushings tight", measured=RIDER)
        found = await bench.get(f"/v1/forks/{id}/export")
        assert (found["fork"]["serial"], found["fork"]["first_used_on"]) == (SERIAL, "2025-05-01")
        measured = found["services"][0]["measured"]
        assert measured["pressure"]["text"] == "70 psi"
        assert measured["exposed_stanchion"]["unit"] == "mm"
        assert found["services"][0]["note"] == "bushings tight"


def content_hash_of(database: Database) -> str:
    """A hash of everything in the catalogue."""
    with Catalogue(database).snapshot() as snapshot:
        return content_hash(snapshot)
