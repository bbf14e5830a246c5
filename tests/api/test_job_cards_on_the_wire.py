"""Job cards over HTTP: one card, a fleet with one shopping list, and a batch of many questions."""

from collections import Counter
from collections.abc import AsyncIterator
from decimal import Decimal
from math import ceil
from typing import Any

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from tests.api.asking import asking
from tests.problems import assert_problem

pytestmark = pytest.mark.anyio

HEDDLE: dict[str, Any] = {"chassis": "tarnoch-heddle-33-second", "model_year": "2023", "damper": "tarnoch-tappet"}
CARD = "/v1/chassis/lommeris-haar-42/job-card?job=travel-change&from_travel=180&to_travel=200&wheel_size=29"
FLEET: list[dict[str, Any]] = [
    {
        "chassis": "lommeris-haar-42",
        "job": "travel-change",
        "from_travel": "180",
        "to_travel": "200mm",
        "wheel_size": "622",
    },
    {"chassis": "lommeris-haar-42", "job": "full-service", "travel": "190", "wheel_size": "584"},
    {"chassis": "lommeris-haar-42", "job": "lower-leg-service", "travel": "190", "wheel_size": "584"},
    {**HEDDLE, "job": "lower-leg-service", "travel": "150", "wheel_size": "622"},
    {**HEDDLE, "job": "travel-change", "from_travel": "150", "to_travel": "171", "wheel_size": "622"},
    {"chassis": "pellugar-whimbrel-31", "job": "spacer-change", "travel": "120", "spacers": "2"},
]


@pytest.fixture
async def client(loaded: Catalogue) -> AsyncIterator[httpx.AsyncClient]:
    async with asking(loaded.database) as client:
        yield client


async def test_a_card_is_json_or_its_steps_as_csv(client: httpx.AsyncClient) -> None:
    response = await client.get(CARD + "&torque_unit=in-lb")
    card = response.json()
    assert response.status_code == 200, card
    assert {
        "steps",
        "parts",
        "tools",
        "consumables",
        "torques",
        "settings",
        "checks",
        "cautions",
        "gaps",
    } <= card.keys()
    assert all(each["torque"]["unit"] == "in·lbf" and each["torque"]["as_published"] for each in card["torques"])
    table = await client.get(CARD.replace("/job-card?", "/job-card.csv?"))
    assert len(table.text.splitlines()) >= len(card["steps"])


@pytest.mark.parametrize(
    ("query", "code", "parameter"),
    [
        ("", "missing", "job"),
        ("job=wash", "not-a-choice", "job"),
        ("job=travel-change", "undecided", "from_travel"),
        ("job=travel-change&from_travel=180", "undecided", "to_travel"),
        ("job=full-service&travel=190", "undecided", "wheel_size"),
        ("job=travel-change&from_travel=180&to_travel=170&wheel_size=622", "travel-outside", "to_travel"),
        ("job=travel-change&from_travel=18psi&to_travel=190&wheel_size=622", "unit-of-another-kind", "from_travel"),
        ("job=full-service&from_travel=180&to_travel=190&wheel_size=622", "job-keeps-travel", "to_travel"),
        ("job=spacer-change&travel=190&wheel_size=622&spacers=4", "spacers-over-limit", "spacers"),
    ],
)
async def test_what_has_no_card_is_refused_by_name(
    client: httpx.AsyncClient, query: str, code: str, parameter: str
) -> None:
    response = await client.get(f"/v1/chassis/lommeris-haar-42/job-card?{query}")
    assert_problem(response, 422, code=code, parameter=parameter)


async def test_each_card_of_a_fleet_has_its_own_status(client: httpx.AsyncClient) -> None:
    response = await client.post("/v1/job-cards", json={"cards": FLEET})
    found = response.json()
    assert response.status_code == 200, found
    assert [each["status"] for each in found["cards"]] == [200, 200, 200, 200, 422, 200]
    assert (found["made"], found["refused"]) == (5, 1)
    assert found["cards"][4]["problem"]["errors"][0]["code"] == "travel-outside"
    query = "job=full-service&travel=190&wheel_size=584"
    alone = (await client.get(f"/v1/chassis/lommeris-haar-42/job-card?{query}")).json()
    assert found["cards"][1]["card"] == alone


