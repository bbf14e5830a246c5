"""Printed tables of an invented fork become the rows that a person would enter, and what is unclear is asked once."""

import pytest

from app.catalogue.rows import MemoryRows
from app.catalogue.tables import TABLES, Chassis, Fastener, Maker, Row, Source
from app.drafts.delimited import read_pasted
from app.drafts.derive import derive
from app.drafts.desk import Desk
from app.drafts.grid import Grids
from app.drafts.rows import DerivedRows
from app.drafts.shapes import SHAPES

CHASSIS = Chassis.checked(
    id="tullow-brack-34", maker="tullow", name="Brack", model_year_from=2022, model_year_to=2025,
    wheel_sizes=(584, 622), travel_min_mm=130, travel_max_mm=160,
)  # fmt: skip
BASE: list[Row] = [
    Maker.checked(id="tullow", name="Tullow"),
    Source.checked(id="tullow-manual-2", maker="tullow", series="Tullow manual", title="Manual", kind="manual"),
    Source.checked(id="tullow-manual-1", maker="tullow", series="Tullow manual", title="Manual", kind="manual"),
    Source.checked(id="other-book", title="Another book", kind="manual"),
    CHASSIS,
]
GIVEN = {"chassis": "tullow-brack-34", "source": "tullow-manual-2", "page": "12"}


def read(*texts: str, answers: dict[str, str] | None = None, base: list[Row] | None = None) -> DerivedRows:
    grids = Grids([read_pasted(text.strip("\n"), f"grid {at}") for at, text in enumerate(texts, 1)])
    return derive(grids, MemoryRows(base or BASE), Desk(GIVEN | (answers or {})))


def cells(rows: DerivedRows, table: str, *columns: str) -> list[tuple[str, ...]]:
    """Some cells of the rows of a table, in the order of the file."""
    found = [each.row.cells() for each in rows.found.values() if each.row.table == table]
    return [tuple(row[name] for name in columns) for row in found]


def said(rows: DerivedRows) -> str:
    return "\n".join(f"{each.place}: {each.text}" for each in rows.desk.remarks)


TORQUES = """
Torques of the fork
Fastener;Tightening torque (N·m);Tool;Qty
Damper side
Foot bolt;7,3 ± 0,5;hex 5 mm;1
Rebound knob set screw;0,8;hex 2 mm;1
Spring side
Foot bolt;max. 8;hex 5 mm;1
Top cap;28 N·m (20.7 ft·lbf);socket 29 mm;1
Both
Air valve core;hand tight;;1
Axle;12–15*;hex 6 mm;1
Crown clamp bolt;N/A;;2
Brake mount nut;53/44;;2
* greased
"""


def test_torques_become_fasteners_and_torques() -> None:
    rows = read(TORQUES, answers={"line Both": "-", "kind of Axle": "bolt", "kind of Air valve core": "valve core"})
    assert cells(rows, "fasteners", "id", "position", "side", "kind", "count", "drives") == [
        ("tullow-brack-34-foot-bolt-damper-side", "foot bolt", "damper side", "bolt", "1", "hex 5 mm"),
        (
            "tullow-brack-34-adjuster-knob-screw-damper-side", "adjuster knob screw", "damper side", "set screw",
            "1", "hex 2 mm",
        ),
        ("tullow-brack-34-foot-bolt-spring-side", "foot bolt", "spring side", "bolt", "1", "hex 5 mm"),
        ("tullow-brack-34-top-cap-spring-side", "top cap", "spring side", "cap", "1", "socket 29 mm"),
        ("tullow-brack-34-valve-core", "valve core", "", "valve core", "1", ""),
        ("tullow-brack-34-axle", "axle", "", "bolt", "1", "hex 6 mm"),
    ]  # fmt: skip
    assert cells(rows, "torques", "value", "min", "max", "unit", "instruction", "source", "page") == [
        ("7.3", "6.8", "7.8", "N·m", "", "tullow-manual-2", "12"),
        ("0.8", "", "", "N·m", "", "tullow-manual-2", "12"),
        ("", "", "8", "N·m", "", "tullow-manual-2", "12"),
        ("28", "", "", "N·m", "", "tullow-manual-2", "12"),
        ("", "", "", "", "hand tight", "tullow-manual-2", "12"),
        ("", "12", "15", "N·m", "", "tullow-manual-2", "12"),
    ]
    assert list(rows.desk.questions) == ["value: 53/44"]
    assert rows.desk.questions["value: 53/44"].places == ["grid 1!B13"]
    for each in (
        "“N/A” gives nothing for value",
        "there is no row for it",
        "the footnote mark * is left out",
        "a footnote, which is not stored: * greased",
        "(20.7 ft·lbf) is the same figure in another unit",
    ):
        assert each in said(rows)


