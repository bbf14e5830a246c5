"""Fork check: geometry against outside values, every verdict at its boundary, and missing data never permit
anything."""

import csv
from pathlib import Path
from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Chassis, Fit, Frame, Limit, Row, Source, Spring
from app.database.connections import Database
from app.errors import Invalid
from app.questions.fork_check.fork_check import ForkCheckAnswer, ForkCheckAsked, fork_check
from app.questions.fork_check.permission import Length, judge_length, judge_rest, overall
from tests.questions.storing import store

REFERENCE = Path(__file__).parents[1] / "reference" / "geometry_examples.csv"
# Case A of the reference rows; a radius of 370 mm is half of 622 (ISO 5775) and 59 mm of tyre.
CASE_A: dict[str, Any] = {
    "id": "frame", "name": "Frame", "source": "doc", "page": "3", "travel_min_mm": 130, "travel_max_mm": 160,
    "axle_to_crown_max_mm": "575", "dual_crown": "no", "steerer": "tapered 28.6-39.8", "tyre_front_max_mm": "66",
    "axle_to_crown_mm": "550", "head_angle_deg": "66", "seat_angle_deg": "75", "wheelbase_mm": "1200",
    "chainstay_mm": "435", "bb_drop_mm": "30", "reach_mm": "460", "stack_mm": "620", "offset_mm": "44",
    "wheel_front": 622, "wheel_rear": 622, "tyre_front_mm": "59", "tyre_rear_mm": "59",
    "axle_to_crown_measured": "along the steerer",
}  # fmt: skip
CHASSIS: dict[str, Any] = {
    "id": "fork", "maker": "maker", "name": "Fork", "model_year_from": 2020, "model_year_to": 2024, "crowns": "single",
    "wheel_sizes": (622,), "steerers": ("tapered 28.6-39.8",), "offsets_mm": (44.0,), "travel_min_mm": 110.0,
    "travel_max_mm": 190.0, "source": "doc", "page": "1",
}  # fmt: skip
# Axle-to-crown of case A and its changes; the fork for 150 mm is as long as the frame's own.
LENGTHS = {110: 510, 130: 530, 140: 540, 150: 550, 160: 560, 170: 570, 190: 590}


def frame(**more: Any) -> Frame:
    return Frame.checked({**CASE_A, **more})


def chassis(**more: Any) -> Chassis:
    return Chassis.checked({**CHASSIS, **more})


def rows(*others: Row) -> list[Row]:
    fits = [
        Fit.checked(
            {
                "id": f"fit-{travel}", "chassis": "fork", "spring": f"spring-{travel}", "travel_mm": float(travel),
                "axle_to_crown_mm": str(length), "source": "doc", "page": "2",
            }
        )
        for travel, length in LENGTHS.items()
    ]  # fmt: skip
    springs = [Spring(id=f"spring-{travel}", maker="maker", name="Spring", kind="air") for travel in LENGTHS]
    every = [Source(id="doc", title="Invented", kind="manual", invented=True), frame(), chassis(), *springs, *fits]
    replaced = {(row.model, row.id) for row in others}
    return [*(row for row in every if (row.model, row.id) not in replaced), *others]


def asked(database: Database, *others: Row, travel: str = "150", **more: str) -> ForkCheckAnswer:
    store(database, rows(*others))
    question = ForkCheckAsked.model_validate({"chassis": "fork", "travel": travel, **more})
    return Catalogue(database).answer(lambda snapshot: fork_check(snapshot, "frame", question))


REFERENCES = {
    (int(change), name): float(row["value"])
    for row in csv.DictReader(REFERENCE.open(newline=""))
    if row["kind"] == "rotation"
    for change, name in [row["id"].removeprefix("GEA").split("_", 1)]
}


