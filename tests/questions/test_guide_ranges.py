"""A range of a guide stays a range, what is added is said, and words in place of a figure bring no figure."""

from decimal import Decimal
from typing import Any

import pytest

from app.catalogue.tables import Adjustment, Damper, Guide
from app.errors import Invalid
from app.questions.setup.views import SetupAnswer
from app.units.counts import AdjusterCount, clicks_view, turns_view
from tests.questions.setup_rows import ask, fit, gaps, guide, rider_limit, spring

FORK = (spring(), fit(), Damper.checked(id="damper-a", maker="maker", name="A", rebound_clicks=18, clicks_from="open"))
RANGE = {"sag_percent": None, "sag_min_percent": "18", "sag_max_percent": "20"}


def adjustment(target: str = "pressure", value: str = "8", unit: str | None = "psi", **more: Any) -> Adjustment:
    own = {"id": f"add-{target.replace(' ', '-')}", "chassis": "fork", "condition": "e-bike", "source": "doc"}
    return Adjustment.checked({**own, "target": target, "value": value, "unit": unit, **more})


def words_from(mass: str) -> Guide:
    own = {"id": "words", "chassis": "fork", "chamber": "positive", "rider_mass_from": mass, "mass_unit": "kg"}
    return Guide.checked({**own, "mass_is": "with gear", "instruction": "ask the maker", "source": "doc"})


def start(answer: SetupAnswer) -> str:
    return answer["start_pressure"]["text"]


def test_a_range_of_sag_is_shown_as_a_range_in_percent_and_as_a_length() -> None:
    answer: Any = ask(*FORK, guide(**RANGE), rider_mass="75")
    sag = answer["sag"]
    assert (sag["percent"]["kind"], sag["percent"]["text"], sag["percent"]["target"]) == ("range", "18–20 %", 19)
    # 18 and 20 % of 150 mm, by hand
    assert (sag["travel"]["min"], sag["travel"]["max"], sag["travel"]["target"]) == (27, 30, 28.5)
    assert answer["published"][0]["sag"]["text"] == "18–20 %"
    assert answer["basis"] == "published"


@pytest.mark.parametrize(("sag", "applies"), [("18", True), ("19", True), ("20", True), ("17", False), ("25", False)])
def test_a_guide_with_a_range_is_for_every_sag_within_it(sag: str, applies: bool) -> None:
    answer = ask(*FORK, guide(**RANGE), rider_mass="75", sag=sag)
    assert ("published" in {each["basis"] for each in answer["bases"]}) == applies


def test_a_range_of_pressure_is_no_single_figure() -> None:
    pressures = {"pressure": None, "pressure_min": "70", "pressure_max": "74"}
    shown: Any = ask(*FORK, guide(**pressures), rider_mass="75")["start_pressure"]
    assert (shown["kind"], shown["text"], shown["target"], "value" in shown) == ("range", "70–74 psi", 72, False)


@pytest.mark.parametrize(
    ("clicks", "text"),
    [
        (AdjusterCount(None, 12, 13), "12–13 clicks from open (5–6 from closed)"),
        (AdjusterCount(12, 11, 13), "12 (11–13) clicks from open (6 (5–7) from closed)"),
        (AdjusterCount(None, 12, None), "≥ 12 clicks from open (≤ 6 from closed)"),
        (AdjusterCount(None, 12, 19), "12–19 clicks from open"),
    ],
)
def test_a_range_of_clicks_is_counted_from_both_ends(clicks: AdjusterCount, text: str) -> None:
    assert clicks_view(clicks, "open", 18)["text"] == text


def test_clicks_and_turns_of_a_guide_may_be_a_range() -> None:
    rows = guide(damper=("damper-a",), rebound_clicks_min=12, rebound_clicks_max=13)
    shown: Any = ask(*FORK, rows, rider_mass="75", damper="damper-a")["published"][0]["rebound_clicks"]
    assert (shown["min"], shown["max"], shown["from"], "count" in shown) == (12, 13, "open", False)
    assert shown["text"] == "12–13 clicks from open (5–6 from closed)"
    turns = turns_view(AdjusterCount(None, Decimal(1), Decimal("2.5")))
    assert turns == {"min": 1, "max": 2.5, "from": "minimum preload", "text": "1–2.5 turns in from minimum preload"}


TRAIL, PARK = guide(id="trail", riding="trail"), guide(id="park", riding="park", pressure="77")


def test_columns_for_trail_and_park_stand_side_by_side_until_one_is_chosen() -> None:
    both: Any = ask(*FORK, TRAIL, PARK, rider_mass="75")
    shown = [(each["riding"], each["pressure"]["text"]) for each in both["published"]]
    assert shown == [("park", "77 psi"), ("trail", "70 psi")]
    assert {each["parameter"]: each["values"] for each in both["undecided"]} == {"riding": ["park", "trail"]}
    assert "published" not in {each["basis"] for each in both["bases"]}
    park: Any = ask(*FORK, TRAIL, PARK, rider_mass="75", riding="park")
    assert (start(park), park["asked"]["riding"], park["undecided"]) == ("77 psi", "park", [])