def test_rows_under_a_line_that_is_not_understood_wait() -> None:
    rows = read(TORQUES)
    assert [each[0] for each in cells(rows, "torques", "fastener")][-1] == "tullow-brack-34-top-cap-spring-side"
    assert "line Both" in rows.desk.questions


@pytest.mark.parametrize(
    ("answer", "expected"), [("4.4 N·m", [("4.4", "N·m")]), ("44 in-lb", [("44", "in·lbf")]), ("-", [])]
)
def test_an_answer_is_read_like_a_cell(answer: str, expected: list[tuple[str, ...]]) -> None:
    rows = read("Bolt;Torque (N·m)\nFoot bolt;53/44", answers={"value: 53/44": answer})
    assert cells(rows, "torques", "value", "unit") == expected
    assert rows.desk.questions == {}


def test_an_answer_that_cannot_be_used_is_asked_again() -> None:
    rows = read("Bolt;Torque (N·m)\nFoot bolt;53/44", answers={"value: 53/44": "44 bar"})
    assert cells(rows, "torques", "value") == []
    assert "the answer “44 bar” cannot be used" in rows.desk.questions["value: 53/44"].why


def test_a_question_is_asked_once_for_each_text() -> None:
    lines = "\n".join(f"Bolt {number};53/44" for number in range(9))
    rows = read(f"Bolt;Torque (N·m)\n{lines}")
    assert list(rows.desk.questions) == ["value: 53/44"]
    assert len(rows.desk.questions["value: 53/44"].places) == 9


PRESSURES = """
Rider weight;Travel;;;
kg;130 mm;140 mm;150 mm;160 mm
<60;60;60;62;65
60–69;66;66;68;70
70–79;72;72;75;78
80+;80;80;83;–
"""


def test_start_pressures_become_one_guide_for_each_bracket_and_run_of_equal_travels() -> None:
    rows = read(PRESSURES, answers={"unit of pressure": "psi"})
    columns = ("travel_from_mm", "travel_to_mm", "rider_mass_from", "rider_mass_to", "mass_unit", "pressure")
    expected = [
        (*travel, low, high, "kg", pressure)
        for travel, column in (
            (("130", "140"), ("60", "66", "72", "80")),
            (("150", "150"), ("62", "68", "75", "83")),
            (("160", "160"), ("65", "70", "78")),
        )
        for (low, high), pressure in zip((("", "60"), ("60", "70"), ("70", "80"), ("80", "")), column, strict=False)
    ]
    assert sorted(cells(rows, "guides", *columns)) == sorted(expected)
    assert set(cells(rows, "guides", "chamber", "pressure_unit", "mass_is")) == {("positive", "psi", "not stated")}
    assert rows.desk.questions == {}
    assert "guide-tullow-brack-34-positive-60-70-kg-130-140" in {id for (id,) in cells(rows, "guides", "id")}


def test_a_missing_unit_is_asked_once() -> None:
    rows = read(PRESSURES)
    assert cells(rows, "guides", "id") == []
    assert list(rows.desk.questions) == ["unit of pressure in grid 1"]


def test_brackets_that_meet_end_where_the_next_begins_and_a_lone_one_is_asked_about() -> None:
    rows = read("Rider mass (kg),Pressure (psi),Sag\n60-70,66,20 %\n70-80,72,20 %")
    assert cells(rows, "guides", "rider_mass_from", "rider_mass_to", "sag_percent") == [
        ("60", "70", "20"),
        ("70", "80", "20"),
    ]
    alone = read("Rider mass (kg),Pressure (psi),Sag\n60-70,66,0.2")
    assert list(alone.desk.questions) == ["sag_percent: 0.2"]
    alone = read("Rider mass (kg),Pressure (psi),Sag\n60-70,66,20")
    assert list(alone.desk.questions) == ["end of 60–70 kg"]


