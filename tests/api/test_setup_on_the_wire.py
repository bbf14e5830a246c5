"""Set-up over HTTP: repeated parameters, refusals by name, and the drawing compared with the figures of the JSON."""

import itertools
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from app.database.connections import Database
from app.web.representation.spring_curve_svg import spring_curve
from tests.api.asking import asking
from tests.problems import assert_problem
from tests.questions.setup_rows import ask, common, fit, guide, spring
from tests.questions.storing import store
from tests.questions.test_setup_coil import rows as coils

pytestmark = pytest.mark.anyio

SVG = "{http://www.w3.org/2000/svg}"
FORBIDDEN = {"script", "style", "foreignObject", "image", "a", "use"}


def drawn(answer: Any) -> ET.Element:
    """The parsed drawing; fails on anything that a strict content policy forbids."""
    root = ET.fromstring(spring_curve(answer))
    for element in root.iter():
        assert element.tag.removeprefix(SVG) not in FORBIDDEN
        assert not any(name == "style" or name.startswith("on") or "href" in name for name in element.attrib)
    return root


def of_class(root: ET.Element, name: str) -> list[ET.Element]:
    return [element for element in root.iter() if element.get("class") == name]


def scale(ticks: list[ET.Element], axis: str, shift: float) -> Any:
    """Converts a position on the drawing back to a value, using the two outermost ticks and their labels."""
    (low, at_low), (high, at_high) = (
        (float(tick.text or ""), float(tick.get(axis) or "") - shift) for tick in (ticks[0], ticks[-1])
    )
    return lambda at: low + (at - at_low) * (high - low) / (at_high - at_low)


def test_the_marks_of_the_drawing_are_the_numbers_of_the_answer() -> None:
    answer = ask(spring(), fit(), rider_mass="80", sag="25")
    root = drawn(answer)
    travel = scale(of_class(root, "travel-tick"), "x", 0)
    force = scale(of_class(root, "force-tick"), "y", 4)
    curves = of_class(root, "curve")
    assert len(curves) == len(answer["by_spacers"]) == 4
    for curve, row in zip(curves, answer["by_spacers"], strict=True):
        points = [tuple(map(float, point.split(","))) for point in (curve.get("points") or "").split()]
        assert [travel(x) for x, _ in points] == pytest.approx([p["travel"]["value"] for p in row["curve"]], abs=0.02)
        assert [force(y) for _, y in points] == pytest.approx([p["force"]["value"] for p in row["curve"]], abs=0.2)
    mark = next(root.iter(f"{SVG}circle"))
    assert travel(float(mark.get("cx") or "")) == pytest.approx(answer["sag"]["expected"]["value"], abs=0.02)
    assert force(float(mark.get("cy") or "")) == pytest.approx(answer["load"]["value"], abs=0.2)
    assert answer["sag"]["travel"]["text"] in (of_class(root, "sag-label")[0].text or "")


def test_lines_are_told_apart_without_colour_and_named_where_they_end() -> None:
    root = drawn(ask(spring(), fit(), rider_mass="80", sag="25"))
    curves = of_class(root, "curve")
    assert len({curve.get("stroke-dasharray") for curve in curves}) == len(curves)
    assert {curve.get("stroke") for curve in curves} == {"black"}
    labels = of_class(root, "label")
    assert {label.text for label in labels} == {"0 spacers", "1 spacer", "2 spacers", "3 spacers"}
    places = sorted(float(label.get("y") or "") for label in labels)
    assert all(after - before >= 14 for before, after in itertools.pairwise(places))
    assert [label.text for label in labels if label.get("font-weight") == "bold"] == ["1 spacer"]


def test_the_drawing_says_in_words_what_it_shows_and_escapes_names() -> None:
    answer = ask(spring(), fit(), rider_mass="80", sag="25")
    root = drawn(answer)
    assert (root.findtext(f"{SVG}title") or "").startswith("Fork <&>, 150 mm")
    described = root.findtext(f"{SVG}desc") or ""
    for row in answer["by_spacers"]:
        assert f"{row['curve'][-1]['force']['value']:g} N at full travel" in described
    assert answer["start_pressure"]["text"] in described
    assert b"<&>" not in spring_curve(answer)
    assert "invented data" in (of_class(root, "invented")[0].text or "")


def test_coils_are_drawn_as_the_lines_either_side() -> None:
    root = drawn(ask(*coils(), rider_mass="84", sag="30"))
    assert {label.text for label in of_class(root, "label")} == {"6.2 N/mm", "7.2 N/mm"}


def test_where_nothing_can_be_drawn_it_says_what_is_missing() -> None:
    root = drawn(ask(spring(negative="own valve"), fit(), rider_mass="80"))
    assert not of_class(root, "curve")
    assert "No curve" in (of_class(root, "missing")[0].text or "")
    assert "Give negative_pressure" in " ".join(each.text or "" for each in of_class(root, "missing")).replace(
        "\n", " "
    )


async def test_set_up_is_answered_with_repeated_readings_and_as_a_drawing(database: Database) -> None:
    store(database, [*common(), spring(), fit(), guide(pressure="62")])
    async with asking(database) as client:
        response = await client.get(
            "/v1/chassis/fork/setup?rider_mass=75&reading=38mm@58psi&reading=33mm@66psi&sag=35mm"
        )
        answer = response.json()
        assert (response.status_code, answer["revision"]) == (200, 1)
        assert [each["basis"] for each in answer["bases"]] == ["measured from two sags", "computed"]
        picture = await client.get("/v1/chassis/fork/setup.svg?rider_mass=75&sag=20")
        assert picture.headers["content-type"] == "image/svg+xml"
        assert "'unsafe-inline'" not in picture.headers["content-security-policy"]
        assert ET.fromstring(picture.content).tag == f"{SVG}svg"
        accepted = await client.get("/v1/chassis/fork/setup?rider_mass=75", headers={"Accept": "image/svg+xml"})
        assert accepted.headers["content-type"] == "image/svg+xml"


@pytest.mark.parametrize(
    ("query", "code", "parameter"),
    [
        ("sag=70", "out-of-range", "sag"),
        ("rider_mass=5", "out-of-range", "rider_mass"),
        ("rider_mass=80psi", "unit-of-another-kind", "rider_mass"),
        ("spacers=-1", "out-of-range", "spacers"),
        ("spacers=1.5", "not-an-integer", "spacers"),
        ("reading=38mm", "reading-malformed", "reading"),
        ("sag=20&sag=25", "repeated-parameter", "sag"),
        ("rider_weight=80", "unknown-parameter", "rider_weight"),
        ("rider_mass=80&spacers=30", "out-of-range", "spacers"),
        ("travel=200", "travel-outside", "travel"),
        ("pressure_unit=kg", "unit-of-another-kind", "pressure_unit"),
    ],
)
async def test_what_cannot_be_asked_is_refused_by_name(
    database: Database, query: str, code: str, parameter: str
) -> None:
    store(database, [*common(), spring(), fit()])
    async with asking(database) as client:
        assert_problem(await client.get(f"/v1/chassis/fork/setup?{query}"), 422, code=code, parameter=parameter)


async def test_another_question_has_no_drawing_and_another_chassis_no_set_up(database: Database) -> None:
    store(database, [*common(), spring(), fit()])
    async with asking(database) as client:
        assert_problem(await client.get("/v1/chassis/fork/fits.svg"), 406)
        assert_problem(await client.get("/v1/chassis/nothing/setup?rider_mass=80"), 404)