@pytest.mark.parametrize("travel", [110, 130, 140, 160, 170, 190])
def test_geometry_is_that_of_the_reference_rows(database: Database, travel: int) -> None:
    # tests/reference/geometry_examples.csv: rigid-body geometry, closed form agreed with an independent solver
    geometry = asked(database, travel=str(travel))["geometry"]
    change = LENGTHS[travel] - 550
    after, changed = geometry["after"], geometry["change"]
    for name in ("head_angle", "wheelbase", "bb_drop", "bb_height", "reach", "stack", "trail"):
        figure = after[name]
        assert figure["value"] == pytest.approx(REFERENCES[change, name], abs=0.0501)
        assert figure["min"] <= REFERENCES[change, name] <= figure["max"]
        assert figure["basis"] == "computed"
    assert changed["head_angle"]["value"] == pytest.approx(REFERENCES[change, "d_head_angle"], abs=0.0501)
    assert changed["bb_height"]["value"] == pytest.approx(REFERENCES[change, "d_bb_height"], abs=0.0501)
    assert geometry["before"]["head_angle"]["basis"] == "published"


def test_the_bands_hold_how_the_length_may_have_been_measured(database: Database) -> None:
    # √(550² + 44²) = 551.8: a fork measured straight is that much shorter along the steerer; 1.8 mm turn the frame by
    # 0.08° (the first-order rule of the reference rows: −0.0436° per mm for this frame)
    geometry = asked(database)["geometry"]
    head = geometry["change"]["head_angle"]
    assert head["value"] == 0
    assert head["min"] <= -0.08 <= 0.08 <= head["max"]
    assert geometry["biggest_uncertainty"] == "how axle-to-crown was measured"


def codes(answer: ForkCheckAnswer) -> set[str]:
    return {reason["code"] for reason in answer["reasons"]}


def test_a_fork_inside_every_limit_is_allowed_with_margins(database: Database) -> None:
    answer = asked(database)
    assert answer["allowed"] == "yes"
    assert codes(answer) == {
        "travel-within-limits", "axle-to-crown-within-limit", "single-crown", "steerer-fits", "wheel-as-stated",
        "tyre-limit-not-stated",
    }  # fmt: skip
    assert answer["margins"]["travel_below_greatest"]["value"] == 10
    assert answer["margins"]["travel_above_least"]["value"] == 20
    assert answer["margins"]["axle_to_crown_below_greatest"]["value"] == 25  # limit along the steerer: 550 at most
    allowed = answer["allowed_travel"]
    assert (allowed["shortest"]["value"], allowed["longest"]["value"]) == (130, 160)
    assert {"invented-data", "frame-limit", "computed"} <= {each["code"] for each in answer["cautions"]}


@pytest.mark.parametrize(
    ("limit", "length", "margin"),
    [("588", "574.5", "13.5 mm"), ("588", "588.1", "-0.1 mm"), ("575", "550", "25 mm"), ("580.25", "560", "20.25 mm")],
)
def test_the_margin_of_two_published_lengths_is_exact(database: Database, limit: str, length: str, margin: str) -> None:
    fit = Fit.model_validate(
        {"id": "fit-150", "chassis": "fork", "spring": "spring-150", "travel_mm": 150.0, "axle_to_crown_mm": length,
         "source": "doc", "page": "2"}
    )  # fmt: skip
    shown = asked(database, fit, frame(axle_to_crown_max_mm=limit))["margins"]["axle_to_crown_below_greatest"]
    assert shown["text"].replace("\u2212", "-") == margin


@pytest.mark.parametrize(("travel", "below", "above"), [("190", -30, 60), ("110", 50, -20), ("150", 10, 20)])
def test_the_margins_of_travel_are_exact(database: Database, travel: str, below: float, above: float) -> None:
    margins = asked(database, travel=travel)["margins"]
    assert margins["travel_below_greatest"]["value"] == below
    assert margins["travel_above_least"]["value"] == above


def test_the_margin_is_of_the_offset_that_is_judged(database: Database) -> None:
    """√(560² + 51²) = 562.3: the longer of two offsets decides the verdict, so the margin uses it too."""
    with_two = (chassis(offsets_mm=(44.0, 51.0)), frame(axle_to_crown_max_mm="562", axle_to_crown_measured="straight"))
    answer = asked(database, *with_two, travel="160")
    assert "axle-to-crown-too-near-to-tell" in codes(answer)
    assert answer["margins"]["axle_to_crown_below_greatest"]["value"] == -0.4


@pytest.mark.parametrize(
    ("travel", "verdict", "code"),
    [
        ("160", "yes", "travel-within-limits"),
        ("170", "no", "travel-above-limit"),
        ("130", "yes", "travel-within-limits"),
        ("110", "no", "travel-below-limit"),
        ("135", "not stated", "no-fit-listed"),
        ("6.3in", "yes", "travel-within-limits"),
    ],
)
def test_travel_is_judged_at_the_limits(database: Database, travel: str, verdict: str, code: str) -> None:
    answer = asked(database, travel=travel)
    assert answer["allowed"] == verdict
    assert code in codes(answer)