def test_ranges_of_sag_and_clicks_go_into_their_own_columns() -> None:
    rows = read(
        "Rider mass (kg),Pressure (psi),Sag,Rebound\n60-70,66,18–20 %,12–13\n70-80,72,20 %,11\n80-90,78,19 %,10"
    )
    columns = ("sag_percent", "sag_min_percent", "sag_max_percent")
    assert cells(rows, "guides", *columns) == [("", "18", "20"), ("20", "", ""), ("19", "", "")]
    clicks = cells(rows, "guides", "rebound_clicks", "rebound_clicks_min", "rebound_clicks_max")
    assert clicks == [("", "12", "13"), ("11", "", ""), ("10", "", "")]
    assert rows.desk.questions == {}
    about = read("Rider mass (kg),Pressure (psi),Sag\n60-70,66,ca. 20 %\n70-80,72,20 %")
    assert "sag_percent: ca. 20 %" in about.desk.questions


def test_an_open_end_without_a_figure_keeps_its_words() -> None:
    rows = read("Rider mass (kg),Pressure (psi)\n60-70,66\n70-80,72\n80+,Ask the maker.")
    expected = [("60", "70", "66", ""), ("70", "80", "72", ""), ("80", "", "", "ask the maker")]
    assert cells(rows, "guides", "rider_mass_from", "rider_mass_to", "pressure", "instruction") == expected


def test_a_tolerance_of_a_length_goes_into_its_own_column() -> None:
    lines = "140 mm\t11.204.140\tAir shaft 140\t536.5 ± 2\t214,5 ± 1 mm"
    rows = read(f"Travel\tPart no.\tName\tAxle-to-crown (mm)\tShaft length (mm)\n{lines}", answers=AIR)
    assert cells(rows, "fits", "axle_to_crown_mm", "axle_to_crown_tolerance_mm") == [("536.5", "2")]
    assert cells(rows, "springs", "shaft_length_mm", "length_tolerance_mm") == [("214.5", "1")]


def test_the_order_and_the_material_of_the_mating_part() -> None:
    rows = read(
        "Bolt,Side,Torque (N·m),Stage,Order,Against,Type\n"
        "Crown bolt,inner,7,1,1,carbon,bolt\nCrown bolt,inner,9,1,1,aluminium,bolt\nCrown bolt,outer,7,,2,,bolt"
    )
    assert cells(rows, "torques", "order", "mating_material", "value") == [
        ("1", "carbon", "7"), ("1", "aluminium", "9"), ("2", "", "7"),
    ]  # fmt: skip


def test_a_column_for_each_kind_of_riding() -> None:
    rows = read("Rider mass (kg),Trail (psi),Park (psi)\n60-70,66,70\n70-80,72,77")
    assert cells(rows, "guides", "riding", "rider_mass_from", "pressure") == [
        ("trail", "60", "66"), ("park", "60", "70"), ("trail", "70", "72"), ("park", "70", "77"),
    ]  # fmt: skip
    assert len({id for (id,) in cells(rows, "guides", "id")}) == 4


def test_positive_and_negative_chambers_in_the_headings() -> None:
    rows = read("Rider mass (kg),Positive (psi),Negative (psi)\n60-70,66,60\n70-80,72,66")
    assert cells(rows, "guides", "chamber", "rider_mass_from", "pressure") == [
        ("positive", "60", "66"), ("negative", "60", "60"), ("positive", "70", "72"), ("negative", "70", "66"),
    ]  # fmt: skip


SPRINGS = """
Travel\tPart no.\tName\tAxle-to-crown\tMax pressure
140 mm\t11.204.140\tAir shaft 140\t536.5 mm\t150 psi
150 mm\t11.204.150\tAir shaft 150\t546.5 mm\t150 psi
160 mm\t–\tAir shaft 160\t556.5 mm\t150 psi
"""
LIMITS = """
Travel;Wheel;
;27.5;29
140 mm;4;4
150 mm;4;3
170 mm;2;2
"""
AIR = {"kind of the springs": "air"}


