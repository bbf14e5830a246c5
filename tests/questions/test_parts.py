"""Alternatives for a fluid, and the chassis that take a spring; on rows in a database of either engine."""

from collections.abc import Iterable

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Chassis, Fit, Fluid, Row, Source, Spring
from app.database.connections import Database
from app.errors import Invalid, NotFound
from app.questions.fluid_alternatives import AlternativesAnswer, AlternativesAsked, fluid_alternatives
from app.questions.sheet.spring_fits import SpringFitsAsked, spring_fits
from tests.questions.storing import store

SOURCE = Source.checked(id="doc", title="Invented", kind="manual", invented=True)


def fluid(id: str, at_40: str | None = None, at_100: str | None = None, **more: object) -> Fluid:
    cells: dict[str, object] = {"id": id, "name": id, "kind": "damper oil", "source": "doc", "page": "1", **more}
    return Fluid.checked({**cells, "viscosity_40_cst": at_40, "viscosity_100_cst": at_100})


# ASTM D341-20, simple form: 16.0 / 3.9 mm²/s is 33.9567705 at 20 °C and 92.8289964 at 0 °C;
# 46.0 / 6.8 is 133.838181 at 20 °C; 9.0 / 2.6 is 17.3830328 at 20 °C (tests/reference/viscosity_examples.csv).
OILS = [
    fluid("middling", "16.0", "3.9", seal_safe=True),
    fluid("stout", "46.0", "6.8", seal_safe=True),
    fluid("thin", "9.0", "2.6"),
    fluid("harsh", "16.0", "3.9", seal_safe=False),
    fluid("one-point", "16.0"),
    fluid("unmeasured"),
    fluid("bath", "16.0", "3.9", kind="bath oil"),
]


def asked(database: Database, rows: Iterable[Row], id: str, temperature: str | None) -> AlternativesAnswer:
    store(database, [SOURCE, *rows])
    question = AlternativesAsked(temperature=temperature)
    return Catalogue(database).answer(lambda snapshot: fluid_alternatives(snapshot, id, question))


def test_stand_ins_of_one_kind_come_by_how_many_times_they_differ_and_unknown_ones_last(database: Database) -> None:
    answer = asked(database, OILS, "middling", "20")
    assert [each["id"] for each in answer["alternatives"]] == ["thin", "stout", "one-point", "unmeasured"]
    assert [each["id"] for each in answer["set_apart"]] == ["harsh"]
    thin, stout, one_point, unmeasured = answer["alternatives"]
    assert stout["viscosity"]["value"] == pytest.approx(133.8, abs=0.05)
    assert stout["viscosity"]["min"] < 133.838 < stout["viscosity"]["max"]
    assert stout["viscosity"]["basis"] == "computed"
    assert thin["viscosity_ratio"]["value"] == pytest.approx(17.3830328 / 33.9567705, abs=5e-4)
    assert "viscosity" not in one_point
    assert "one temperature only" in one_point["viscosity_unknown"]
    assert "viscosity_ratio" not in unmeasured
    assert (thin["seal_safe"], stout["seal_safe"]) == ("not stated", "yes")
    assert {"stand-in", "invented-data"} <= {each["code"] for each in answer["cautions"]}


def test_at_forty_degrees_the_published_figure_is_shown(database: Database) -> None:
    answer = asked(database, OILS, "middling", "104°F")
    assert answer["fluid"]["viscosity"]["text"] == "16.0 cSt"
    assert answer["fluid"]["viscosity"]["basis"] == "published"
    one_point = next(each for each in answer["alternatives"] if each["id"] == "one-point")
    assert one_point["viscosity_ratio"]["value"] == 1


def test_a_class_is_named_and_a_gap_between_classes_is_said(database: Database) -> None:
    # ISO 3448:1992: VG 15 is 13.5–16.5, VG 46 is 41.4–50.6; 17.4 is in no class
    answer = asked(database, [*OILS, fluid("between", "17.4", "4.4")], "middling", None)
    classes = {each["id"]: each["iso_class"] for each in answer["alternatives"] if "iso_class" in each}
    assert answer["fluid"]["iso_class"]["text"] == "ISO VG 15"
    assert classes["stout"]["vg"] == 46
    assert "vg" not in classes["between"]
    assert "VG 15" in classes["between"]["text"]
    assert "VG 22" in classes["between"]["text"]


def test_a_fluid_without_viscosity_has_a_gap_that_says_what_closes_it(database: Database) -> None:
    answer = asked(database, OILS, "unmeasured", "20")
    (gap,) = answer["gaps"]
    assert (gap["what"], gap["about"]) == ("viscosity", "unmeasured")
    assert all("viscosity_ratio" not in each for each in answer["alternatives"])


@pytest.mark.parametrize("temperature", ["-41", "151", "20mm"])
def test_a_temperature_that_the_standard_does_not_cover_is_refused(database: Database, temperature: str) -> None:
    with pytest.raises(Invalid) as refused:
        asked(database, OILS, "middling", temperature)
    assert refused.value.faults[0].parameter == "temperature"


def test_a_spring_lists_every_chassis_that_takes_it(database: Database) -> None:
    def chassis(id: str) -> Chassis:
        return Chassis.checked(
            id=id, maker="maker", name=id, model_year_from=2020, model_year_to=2024, source="doc", page="1"
        )

    def fit(id: str, on: str, travel: float, **more: object) -> Fit:
        cells = {"id": id, "chassis": on, "spring": "spring", "travel_mm": travel, "source": "doc", "page": "2"}
        return Fit.checked({**cells, **more})

    spring = Spring.checked(id="spring", maker="maker", name="Spring", kind="air", part_number="P 1")
    fits = [
        fit("b-150", "b", 150.0, model_year_from=2022),
        fit("a-150", "a", 150.0),
        fit("a-other", "a", 140.0, spring="other"),
    ]
    store(database, [SOURCE, chassis("a"), chassis("b"), chassis("c"), spring, *fits])
    catalogue = Catalogue(database)
    answer = catalogue.answer(lambda snapshot: spring_fits(snapshot, "spring", SpringFitsAsked()))
    assert [(each["chassis"]["id"], each["id"]) for each in answer["fits"]] == [("a", "a-150"), ("b", "b-150")]
    assert answer["fits"][1]["scope"]["model_year_from"] == 2022
    assert answer["chassis_total"] == 2
    with pytest.raises(NotFound):
        catalogue.answer(lambda snapshot: spring_fits(snapshot, "no-spring", SpringFitsAsked()))
