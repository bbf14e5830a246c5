"""A unit picker built from `/v1/units` alone: it reads typed units, converts and displays as the service does."""

import random
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from typing import Any

import httpx
import pytest

from app.units.table import KINDS

pytestmark = pytest.mark.anyio

Unit = dict[str, Any]


class Picker:
    """Uses only the answer: kinds, every spelling of a unit, factors, steps, and the unit that each system shows."""

    def __init__(self, kinds: list[dict[str, Any]]) -> None:
        self.kinds = {row["kind"]: row for row in kinds}
        self.spelt: dict[tuple[str, str], Unit] = {}
        for row in kinds:
            for unit in row["units"]:
                for spelling in {unit["unit"], *unit["spellings"]}:
                    assert (row["kind"], spelling) not in self.spelt, f"{spelling} is two units of {row['kind']}"
                    self.spelt[row["kind"], spelling] = unit

    def converted(self, value: str, start: Unit, target: Unit) -> Decimal:
        """Through the base unit: `base = value · factor + offset`."""
        with localcontext() as context:
            context.prec = 40
            base = Decimal(value) * Decimal(start["factor"]) + Decimal(start.get("offset", "0"))
            return (base - Decimal(target.get("offset", "0"))) / Decimal(target["factor"])

    def shown(self, value: Decimal, unit: Unit) -> Decimal:
        """In display steps, halves to even."""
        step = Decimal(unit["display_step"])
        return (value / step).quantize(Decimal(1), ROUND_HALF_EVEN) * step


@pytest.fixture
async def picker(client: httpx.AsyncClient) -> Picker:
    return Picker((await client.get("/v1/units")).json()["kinds"])


async def test_it_has_every_kind_with_all_that_a_picker_needs(picker: Picker) -> None:
    assert list(picker.kinds) == list(KINDS)
    for row in picker.kinds.values():
        names = [unit["unit"] for unit in row["units"]]
        assert len(names) == len(set(names)) > 0
        assert row["meaning"]
        assert row["base"]
        for system in ("metric", "imperial"):
            assert row.get(system) in [*names, None], system
        for unit in row["units"]:
            assert Decimal(unit["factor"]) > 0
            assert Decimal(unit["display_step"]) > 0
            assert unit["ucum"].isascii()


async def test_every_spelling_it_offers_is_taken_for_that_unit(client: httpx.AsyncClient, picker: Picker) -> None:
    for (kind, spelling), unit in picker.spelt.items():
        given = {"value": "1", "from": spelling, "to": unit["unit"], "round": "none"}
        response = await client.get("/v1/convert", params=given)
        assert response.status_code == 200, (kind, spelling, response.text)
        assert (response.json()["exact"], response.json()["result"]["unit"]) == ("1", unit["unit"]), (kind, spelling)


async def test_it_converts_and_shows_as_the_service_does(client: httpx.AsyncClient, picker: Picker) -> None:
    chance = random.Random(811)
    tried = 0
    for row in picker.kinds.values():
        for _ in range(12):
            start, target = chance.choice(row["units"]), chance.choice(row["units"])
            value = f"{chance.randint(1, 9999)}.{chance.randint(10, 99)}"
            given = {"value": value, "from": start["unit"], "to": target["unit"]}
            answer = (await client.get("/v1/convert", params=given)).json()
            exact = picker.converted(value, start, target)
            assert exact == pytest.approx(Decimal(answer["exact"]), rel=Decimal("1e-24"), abs=Decimal("1e-20"))
            shown = Decimal(str(answer["result"]["value"]))
            assert abs(shown - exact) <= Decimal(target["display_step"]), (given, answer)
            tried += 1
    assert tried == 12 * len(picker.kinds)


async def test_the_unit_a_parameter_overrides_is_one_of_its_kind(client: httpx.AsyncClient, picker: Picker) -> None:
    document = (await client.get("/openapi.json")).json()
    asked = document["paths"]["/v1/chassis/{chassis}/sheet"]["get"]["parameters"]
    overriding = {each["name"] for each in asked if each.get("name", "").endswith("_unit")}
    assert overriding == {row["parameter"] for row in picker.kinds.values() if "parameter" in row}