@pytest.mark.parametrize(
    ("limit", "measured", "verdict"),
    [
        # a fork published as 560 mm with 44 mm of offset: straight √(560² + 44²) = 561.7, along √(560² − 44²) = 558.3
        ("560", "along the steerer", "yes"),
        ("559.9", "along the steerer", "not stated"),
        ("558.2", "along the steerer", "no"),
        ("561.8", "straight", "yes"),
        ("561.6", "straight", "not stated"),
        ("559.9", "straight", "no"),
        ("561.8", "not stated", "yes"),
        ("560", "not stated", "not stated"),
        ("558.2", "not stated", "no"),
    ],
)
def test_axle_to_crown_permits_only_what_any_way_of_measuring_permits(limit: str, measured: str, verdict: str) -> None:
    judged = judge_length(
        frame(axle_to_crown_max_mm=limit, axle_to_crown_measured=measured), 160, Length(560, 560), 44, listed=True
    )
    assert overall(judged) == verdict


@pytest.mark.parametrize(
    ("on_frame", "on_fork", "verdict"),
    [
        ({}, {"crowns": "dual"}, "no"),
        ({"dual_crown": "yes"}, {"crowns": "dual"}, "yes"),
        ({"dual_crown": "not stated"}, {"crowns": "dual"}, "not stated"),
        ({"dual_crown": None}, {"crowns": "dual"}, "not stated"),
        ({}, {"crowns": None}, "not stated"),
        ({"dual_crown": "yes"}, {"crowns": None}, "yes"),
        ({}, {"steerers": ("straight 28.6",)}, "not stated"),
        ({"steerer": "straight 28.6"}, {}, "no"),
        ({}, {"steerers": ("straight 28.6", "tapered 28.6-39.8")}, "yes"),
        ({"steerer": None}, {}, "not stated"),
        ({}, {"steerers": None}, "not stated"),
        ({"wheel_front": 584}, {}, "not stated"),
        ({"tyre_front_max_mm": None}, {}, "yes"),
    ],
)
def test_crowns_steerer_and_wheel(on_frame: dict[str, Any], on_fork: dict[str, Any], verdict: str) -> None:
    assert overall(judge_rest(frame(**on_frame), chassis(**on_fork), 622, None)) == verdict


LIMITS = ["travel_min_mm", "travel_max_mm", "axle_to_crown_max_mm", "dual_crown", "steerer", "wheel_front"]


@pytest.mark.parametrize("missing", range(2 ** len(LIMITS)))
def test_what_is_not_stated_never_turns_a_no_into_a_yes(missing: int) -> None:
    """Removing statements from a frame may lose a yes or a no, but never creates a yes."""
    silent = {name: None for place, name in enumerate(LIMITS) if missing >> place & 1}
    for travel, length in LENGTHS.items():
        for crowns in ("single", "dual", None):
            verdicts = [
                overall(
                    [
                        *judge_length(each, travel, Length(length, length), 44, listed=True),
                        *judge_rest(each, chassis(crowns=crowns), 622, None),
                    ]
                )
                for each in (frame(), frame(**silent))
            ]
            if verdicts[0] == "not stated" or "travel_max_mm" in silent:
                assert verdicts[1] != "yes"


def test_a_travel_limit_that_is_not_stated_is_no_permission(database: Database) -> None:
    answer = asked(database, frame(travel_max_mm=None))
    assert answer["allowed"] == "not stated"
    assert "travel-limit-not-stated" in codes(answer)
    assert "longest" not in answer["allowed_travel"]


def test_a_length_the_catalogue_does_not_give_is_a_gap_and_no_permission(database: Database) -> None:
    fit = Fit.checked(id="fit-150", chassis="fork", spring="spring-150", travel_mm=150.0, source="doc", page="2")
    answer = asked(database, fit)
    assert answer["allowed"] == "not stated"
    assert "axle-to-crown-unknown" in codes(answer)
    assert [gap["what"] for gap in answer["gaps"]] == ["axle-to-crown"]
    assert "geometry" not in answer