def test_springs_become_springs_and_fits_and_a_dash_becomes_nothing() -> None:
    rows = read(SPRINGS, answers=AIR)
    assert cells(rows, "springs", "id", "part_number", "kind", "maker") == [
        ("tullow-air-shaft-140", "11.204.140", "air", "tullow"),
        ("tullow-air-shaft-150", "11.204.150", "air", "tullow"),
    ]
    assert cells(rows, "fits", "id", "travel_mm", "axle_to_crown_mm", "pressure_limit", "pressure_unit") == [
        ("fit-tullow-brack-34-tullow-air-shaft-140-140", "140", "536.5", "150", "psi"),
        ("fit-tullow-brack-34-tullow-air-shaft-150-150", "150", "546.5", "150", "psi"),
    ]
    assert "grid 1!B4: “–” gives nothing for part_number" in said(rows)


def test_springs_with_one_name_are_numbered_and_read_again_as_they_are() -> None:
    table, named = "Travel,Part no.\n140 mm,1\n150 mm,2", AIR | {"name of the springs": "Air shaft"}
    first = read(table, answers=named)
    assert cells(first, "springs", "id", "part_number") == [("tullow-air-shaft", "1"), ("tullow-air-shaft-2", "2")]
    assert read(table, answers=named, base=stored(first)).found.keys() == first.found.keys()


def test_limits_of_spacers_go_into_the_fits_and_split_one_only_after_a_question() -> None:
    shape = {"shape of grid 2": "spacer limits"}
    rows = read(SPRINGS, LIMITS, answers=AIR | shape)
    assert cells(rows, "fits", "travel_mm", "spacer_limit", "wheel_size") == [("140", "4", ""), ("150", "", "")]
    assert list(rows.desk.questions) == ["split fit-tullow-brack-34-tullow-air-shaft-150-150"]
    assert "no spring is known that gives 170 mm" in said(rows)
    split = read(SPRINGS, LIMITS, answers=AIR | shape | {next(iter(rows.desk.questions)): "yes"})
    wide = "fit-tullow-brack-34-tullow-air-shaft-150-150"
    assert cells(split, "fits", "travel_mm", "spacer_limit", "wheel_size", "exception_to") == [
        ("140", "4", "", ""), ("150", "", "", ""), ("150", "4", "584", wide), ("150", "3", "622", wide),
    ]  # fmt: skip


def test_a_grid_without_a_word_for_what_it_holds_is_asked_about() -> None:
    rows = read(LIMITS)
    assert rows.desk.questions["shape of grid 1"].offers == ("springs", "spacer limits", "-")
    captioned = read("Maximum volume spacers\n" + LIMITS.strip("\n"))
    assert "shape of grid 1" not in captioned.desk.questions


OILS = """
Chamber,Oil,Volume
spring-side lower leg,Tullow Bath 10,10 ml
Damper-side lower leg,Tullow Bath 10,12 ml ± 1 ml
damper,Tullow 5 / 7.5,"0,34 fl oz"
both legs together,Tullow Bath 10,22 ml total
"""


def test_oils_become_fluids_and_fills_and_a_total_is_never_divided() -> None:
    rows = read(OILS, answers={"kind of Tullow Bath 10": "bath oil"})
    assert cells(rows, "fluids", "id", "name", "kind") == [("tullow-bath-10", "Tullow Bath 10", "bath oil")]
    assert cells(rows, "fills", "chamber", "fluid", "value", "min", "max", "unit") == [
        ("spring-side lower leg", "tullow-bath-10", "10", "", "", "mL"),
        ("damper-side lower leg", "tullow-bath-10", "12", "11", "13", "mL"),
    ]
    assert list(rows.desk.questions) == ["fluid: Tullow 5 / 7.5"]
    assert "“both legs together” is a total, which is not divided" in said(rows)


def test_greases() -> None:
    rows = read("Place;Grease;Amount\nair piston seal;Tullow Slick;a thin film\nwiper;Tullow Slick;")
    assert cells(rows, "greases", "place", "fluid", "amount") == [
        ("air piston seal", "tullow-slick", "a thin film"), ("dust wiper", "tullow-slick", ""),
    ]  # fmt: skip
    assert cells(rows, "fluids", "kind") == [("grease",)]


