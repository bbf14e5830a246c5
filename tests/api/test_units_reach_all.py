"""`units=` reaches every figure of an answer, and every figure is what its kind says."""

from collections.abc import AsyncIterator, Iterator
from typing import Any

import httpx
import pytest

from app.catalogue.catalogue import Catalogue
from app.units.preferences import SYSTEM_UNITS
from tests.api.asking import asking

pytestmark = pytest.mark.anyio

MEMBERS = {
    "exact": ({"value"},),
    "toleranced": ({"value", "min"}, {"value", "max"}, {"value", "min", "max"}),
    "range": ({"min", "max"},),
    "at_most": ({"max"},),
    "at_least": ({"min"},),
    "estimate": ({"value", "min", "max"},),
}
RADDLE = "/v1/chassis/tarnoch-raddle-37"
ADDRESSES = (
    "/v1/chassis/lommeris-haar-42/job-card?job=travel-change&from_travel=180&to_travel=200&wheel_size=29&rider_mass=80",
    f"{RADDLE}/fits?travel=160",
    f"{RADDLE}/sheet?travel=160&model_year=2023&wheel_size=29",
    f"{RADDLE}/setup?travel=160&model_year=2023&wheel_size=29&rider_mass=80&altitude=2000",
    "/v1/chassis/quembry-trivet-35/sheet",
    "/v1/frames/gorsewade-stile-l/fork-check?chassis=tarnoch-raddle-37&travel=170&wheel_size=29",
    "/v1/identify?stanchion_diameter=37&axle_diameter=20&wheel_size=29",
    "/v1/identify",
    "/v1/springs/tarnoch-raddle-37-spring-160/fits",
    "/v1/search?q=raddle+torque",
    "/v1/search?q=raddle+limit",
)
METRIC = {unit for kind, unit in SYSTEM_UNITS["metric"].items() if unit != SYSTEM_UNITS["imperial"][kind]}


def figures(value: Any, place: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every quantity of an answer, with its place."""
    if isinstance(value, list):
        for number, inner in enumerate(value):
            yield from figures(inner, f"{place}/{number}")
    elif isinstance(value, dict):
        if "ucum" in value and "text" in value:
            yield place, value
        else:
            for name, inner in value.items():
                yield from figures(inner, f"{place}/{name}")


@pytest.fixture
async def client(loaded: Catalogue) -> AsyncIterator[httpx.AsyncClient]:
    async with asking(loaded.database) as client:
        yield client


@pytest.mark.parametrize("address", ADDRESSES)
async def test_no_figure_stays_metric_when_imperial_is_asked_for(client: httpx.AsyncClient, address: str) -> None:
    response = await client.get(f"{address}{'&' if '?' in address else '?'}units=imperial")
    assert response.status_code == 200, response.text
    found = list(figures(response.json()))
    assert found
    assert [place for place, each in found if each["unit"] in METRIC] == []


@pytest.mark.parametrize("address", ADDRESSES)
async def test_every_figure_has_the_members_of_its_kind(client: httpx.AsyncClient, address: str) -> None:
    for place, each in figures((await client.get(address)).json()):
        assert {*each} & {"value", "min", "max"} in MEMBERS[each["kind"]], place
        assert ("share_percent" not in each) or each["kind"] == "estimate", place
        if "target" in each:
            assert each["kind"] == "range", place
            assert each["min"] <= each["target"] <= each["max"], place
        if each["kind"] == "at_most":
            assert each["text"].startswith("≤ "), place


async def test_a_range_that_is_set_has_a_target_and_no_value(client: httpx.AsyncClient) -> None:
    """Against the demo's own rows: a torque without a value has the middle of its limits to set."""
    rows = (await client.get("/v1/torques?limit=200")).json()["rows"]
    ranges = [row for row in rows if "min" in row and "max" in row and "value" not in row]
    assert ranges
    for row in ranges:
        sheet = (await client.get(f"/v1/chassis/{row['chassis']}/sheet")).json()
        shown = next((each["torque"] for each in sheet["torques"] if each["id"] == row["id"]), None)
        if shown is not None:
            assert (shown["kind"], "value" in shown) == ("range", False)
            assert shown["target"] == pytest.approx((float(row["min"]) + float(row["max"])) / 2, abs=0.5)
