"""The bicycle drawn by fork-check: measuring the drawing gives back the figures of the answer."""

import math
from collections.abc import Iterator
from typing import Any
from xml.etree import ElementTree as ET

import httpx
import pytest

from app.database.connections import Database
from app.web.representation.bike_svg import bike_change
from tests.api.asking import asking
from tests.conftest import Fresh

pytestmark = pytest.mark.anyio

SVG = "{http://www.w3.org/2000/svg}"
Point = tuple[float, float]


@pytest.fixture(scope="module")
def demo(fresh_database: Fresh) -> Iterator[Database]:
    with fresh_database("sqlite", True) as url:
        database = Database(url)
        yield database
        database.close()


def classed(root: ET.Element, state: str, name: str) -> ET.Element:
    group = next(each for each in root.iter(f"{SVG}g") if each.get("class") == state)
    return next(each for each in group if each.get("class") == name)


def points(drawn: ET.Element) -> list[Point]:
    """Corners of a line, y upwards."""
    pairs = [pair.split(",") for pair in drawn.get("points", "").split()]
    return [(float(x), -float(y)) for x, y in pairs]


def centre(circle: ET.Element) -> Point:
    return float(circle.get("cx", "")), -float(circle.get("cy", ""))


def measured(root: ET.Element, state: str, wheelbase_mm: float) -> dict[str, float]:
    """Measures the drawing with ruler and protractor; the wheelbase gives its scale."""
    rear, front = (classed(root, state, f"{which}-wheel") for which in ("rear", "front"))
    mm = wheelbase_mm / (centre(front)[0] - centre(rear)[0])
    axle, foot, crown = points(classed(root, state, "fork"))
    _, bottom, lower, top, _ = points(classed(root, state, "frame"))
    assert axle == centre(front)
    assert lower == crown
    ground = -max(float(line.get("y2", "")) for line in root.iter(f"{SVG}line") if line.get("x1") == "0")
    return {
        "mm": mm,
        "head_angle": math.degrees(math.atan2(crown[1] - foot[1], foot[0] - crown[0])),
        "offset": math.dist(axle, foot) * mm,
        "straight": math.dist(axle, crown) * mm,
        "along": math.dist(foot, crown) * mm,
        "bb_height": (bottom[1] - ground) * mm,
        "chainstay": math.dist(centre(rear), bottom) * mm,
        "reach": (top[0] - bottom[0]) * mm,
        "stack": (top[1] - bottom[1]) * mm,
        "rear_gap": centre(rear)[1] - ground - float(rear.get("r", "")),
        "front_gap": centre(front)[1] - ground - float(front.get("r", "")),
    }


async def frames(client: httpx.AsyncClient) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = (await client.get("/v1/frames")).json()["rows"]
    return rows


def drawn_at(figure: dict[str, Any]) -> float:
    """The length that a drawing shows; of a range its middle."""
    return float(figure["value"] if "value" in figure else (figure["min"] + figure["max"]) / 2)


@pytest.mark.parametrize("unit", ["mm", "in"])
async def test_the_drawing_measures_what_the_answer_says(demo: Database, unit: str) -> None:
    """Lengths to 1.5 mm (figures are rounded to 0.1 mm, inches to their hundredth), angles to 0.1°. The answer has
    neither chainstay length nor wheels; they are in the frame's row, and both must come out right."""
    drawn = 0
    async with asking(demo) as client:
        for frame in await frames(client):
            address, query = f"/v1/frames/{frame['id']}/fork-check", "chassis=quembry-trivet-35&travel=150"
            answer = (await client.get(f"{address}?{query}")).json()
            shown = await client.get(f"{address}.svg?{query}&length_unit={unit}")
            assert shown.headers["content-type"] == "image/svg+xml"
            root = ET.fromstring(shown.content)
            geometry = answer["geometry"]
            sag = float(frame.get("geometry_sag_mm", 0))
            straight = frame.get("axle_to_crown_measured") == "straight"
            for state in ("before", "after"):
                figures = {name: drawn_at(each) for name, each in geometry[state].items()}
                found = measured(root, state, figures["wheelbase"])
                where = f"{frame['id']} {state}"
                assert found["head_angle"] == pytest.approx(figures["head_angle"], abs=0.1), where
                for name in ("offset", "bb_height", "reach", "stack"):
                    assert found[name] == pytest.approx(figures[name], abs=1.5), f"{where}: {name}"
                length = figures["axle_to_crown"]
                along = (length**2 - figures["offset"] ** 2) ** 0.5 if straight else length
                assert found["along"] == pytest.approx(along - sag, abs=1.5), where
                assert found["chainstay"] == pytest.approx(float(frame["chainstay_mm"]), abs=2.0), where
                assert found["rear_gap"] == pytest.approx(0, abs=0.01)
                assert found["front_gap"] == pytest.approx(0, abs=0.01)
                rear = float(frame["wheel_rear"]) / 2 + float(frame["tyre_rear_mm"])
                circle = float(classed(root, state, "rear-wheel").get("r", ""))
                assert circle * found["mm"] == pytest.approx(rear, abs=1.0), where
                drawn += 1
    assert drawn >= 20


async def test_before_and_after_differ_without_colour_and_are_told_in_words(demo: Database) -> None:
    async with asking(demo) as client:
        address = "/v1/frames/hollinmere-wicket-m/fork-check"
        query = "chassis=quembry-trivet-35&travel=150"
        answer = (await client.get(f"{address}?{query}")).json()
        root = ET.fromstring((await client.get(f"{address}.svg?{query}")).content)
        page = (await client.get(f"{address}.html?{query}")).text
    groups = {each.get("class"): each for each in root.iter(f"{SVG}g")}
    assert groups["before"].get("stroke-dasharray") != groups["after"].get("stroke-dasharray")
    assert groups["before"].get("stroke-width") != groups["after"].get("stroke-width")
    described = root.findtext(f"{SVG}desc") or ""
    for state in ("before", "after"):
        for name in ("axle_to_crown", "head_angle", "bb_height", "wheelbase"):
            assert answer["geometry"][state][name]["text"] in described
    assert page.count('class="after"') == 1
    assert "invented data" in ET.tostring(root, encoding="unicode")


@pytest.mark.parametrize(("gone", "told"), [("reach", "no reach"), ("bb_drop", "no bottom bracket drop")])
async def test_what_is_unknown_is_not_drawn_but_named(demo: Database, gone: str, told: str) -> None:
    async with asking(demo) as client:
        address = "/v1/frames/hollinmere-wicket-m/fork-check?chassis=quembry-trivet-35&travel=150"
        answer = (await client.get(address)).json()
    del answer["geometry"]["after"][gone]
    root = ET.fromstring(bike_change(answer))
    assert not list(root.iter(f"{SVG}circle"))
    assert told in " ".join(each.text or "" for each in root.iter(f"{SVG}text"))
    del answer["geometry"]
    answer["gaps"] = [{"text": "The catalogue does not say the wheelbase."}]
    assert "does not say the wheelbase" in (ET.fromstring(bike_change(answer)).findtext(f"{SVG}desc") or "")
