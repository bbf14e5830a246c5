"""A batch of 500 mixed questions keeps their order, and each gets the status and answer that it gets alone."""

import asyncio
import json
import random
import urllib.parse
from collections import Counter
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import TABLES
from app.database.connections import Database
from app.web.routes import batch as batch_route
from tests.api.asking import asking
from tests.api.walking import decided_sheet, job_card
from tests.api.writing import writing

pytestmark = pytest.mark.anyio

NOT_ASKED_HERE = {
    "/v1/batch": 404, "/v1/export": 404, "/v1/nothing-of-the-kind": 404, "/v1/forks": 404, "/v1/checks": 404,
    "https://elsewhere.test/v1/units": 422, "v1/units": 422, "/v1/units#torque": 422, "/v1/chassis?name=Händel": 422,
}  # fmt: skip
JOBS = ("travel-change", "spacer-change", "lower-leg-service", "full-service", "no-such-job")


@pytest.fixture
async def client(loaded: Catalogue) -> AsyncIterator[httpx.AsyncClient]:
    """A client of the demo at revision 1."""
    async with asking(loaded.database) as client:
        yield client


class Mixture:
    """Random addresses of every kind of lookup, some of them for missing rows or with invalid values."""

    def __init__(self, chance: random.Random, ids: dict[str, list[str]]) -> None:
        self.chance, self.ids = chance, ids

    def question(self) -> str:
        """One address."""
        made = self.chance.choice([self._of_chassis, self._of_row, self._of_list, self._other, self._not_asked_here])
        return made()

    def _id(self, table: str) -> str:
        return self.chance.choice([*self.ids[table], f"{self.ids[table][0]}-not", "NOT AN ID"])

    def _of_chassis(self) -> str:
        question = self.chance.choice(["fits", "sheet", "setup", "job-card", "sheet/changes"])
        given: dict[str, Any] = {
            "travel": self.chance.choice([140, 150, 160, "6.3in", "long", -1]),
            "model_year": self.chance.choice([2019, 2022, 2023, 1890]),
            "wheel_size": self.chance.choice([27.5, 29, 622]),
            "units": self.chance.choice(["metric", "imperial", "royal"]),
            "travell": 150,
        }
        names = self.chance.sample(list(given), self.chance.randint(0, 3))
        asked = {name: given[name] for name in names}
        if question == "job-card":
            asked["job"] = self.chance.choice(JOBS)
        if question == "sheet/changes":
            asked["since"] = self.chance.choice([0, 1, 9])
        path = urllib.parse.quote(f"/v1/chassis/{self._id('chassis')}/{question}")
        return f"{path}?{urllib.parse.urlencode(asked)}" if asked else path

    def _of_row(self) -> str:
        table = self.chance.choice(list(self.ids))
        return urllib.parse.quote(f"/v1/{table}/{self._id(table)}")

    def _of_list(self) -> str:
        table = self.chance.choice(list(self.ids))
        limit = self.chance.choice([1, 3, 500, 0, 10**9])
        return f"/v1/{table}?limit={limit}" + self.chance.choice(
            ["", "&revision=1", "&revision=0", "&q=ra", "&cursor=x"]
        )

    def _other(self) -> str:
        value, unit = self.chance.choice([7.3, -1, "many"]), self.chance.choice(["Nm", "in-lb", "psi", "furlong"])
        frame, fluid = self._id("frames"), self._id("fluids")
        return self.chance.choice([
            "/v1/units", "/v1/rules", "/v1/standards/threads", "/v1/identify?model_year=2023",
            f"/v1/convert?value={value}&from={unit}&to=N%C2%B7m",
            urllib.parse.quote(f"/v1/fluids/{fluid}/alternatives"),
            urllib.parse.quote(f"/v1/frames/{frame}/fork-check") + f"?chassis={self.ids['chassis'][0]}&travel=160",
        ])  # fmt: skip

    def _not_asked_here(self) -> str:
        return self.chance.choice(list(NOT_ASKED_HERE))


def without_id(problem: dict[str, Any]) -> dict[str, Any]:
    """A problem without its request id."""
    return {name: value for name, value in problem.items() if name != "request_id"}


def unpaged(answer: dict[str, Any]) -> dict[str, Any]:
    """The answer, and whether a next page exists: its address includes the revision if a batch gave one."""
    return {name: name in ("next", "next_cursor") or value for name, value in answer.items()}


async def test_five_hundred_mixed_questions_are_answered_as_each_would_be_alone(client: httpx.AsyncClient) -> None:
    tables = [name for name in TABLES if name not in ("steps", "uses")]
    ids = {}
    for name in tables:
        rows = (await client.get(f"/v1/{name}?limit=6")).json()["rows"]
        ids[name] = [row["id"] for row in rows]
    ids = {name: found for name, found in ids.items() if found}
    mixture = Mixture(random.Random(500), ids)
    alone: dict[str, httpx.Response] = {}
    statuses: Counter[int] = Counter()
    asked = [mixture.question() for _ in range(500)]
    response = await client.post("/v1/batch", json={"questions": asked})
    assert response.status_code == 200, response.text[:500]
    answers = response.json()["answers"]
    assert [(each["index"], each["url"]) for each in answers] == list(enumerate(asked))
    for each in answers:
        statuses[each["status"]] += 1
        assert ("answer" in each, "problem" in each) == (each["status"] == 200, each["status"] != 200)
        if each["url"] in NOT_ASKED_HERE:
            assert each["status"] == NOT_ASKED_HERE[each["url"]], each
            continue
        if each["url"] not in alone:
            alone[each["url"]] = await client.get(each["url"])
        single = alone[each["url"]]
        assert each["status"] == single.status_code, each
        if single.status_code == 200:
            assert unpaged(each["answer"]) == unpaged(single.json()), each["url"]
        else:
            assert without_id(each["problem"]) == without_id(single.json()), each["url"]
    assert set(statuses) == {200, 400, 404, 422}
    assert min(statuses.values()) > 5
    assert len(alone) > 250