def stored(rows: DerivedRows) -> list[Row]:
    return [*BASE, *(each.row for each in rows.found.values())]


def test_reading_twice_creates_nothing_new() -> None:
    first = read(TORQUES, SPRINGS, answers=AIR)
    again = read(TORQUES, SPRINGS, answers=AIR, base=stored(first))
    assert {key: each.row for key, each in again.found.items()} == {key: each.row for key, each in first.found.items()}
    assert all(each.stored is not None for each in again.found.values())
    assert "it changes" not in said(again)


def test_a_newer_edition_changes_the_stored_row_and_another_document_has_a_row_of_its_own() -> None:
    table = "Bolt;Torque (N·m)\nFoot bolt;{}"
    first = read(table.format(7), answers={"source": "tullow-manual-1"})
    newer = read(table.format(8), base=stored(first))
    assert [key for key in newer.found if key[0] == "torques"] == [key for key in first.found if key[0] == "torques"]
    assert "value: 7 → 8" in said(newer)
    other = read(table.format(8), answers={"source": "other-book"}, base=stored(first))
    assert cells(other, "torques", "id", "value") == [("torque-tullow-brack-34-foot-bolt-2", "8")]


def test_what_two_grids_say_differently_of_one_row_is_asked() -> None:
    tables = ("Bolt;Torque (N·m)\nFoot bolt;7", "Bolt;Torque (N·m)\nFoot bolt;8")
    rows = read(*tables)
    key = "torques/torque-tullow-brack-34-foot-bolt value"
    assert rows.desk.questions[key].offers == ("7", "8")
    assert cells(read(*tables, answers={key: "8"}), "torques", "value") == [("8",)]


def test_a_stored_fastener_keeps_what_it_has_until_an_answer_says_otherwise() -> None:
    base = [
        *BASE,
        Fastener.checked(id="foot", chassis=CHASSIS.id, position="foot bolt", kind="bolt", drives=("hex 5 mm",)),
    ]
    table = "Bolt;Torque (N·m);Tool\nFoot bolt;7;hex 6 mm"
    rows = read(table, base=base)
    assert list(rows.desk.questions) == ["fasteners/foot drives"]
    assert rows.found == {}
    rows = read(table, base=base, answers={"fasteners/foot drives": "hex 6 mm"})
    assert cells(rows, "fasteners", "id", "drives") == [("foot", "hex 6 mm")]


def test_a_heading_that_is_not_known_is_asked_and_remembered() -> None:
    table = "Schraube;Anzugsmoment (N·m)\nFoot bolt;7"
    shape = {"shape of grid 1": "torques"}
    assert list(read(table).desk.questions) == ["shape of grid 1"]
    assert list(read(table, answers=shape).desk.questions) == ["heading Schraube", "heading Anzugsmoment (N·m)"]
    known = {"heading Schraube": "position", "heading Anzugsmoment (N·m)": "value (N·m)"}
    assert cells(read(table, answers=shape | known), "torques", "value", "unit") == [("7", "N·m")]


@pytest.mark.parametrize("wrong", ["chassis", "source"])
def test_an_id_that_the_catalogue_lacks_is_asked_again(wrong: str) -> None:
    rows = read("Bolt;Torque (N·m)\nFoot bolt;7", answers={wrong: "nobody"})
    assert rows.found == {}
    assert "the answer “nobody” cannot be used" in rows.desk.questions[wrong].why


def test_a_travel_is_never_converted() -> None:
    rows = read("Travel,Part no.,Name\n5.9 in,1,A\n150 mm (5.9 in),2,B", answers=AIR)
    assert cells(rows, "fits", "travel_mm") == [("150",)]
    assert rows.desk.questions["travel: 5.9 in"].why == "travel is stored in mm and nothing is converted"


def test_two_shops_arrive_at_one_id_each() -> None:
    ids = [list(read(table).found) for table in ("Bolt;Torque (N·m)\nFoot bolt;7", "Torque N·m,Fastener\n7,Foot bolt")]
    assert ids[0] == ids[1]