async def test_the_shopping_list_of_a_fleet_is_the_sum_of_its_cards(client: httpx.AsyncClient) -> None:
    found = (await client.post("/v1/job-cards", json={"cards": FLEET})).json()
    cards = [each["card"] for each in found["cards"] if each["status"] == 200]
    counts: Counter[tuple[str, str]] = Counter()
    volumes: Counter[str] = Counter()
    for card in cards:
        counts.update({(part["id"], part["when"]): 0 for part in card["parts"] if part["count"]})
        for part in card["parts"]:
            counts[part["id"], part["when"]] += part["count"]
        for each in card["consumables"]:
            if "need" in each:
                volumes[each["id"]] += Decimal(str(each["need"]["value"]))  # type: ignore[assignment]
    listed = found["shopping_list"]
    assert {(part["id"], part["when"]): part["count"] for part in listed["parts"]} == {
        key: count for key, count in counts.items() if count
    }
    for part in listed["parts"]:
        if "pack_count" in part:
            assert part["packs"] == ceil(part["count"] / part["pack_count"])
    summed = {each["id"]: Decimal(str(each["need"]["value"])) for each in listed["consumables"] if "need" in each}
    assert summed == volumes
    for each in listed["consumables"]:
        if "with_allowance" in each:
            held = sum(pack["size"]["value"] * pack["count"] for pack in each["packs"])
            assert held >= each["with_allowance"]["value"] > each["need"]["value"]
    washers = next(part for part in listed["parts"] if part["id"] == "crush-washer-10")
    assert (washers["count"], washers["packs"]) == (6, 1)  # three forks with two feet each, ten in a pack


@pytest.mark.parametrize(
    ("card", "pointer", "code"),
    [
        ({}, "/cards/0/chassis", "missing"),
        ({"chassis": "No Id"}, "/cards/0/chassis", "wrong-form"),
        ({"chassis": "lommeris-haar-42"}, "/cards/0/job", "missing"),
        ({"chassis": "lommeris-haar-42", "job": "full-service", "wheel": "29"}, "/cards/0/wheel", "unknown-field"),
        ({"chassis": "lommeris-haar-42", "job": "full-service", "units": "metric"}, "/cards/0/units", "unknown-field"),
    ],
)
async def test_a_card_that_cannot_be_read_says_where(
    client: httpx.AsyncClient, card: dict[str, Any], pointer: str, code: str
) -> None:
    found = (await client.post("/v1/job-cards", json={"cards": [card]})).json()
    (only,) = found["cards"]
    assert only["status"] == 422
    assert {"pointer": pointer, "code": code}.items() <= only["problem"]["errors"][0].items()
    assert found["shopping_list"] == {"parts": [], "consumables": []}


async def test_a_fleet_has_at_least_one_card_and_at_most_200(client: httpx.AsyncClient) -> None:
    assert_problem(await client.post("/v1/job-cards", json={"cards": []}), 422, code="too-few", pointer="/cards")
    many = {"cards": [{"chassis": "x"}] * 201}
    assert_problem(await client.post("/v1/job-cards", json=many), 422, code="too-many", pointer="/cards")


async def test_each_question_of_a_batch_has_its_own_status_and_is_answered_as_alone(client: httpx.AsyncClient) -> None:
    questions = [
        "/v1/chassis/lommeris-haar-42/fits?travel=190",
        "/v1/chassis/none/fits",
        "/v1/chassis/lommeris-haar-42/fits?travl=190",
        CARD,
        "/v1/convert?value=7.3&from=N·m&to=psi".replace("·", "%C2%B7"),
        "/v1/units",
        "/v1/chassis?maker=lommeris",
        "/v1/export",
        "/v1/batch",
        "https://elsewhere.test/v1/units",
    ]
    response = await client.post("/v1/batch", json={"questions": questions})
    found = response.json()
    assert response.status_code == 200, found
    assert [each["status"] for each in found["answers"]] == [200, 404, 422, 200, 422, 200, 200, 404, 404, 422]
    assert [each["url"] for each in found["answers"]] == questions
    for each in found["answers"]:
        if each["status"] == 200:
            assert each["answer"] == (await client.get(each["url"])).json()
        else:
            assert each["problem"]["status"] == each["status"]
    assert found["answers"][2]["problem"]["errors"][0]["suggestion"] == "travel"


async def test_a_batch_is_of_one_revision(client: httpx.AsyncClient) -> None:
    pinned = "/v1/chassis/lommeris-haar-42/fits?revision=1"
    body = {"questions": ["/v1/chassis/lommeris-haar-42/fits", pinned]}
    past = (await client.post("/v1/batch?revision=0", json=body)).json()
    assert (past["revision"], [each["status"] for each in past["answers"]]) == (0, [404, 200])
    assert past["answers"][1]["answer"]["revision"] == 1
    assert_problem(await client.post("/v1/batch?revision=99", json=body), 422, code="revision-unknown")
    many = {"questions": ["/v1/units"] * 501}
    assert_problem(await client.post("/v1/batch", json=many), 422, code="too-many", pointer="/questions")