def test_a_line_for_any_riding_counts_if_there_is_none_for_the_kind_asked_for() -> None:
    general = guide(id="general", pressure="72")
    assert start(ask(*FORK, general, PARK, rider_mass="75", riding="park")) == "77 psi"
    assert start(ask(*FORK, general, PARK, rider_mass="75", riding="other")) == "72 psi"
    open_ones = ask(*FORK, general, PARK, rider_mass="75")["undecided"]
    assert [each["values"] for each in open_ones] == [["other", "park"]]
    assert ask(*FORK, TRAIL, PARK, rider_mass="75", riding="other")["undecided"]


@pytest.mark.parametrize(
    ("asked", "code", "suggestion"),
    [
        ({"riding": "parc"}, "riding-unknown", "park"),
        ({"condition": ["ebike"]}, "condition-unknown", "e-bike"),
    ],
)
def test_an_unknown_riding_or_condition_is_refused_with_the_nearest(
    asked: dict[str, Any], code: str, suggestion: str
) -> None:
    with pytest.raises(Invalid) as refusal:
        ask(*FORK, TRAIL, PARK, adjustment(), rider_mass="75", **asked)
    assert [(each.code, each.suggestion) for each in refusal.value.faults] == [(code, suggestion)]


def test_an_adjustment_is_shown_beside_the_guide_and_added_only_if_asked_for() -> None:
    beside: Any = ask(*FORK, guide(), adjustment(), rider_mass="75")
    assert start(beside) == "70 psi"
    assert [(each["text"], each["added"]) for each in beside["adjustments"]] == [("add 8 psi", False)]
    assert "adjusted" not in beside
    added: Any = ask(*FORK, guide(), adjustment(), rider_mass="75", condition=["e-bike"])
    assert start(added) == "78 psi"
    assert added["bases"][0]["statements"] == ["guide-70", "add-pressure"]
    assert "e-bike" in added["bases"][0]["text"]
    assert added["published"][0]["pressure"]["text"] == "70 psi"
    assert added["adjusted"][0]["pressure"]["text"] == "78 psi"
    assert [each["added"] for each in added["adjustments"]] == [True]


def test_an_adjustment_that_two_documents_give_names_both() -> None:
    answer: Any = ask(*FORK, guide(), adjustment(), adjustment(id="add-too"), rider_mass="75", condition=["e-bike"])
    ((first, others),) = [(each["id"], each["also_in"]) for each in answer["adjustments"]]
    assert (first, [each["id"] for each in others]) == ("add-pressure", ["add-too"])
    assert start(answer) == "78 psi"


@pytest.mark.parametrize(
    ("row", "more", "shown"),
    [
        (adjustment(value="0.5", unit="bar"), {}, ("pressure", "77 psi")),  # 7.25 psi, to the last digit of 70
        (adjustment(value="-5"), {}, ("pressure", "65 psi")),
        (adjustment(), {"pressure": None, "pressure_min": "70", "pressure_max": "74"}, ("pressure", "78–82 psi")),
        (adjustment("sag", "2", "%"), RANGE, ("sag", "20–22 %")),
        (
            adjustment("rebound clicks", "-2", None),
            {"rebound_clicks": 9, "damper": ("damper-a",)},
            ("rebound_clicks", "7"),
        ),
        (
            adjustment("compression clicks", "1", None),
            {"compression_clicks_min": 3, "compression_clicks_max": 4},
            ("compression_clicks", "4–5 clicks"),
        ),
    ],
)
def test_what_is_added_keeps_digits_and_ranges(row: Adjustment, more: dict[str, Any], shown: tuple[str, str]) -> None:
    answer: Any = ask(*FORK, guide(**more), row, rider_mass="75", condition=["e-bike"], damper="damper-a")
    assert answer["adjusted"][0][shown[0]]["text"].startswith(shown[1])


def test_what_cannot_be_added_is_a_gap_and_changes_nothing() -> None:
    less: Any = ask(*FORK, guide(), adjustment(value="-80"), rider_mass="75", condition=["e-bike"])
    assert (start(less), less["adjustments"][0]["added"]) == ("70 psi", False)
    assert "add-pressure cannot be added to guide-70" in gaps(less)["adjustment"]
    two = [adjustment(), adjustment(id="again", value="9", damper=("damper-a",))]
    unsure = ask(*FORK, guide(), *two, rider_mass="75", condition=["e-bike"])
    assert start(unsure) == "70 psi"
    assert "More than one adjustment may apply for e-bike" in gaps(unsure)["adjustment"]


def test_an_open_end_with_a_figure_is_that_figure_and_says_that_it_is_open() -> None:
    last = guide(95, id="last", rider_mass_to=None, pressure="95")
    answer = ask(*FORK, guide(), last, rider_limit("150"), rider_mass="130")
    assert start(answer) == "95 psi"
    assert "no upper end" in answer["bases"][0]["text"]
    assert not ask(*FORK, guide(), rider_mass="95")["published"], "a closed guide says nothing above its end"


def test_above_an_open_end_with_words_there_are_the_words_and_no_figure() -> None:
    answer: Any = ask(*FORK, guide(), words_from("95"), rider_mass="95")
    assert answer["headline"] == {
        "what": "instruction", "text": "The guide gives no figure for this rider: ask the maker.",
    }  # fmt: skip
    assert not {"start_pressure", "basis", "band", "peak_pressure"} & answer.keys()
    assert (answer["bases"], answer["curve"], answer["by_spacers"]) == ([], [], [])
    assert answer["published"][0]["instruction"] == "ask the maker"
    assert "start_pressure" in ask(*FORK, guide(), words_from("95"), rider_mass="94.9")