def test_every_shape_names_columns_of_the_catalogue() -> None:
    for shape in SHAPES.values():
        assert {*shape.needed, shape.main} <= shape.by_name.keys()
        assert all(field.column in TABLES[field.table.table].columns() for field in shape.fields)


def test_a_second_column_in_another_unit_is_compared() -> None:
    table = "Bolt;Torque;\n;N·m;in·lbf\nFoot bolt;7,3;65\nAxle bolt;12;160\nCrown bolt;;62"
    rows = read(table)
    assert cells(rows, "torques", "fastener", "value", "unit") == [
        ("tullow-brack-34-foot-bolt", "7.3", "N·m"), ("tullow-brack-34-crown-bolt", "62", "in·lbf"),
    ]  # fmt: skip
    assert list(rows.desk.questions) == ["value: 12 | 160"]
    answered = read(table, answers={"value: 12 | 160": "18 N·m"})
    assert cells(answered, "torques", "value") == [("7.3",), ("18",), ("62",)]


def test_limits_in_columns_of_their_own_have_the_unit_of_the_torque() -> None:
    rows = read("Bolt;Torque;Min torque;Max torque\nFoot bolt;7 N·m;6 N·m;8 N·m\nAxle bolt;7 N·m;53 in-lb;8 N·m")
    assert cells(rows, "torques", "value", "min", "max", "unit") == [("7", "6", "8", "N·m")]
    assert list(rows.desk.questions) == ["min: 53 in-lb"]


def test_a_ditto_mark_is_asked_about_where_it_is() -> None:
    table = "Bolt;Torque (N·m);Tool\nFoot bolt;7;hex 5 mm\nCrown bolt;6;ditto\nAxle bolt;12;hex 6 mm\nStem bolt;5;ditto"
    keys = ["drives in grid 1!C3", "drives in grid 1!C5"]
    assert list(read(table).desk.questions) == keys
    rows = read(table, answers=dict(zip(keys, ("hex 5 mm", "hex 6 mm"), strict=True)))
    assert cells(rows, "fasteners", "drives") == [("hex 5 mm",), ("hex 5 mm",), ("hex 6 mm",), ("hex 6 mm",)]


def test_a_heading_with_two_units_reads_pairs_that_agree() -> None:
    table = "Bolt;Torque (N·m / in·lbf)\nFoot bolt;7,3 / 65\nAxle bolt;12–15 (106–133)\nCrown bolt;6/53\nStem bolt;5/54"
    rows = read(table)
    assert cells(rows, "torques", "value", "min", "max", "unit") == [
        ("7.3", "", "", "N·m"), ("", "12", "15", "N·m"), ("6", "", "", "N·m"),
    ]  # fmt: skip
    assert list(rows.desk.questions) == ["value: 5/54"]


def test_limits_may_stand_under_one_heading() -> None:
    rows = read("Bolt;Torque (N·m);;\n;Min;Nominal;Max\nFoot bolt;6;7;8\nAxle bolt;12;;15")
    assert cells(rows, "torques", "value", "min", "max", "unit") == [("7", "6", "8", "N·m"), ("", "12", "15", "N·m")]


@pytest.mark.parametrize(
    ("answer", "scopes"),
    [(None, [("140", "140")]), ("as above", [("140", "140")] * 2), ("all", [("140", "140"), ("", "")])],
)
def test_an_empty_travel_is_asked_about(answer: str | None, scopes: list[tuple[str, str]]) -> None:
    table = "Travel (mm);Bolt;Torque (N·m)\n140;Foot bolt;7\n;Crown bolt;6"
    rows = read(table, answers={"empty travel in grid 1": answer} if answer else {})
    assert cells(rows, "torques", "travel_from_mm", "travel_to_mm") == scopes
    assert list(rows.desk.questions) == ([] if answer else ["empty travel in grid 1"])


def test_a_shape_that_there_is_not_is_asked_again() -> None:
    rows = read("Bolt;Torque (N·m)\nFoot bolt;7", answers={"shape of grid 1": "torqes"})
    assert rows.found == {}
    assert "the answer “torqes” cannot be used" in rows.desk.questions["shape of grid 1"].why