def test_missing_geometry_says_what_to_measure(database: Database) -> None:
    answer = asked(database, frame(head_angle_deg=None, tyre_rear_mm=None))
    assert {gap["what"] for gap in answer["gaps"]} == {"head-angle", "tyre-rear"}
    assert all("measure" in gap["text"] or "lay" in gap["text"] for gap in answer["gaps"])
    assert answer["allowed"] == "yes"
    assert "geometry" not in answer


def test_what_is_not_given_of_the_fork_is_undecided(database: Database) -> None:
    answer = asked(database, chassis(offsets_mm=(44.0, 51.0), wheel_sizes=(584, 622)))
    assert {each["parameter"] for each in answer["undecided"]} == {"offset", "wheel_size"}
    assert answer["allowed"] == "not stated"
    decided = asked(database, chassis(offsets_mm=(44.0, 51.0), wheel_sizes=(584, 622)), offset="51", wheel_size="29")
    assert decided["undecided"] == []
    assert decided["allowed"] == "yes"
    # trail = (Rf·cos head − offset)/sin head: 7 mm of offset take 7/sin 66° = 7.66 mm; they also raise the axle in the
    # frame by 7·cos 66° = 2.85 mm, which steepens it by 2.85/1200 rad: (370 − 51·cos 66°)/sin² 66° · 0.00237 = 0.99 mm
    assert decided["geometry"]["change"]["trail"]["value"] == pytest.approx(-7.66 - 0.99, abs=0.06)


def test_a_smaller_front_wheel_lowers_the_front(database: Database) -> None:
    answer = asked(database, chassis(wheel_sizes=(584, 622)), wheel_size="584")
    assert answer["allowed"] == "not stated"
    assert answer["geometry"]["change"]["head_angle"]["value"] > 0
    assert answer["geometry"]["change"]["bb_height"]["value"] < 0


def test_tyre_limits_of_frame_and_fork_stand_side_by_side(database: Database) -> None:
    limit = Limit.checked(
        {"id": "limit", "chassis": "fork", "subject": "tyre width", "max": "63", "unit": "mm", "source": "doc"}
    )
    answer = asked(database, limit)
    (tyre,) = (reason for reason in answer["reasons"] if reason["code"] == "tyre-limit")
    assert "66" in tyre["text"]
    assert "63" in tyre["text"]
    assert not tyre["decides"]


@pytest.mark.parametrize(
    ("given", "parameter", "suggestion"),
    [
        ({"offset": "48"}, "offset", "44"),
        ({"travel": "200"}, "travel", "190"),
        ({"wheel_size": "26"}, "wheel_size", "622"),
    ],
)
def test_what_the_fork_cannot_be_is_refused_with_the_nearest(
    database: Database, given: dict[str, str], parameter: str, suggestion: str
) -> None:
    with pytest.raises(Invalid) as refused:
        asked(database, **given)
    assert (refused.value.faults[0].parameter, refused.value.faults[0].suggestion) == (parameter, suggestion)


@pytest.mark.parametrize(
    ("given", "parameter", "range_"),
    [
        ({"offset": "151"}, "offset", "0 to 150"),
        ({"offset": "-1"}, "offset", "0 to 150"),
        ({"offset": "6in"}, "offset", "0 to 150"),
        ({"travel": "90"}, "travel", "110 to 190"),
        ({"travel": "191"}, "travel", "110 to 190"),
        ({"travel": "0"}, "travel", None),
        ({"wheel_size": "700"}, "wheel_size", None),
    ],
)
def test_out_of_range_names_the_parameter_and_the_range(
    database: Database, given: dict[str, str], parameter: str, range_: str | None
) -> None:
    with pytest.raises(Invalid) as refused:
        asked(database, chassis(offsets_mm=None), **given)
    fault = refused.value.faults[0]
    assert fault.parameter == parameter
    for end in (range_ or "").split(" to "):
        assert end in fault.text, fault.text


def test_figures_that_no_bicycle_has_are_a_gap_and_no_failure(database: Database) -> None:
    answer = asked(database, frame(chainstay_mm="25"))
    assert "geometry" not in answer
    (gap,) = (each for each in answer["gaps"] if each["what"] == "geometry")
    assert "chainstay" in gap["text"]