async def test_a_card_of_a_fleet_is_the_card_that_a_batch_and_the_address_alone_give(client: httpx.AsyncClient) -> None:
    """One mechanism: each card is made or refused in its place, just as at its own address."""
    chance = random.Random(7)
    chassis = [row["id"] for row in (await client.get("/v1/chassis")).json()["rows"]]
    good = []
    for number, id in enumerate(chassis[:5]):
        if address := await job_card(client, id, JOBS[number % 4], await decided_sheet(client, id)):
            asked = dict(urllib.parse.parse_qsl(urllib.parse.urlsplit(address).query))
            good.append({"chassis": id, **asked})
    cards = []
    for _ in range(60):
        card = dict(chance.choice(good))
        if chance.random() < 0.5:
            card[chance.choice(["chassis", "job", "travel", "model_year"])] = chance.choice(["no-such", "999"])
        cards.append(card)
    addresses = [
        f"/v1/chassis/{card['chassis']}/job-card?"
        + urllib.parse.urlencode({name: value for name, value in card.items() if name != "chassis"})
        for card in cards
    ]
    fleet = (await client.post("/v1/job-cards", json={"cards": cards})).json()
    batch = (await client.post("/v1/batch", json={"questions": addresses})).json()["answers"]
    made = 0
    for card, item in zip(fleet["cards"], batch, strict=True):
        assert (card["index"], card["status"]) == (item["index"], item["status"])
        if card["status"] == 200:
            assert card["card"] == item["answer"]
            made += 1
        else:
            assert card["problem"]["detail"] == item["problem"]["detail"] or card["status"] == 422
    assert (fleet["made"], fleet["refused"]) == (made, 60 - made)
    assert 15 < made < 50


async def test_a_batch_is_sent_in_parts_and_counts_each_question(demo: Database, tmp_path: Path) -> None:
    async with writing(demo, tmp_path, batch_rate="700/minute") as service:
        chassis = (await service.client.get("/v1/chassis")).json()["rows"][0]["id"]
        body = {"questions": [f"/v1/chassis/{chassis}/sheet?travel={100 + number % 90}" for number in range(500)]}
        headers = {"content-type": "application/json", "host": "legwork.test"}
        async with service.client.stream("POST", "/v1/batch", json=body, headers=headers) as answer:
            assert answer.status_code == 200
            whole = await answer.aread()
        assert len(json.loads(whole)["answers"]) == 500
        items = batch_route._streamed(1, _made(40, 10_000))
        parts = [len(part) async for part in items]
        assert len(parts) > 4
        assert max(parts) < 2 * batch_route.PART_BYTES
        refused = await service.client.post("/v1/batch", json=body)
        assert refused.status_code == 429
        assert int(refused.headers["retry-after"]) > 0
        assert (await service.client.post("/v1/batch", json={"questions": body["questions"][:200]})).status_code == 200


async def _made(number: int, size: int) -> AsyncIterator[batch_route.Item]:
    for index in range(number):
        yield batch_route.Item(index, "/v1/x", 200, b'"%s"' % (b"x" * size))


async def test_a_batch_that_costs_too_much_refuses_the_rest(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(batch_route, "MOST_BYTES", 20_000)
    async with writing(demo, tmp_path) as service:
        answer = await service.client.post("/v1/batch", json={"questions": ["/v1/units"] * 100})
        statuses = [each["status"] for each in answer.json()["answers"]]
        assert statuses[0] == 200
        assert statuses == sorted(statuses)
        assert statuses[-1] == 503
        assert "Send the questions from here on again" in answer.json()["answers"][-1]["problem"]["detail"]


async def test_one_question_of_all_batches_is_answered_between_others(
    demo: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sixteen batches delay a lookup by a few of their questions, not by one of each."""
    running = most = 0
    answered = batch_route._answered

    async def counted(*arguments: Any) -> tuple[int, bytes]:
        nonlocal running, most
        running += 1
        most = max(most, running)
        try:
            await asyncio.sleep(0)
            return await answered(*arguments)
        finally:
            running -= 1

    monkeypatch.setattr(batch_route, "_answered", counted)
    async with writing(demo, tmp_path) as service:
        body = {"questions": ["/v1/units", "/v1/makers"] * 5}
        answers = await asyncio.gather(*(service.client.post("/v1/batch", json=body) for _ in range(16)))
    assert {answer.status_code for answer in answers} == {200}
    assert most == 1
