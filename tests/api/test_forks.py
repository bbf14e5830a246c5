"""The bench log on the wire: from the job card to the work to what was fitted, and back to the next job card."""

from pathlib import Path
from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.database.connections import Database
from app.exchange.content_hash import content_hash
from tests.bench.working import CHASSIS, FORK, SERIAL, benches
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio
QUESTIONS = f"/v1/chassis/{CHASSIS}"
CARD = f"{QUESTIONS}/job-card?job=travel-change&to_travel=200"
RIDER = {"rider_mass": "82 kg", "pressure": "70 psi", "exposed_stanchion": 181}


def codes(answer: Any) -> set[tuple[str, str]]:
    """What is wrong, and where."""
    return {(error["code"], error.get("pointer", error.get("parameter"))) for error in answer.json()["errors"]}


async def test_the_next_card_starts_from_what_was_fitted(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        before = content_hash_of(demo)
        id = await bench.register()
        card = await bench.get(f"{CARD}&fork={id}")
        by_hand = await bench.get(
            f"{CARD}&model_year=2023&from_travel=180&wheel_size=622&from_spring={FORK['spring']}"
            "&damper=lommeris-lull&from_spacers=2"
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
        card = {"chassis": CHASSIS, "fork": id, "job": "travel-change", "to_travel": 200}
        elsewhere = {**card, "chassis": "lommeris-smirr-35"}
        found = (await bench("POST", "/v1/job-cards", {"cards": [card, elsewhere]})).json()
        assert (found["made"], found["refused"]) == (1, 1)
        assert found["cards"][0]["card"] == await bench.get(f"{CARD}&fork={id}")
        assert found["cards"][1]["problem"]["errors"][0]["code"] == "fork-of-another-chassis"
        theirs = (await other("POST", "/v1/job-cards", {"cards": [card]})).json()
        assert theirs["cards"][0]["status"] == 404, "a fork of another shop is none"
        nobody = (await bench.service.client.post("/v1/job-cards", json={"cards": [card]})).json()
        assert nobody["cards"][0]["status"] == 403, "this key has no scope bench"


async def test_what_is_given_beats_what_is_noted(demo: Database, tmp_path: Path) -> None:
    async with benches(demo, tmp_path) as (bench, _, _):
        id = await bench.register()
        noted = await bench.get(f"{QUESTIONS}/sheet?fork={id}")
        assert noted["configuration"] == {
            "travel": noted["configuration"]["travel"], "model_year": 2023, "spring": FORK["spring"],
            "damper": "lommeris-lull", "wheel_size": 622,
        }  # fmt: skip
        other = await bench.get(f"{QUESTIONS}/sheet?fork={id}&travel=190&wheel_size=584")
        assert (other["configuration"]["travel"]["value"], other["configuration"]["wheel_size"]) == (190, 584)
        assert "spring" not in other["configuration"], "a spring of another travel was taken from the fork"
        pinned = await bench("GET", f"{QUESTIONS}/sheet?fork={id}&revision=1")
        assert pinned.headers["cache-control"] == "private, no-store"
        elsewhere = await bench("GET", f"/v1/chassis/lommeris-smirr-35/sheet?fork={id}")
        assert_problem(elsewhere, 422, code="fork-of-another-chassis", parameter="fork", suggestion=CHASSIS)


async def test_two_sags_of_a_rider_become_readings_of_that_rider_only(demo: Database, tmp_path: Path) -> None:
    chassis = "tarnoch-heddle-33-second"
    async with benches(demo, tmp_path) as (bench, _, _):
        fits = (await bench.get(f"/v1/chassis/{chassis}/fits?travel=150&model_year=2023&wheel_size=622"))["fits"]
        spring = fits[0]["spring"]["id"]
        body = {"chassis": chassis, "model_year": 2023, "spring": spring, "wheel_size": 622, "damper": "tarnoch-tappet"}
        id = await bench.register(travel=150, **body)
        asked = f"/v1/chassis/{chassis}/setup?fork={id}&sag=24"
        sags = [{"sag": "38 mm", "pressure": "72 psi"}, {"sag": "33mm", "pressure": "80psi"}]
        await bench.record(id, "lower-leg-service", done_on="2026-01-05", measured={"rider_mass": 80, "sags": sags})
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
        answer = await bench.get(f"/v1/forks/{id}/due?on=2024-08-28&hours=65")
        lower = next(each for each in answer["due"] if each["operation"] == "lower-leg-service")
        # interval-haar-42-lower-leg of the demo: 40 hours or 6 months
        assert (lower["due_on"], lower["days_left"], lower["due_at_hours"]) == ("2024-08-29", 1, 70)
        assert (lower["state"], lower["hours_left"]) == ("not due", 5)
        hard = await bench.get(f"/v1/forks/{id}/due?on=2024-08-28&hours=65&riding=park")
        park = next(each for each in hard["due"] if each["operation"] == "lower-leg-service")
        assert (park["interval"]["riding"], park["due_on"], park["state"]) == ("park", "2024-05-29", "due")
        label = (await bench("GET", f"/v1/forks/{id}/label.txt")).text
        assert "lower leg service, 2024-02-29, 30 h" in label
        assert "Volume spacers: 2, at most 3" in label.splitlines()
        assert SERIAL not in label


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
        body = {**FORK, "travel": 200, "spacers": 9}
        assert_problem(await bench("PUT", f"/v1/forks/{id}", body), 428)
        put = await bench("PUT", f"/v1/forks/{id}", body, If_Match=read.headers["etag"])
        assert put.status_code == 200, put.text
        assert put.json()["unlisted"], "a 180 mm spring does not give 200 mm in any document"
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
    """One hash of all that the catalogue holds."""
    with Catalogue(database).snapshot() as snapshot:
        return content_hash(snapshot)
