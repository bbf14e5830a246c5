"""Springs with several valves: each chamber's pressure, maximum and place in the order of filling.

The figures are worked out by hand; 1 psi is 6894.757293168 Pa (NIST SP 811 (2008), B.8)."""

from typing import Any

import pytest

from app.catalogue.tables import Row, SpringChamber, Step, is_row_of
from app.questions.job.conditions import KeptStep, properties
from app.questions.job.filling_order import filling_order, in_filling_order
from app.questions.job.order import broken
from tests.questions.setup_rows import ask, codes, fit, gaps, guide, spring
from tests.rules.clean import clean_rows

OWN = {"negative": "own valve", "port_travel_mm": None}
FREE = {"pressure_limit": None, "pressure_unit": None}


def chamber(name: str, **more: Any) -> SpringChamber:
    own = {"id": name.replace(" ", "-"), "spring": "spring-150", "chamber": name, "valve": "own valve"}
    return SpringChamber.checked({**own, **more})


def dual(**more: Any) -> list[Row]:
    """A fork whose negative chamber is 10 psi above the main one, and whose second positive one at least 1.6 times."""
    return [
        spring(**{**OWN, **FREE, **more}), fit(**FREE), guide(pressure="82"),
        chamber("positive", order=2, maximum="110", unit="psi"),
        chamber("second positive", order=3, maximum="200", unit="psi", relative_to="positive", factor_min="1.6"),
        chamber("negative", order=1, maximum="120", unit="psi", relative_to="positive", offset="10", source="doc"),
    ]  # fmt: skip


def test_every_chamber_is_in_the_answer_in_the_order_of_filling() -> None:
    answer = ask(*dual(), rider_mass="75")
    shown = answer["chambers"]
    assert [each["chamber"] for each in shown] == ["negative", "positive", "second positive"]
    assert [each["order"] for each in shown] == [1, 2, 3]
    assert [each["pressure"]["text"] for each in shown] == ["92 psi", "82 psi", "≥ 132 psi"], "82 × 1.6 is 131.2"
    assert [each["maximum"]["text"] for each in shown] == ["≤ 120 psi", "≤ 110 psi", "≤ 200 psi"]
    assert [each.get("relative") for each in shown] == [
        "10 psi above the positive chamber", None, "at least 1.6 times the positive chamber",
    ]  # fmt: skip
    assert all(each["within_limit"] for each in shown)
    assert shown[0]["source"]["title"] == "Manual"
    text = "Fill in this order: negative 92 psi, positive 82 psi, second positive ≥ 132 psi (published)."
    assert answer["headline"]["text"] == text
    assert not {"filling-order", "second-positive-pressure", "negative-pressure"} & set(gaps(answer))
    assert ("chamber", 110) in {(each["of"], each["limit"]["max"]) for each in answer["limits"]["pressure"]}


def test_a_relative_pressure_in_other_units_is_exact_and_never_looser() -> None:
    """82 psi are 5.6537 bar; 1.6 times that is 9.046 bar, so at least 9.1 bar in steps of 0.1 bar."""
    answer = ask(*dual(), rider_mass="75", pressure_unit="bar")
    by = {each["chamber"]: each["pressure"] for each in answer["chambers"]}
    assert by["second positive"]["min"] * 1e5 >= 1.6 * 82 * 6894.757293168
    rows = [each for each in dual() if each.id != "negative"]
    bar = chamber("negative", order=1, relative_to="positive", offset="0.7", unit="bar")
    other = {each["chamber"]: each["pressure"] for each in ask(*rows, bar, rider_mass="75")["chambers"]}
    assert other["negative"]["text"] == "92.2 psi", "0.7 bar are 10.15 psi"


def test_a_negative_pressure_that_follows_is_computed_with() -> None:
    """The same fork with the published 92 psi expects the same sag."""
    alone = [chamber("negative", order=1, relative_to="positive", offset="10", unit="psi")]
    follows = ask(spring(**OWN), fit(), guide(pressure="82"), *alone, rider_mass="75")
    given = ask(spring(**OWN), fit(), guide(pressure="82"), rider_mass="75", negative_pressure="92")
    assert follows["sag"]["expected"] == given["sag"]["expected"]
    asked = ask(spring(**OWN), fit(), *alone, rider_mass="75", pressure="70")
    assert {each["chamber"]: each["pressure"]["text"] for each in asked["chambers"]}["negative"] == "80 psi"


def test_a_spring_with_a_second_positive_chamber_is_not_computed() -> None:
    rows = [each for each in dual() if each.id != "guide-70"]
    answer = ask(*rows, rider_mass="75")
    assert "second positive chamber" in gaps(answer)["geometry"]
    assert answer["bases"] == []
    assert [each["chamber"] for each in answer["chambers"]] == ["negative", "positive", "second positive"]
    assert [each["maximum"]["max"] for each in answer["chambers"]] == [120, 110, 200]
    assert all("pressure" not in each for each in answer["chambers"])


def test_a_published_pressure_of_a_chamber_comes_before_its_relation() -> None:
    own = guide(id="second", chamber="second positive", pressure="150")
    by = {each["chamber"]: each for each in ask(*dual(), own, rider_mass="75")["chambers"]}
    assert by["second positive"]["pressure"]["text"] == "150 psi"
    assert by["second positive"]["statements"] == ["second"]
    assert by["second positive"]["relative"] == "at least 1.6 times the positive chamber"


def test_a_pressure_above_the_maximum_of_its_chamber_is_shown_and_warned_of() -> None:
    answer = ask(*dual(), rider_mass="75", pressure="109.5")
    by = {each["chamber"]: each for each in answer["chambers"]}
    assert (by["positive"]["within_limit"], by["negative"]["within_limit"]) == (True, True)
    assert by["negative"]["pressure"]["text"] == "119.5 psi"
    above = ask(*dual(), rider_mass="75", pressure="111")
    assert [each["within_limit"] for each in above["chambers"]] == [False, False, True]
    assert "over-pressure-limit" in codes(above)


def test_the_limit_of_the_spring_holds_for_each_chamber() -> None:
    rows = dual(pressure_limit="115", pressure_unit="psi")
    by = {each["chamber"]: each["maximum"]["max"] for each in ask(*rows, rider_mass="75")["chambers"]}
    assert by == {"negative": 115, "positive": 110, "second positive": 115}


def test_what_is_missing_is_named() -> None:
    rows = [spring(**OWN), fit(), guide(pressure="82"), chamber("second positive"), chamber("negative", order=1)]
    missing = gaps(ask(*rows, rider_mass="75"))
    assert {"filling-order", "second-positive-pressure", "negative-pressure"} <= set(missing)


def test_each_chamber_is_filled_for_where_the_fork_is_ridden() -> None:
    """The second positive chamber keeps its absolute pressure: 5 K less in the workshop need less gauge pressure."""
    own = guide(id="second", chamber="second positive", pressure="150")
    answer = ask(*dual(), own, rider_mass="75", fill_temperature="15", temperature="20")
    warm = (150 * 6894.757293168 + 101325) * 288.15 / 293.15 - 101325
    place = answer["altitude"]
    assert place["second_positive_fill_to"]["value"] == pytest.approx(warm / 6894.757293168, abs=0.51)
    assert "negative_fill_to" in place


def step(number: int, text: str, **more: Any) -> KeptStep:
    fields = {"id": f"step-{number}", "procedure": "job", "order": number, "action": "set", "text": text}
    return KeptStep(Step.checked({**fields, **more}))


def test_steps_that_fill_change_places_only_if_they_follow_each_other() -> None:
    rows = [each for each in dual() if is_row_of(each, SpringChamber)]
    order = filling_order(spring(**OWN), rows)
    assert order == ["negative", "positive", "second positive"]
    main, extra, second = step(1, "{filling}"), step(2, "{extra}"), step(3, "{second}")
    check = step(9, "Look.")
    assert in_filling_order([check, main, extra, second, check], order) == [check, second, main, extra, check]
    apart = [main, check, second]
    assert in_filling_order(apart, order) == apart
    assert in_filling_order([main, second], []) == [main, second]
    assert filling_order(spring(**OWN), [chamber("positive", order=1)]) == []
    assert filling_order(spring(), rows[:1]) == []


def test_a_card_needs_a_step_for_each_known_valve() -> None:
    dampers = [clean_rows()["dampers", "damper-a"]]
    second = chamber("second positive")
    chassis: Any = clean_rows()["chassis", "fork-a"]
    having = properties(chassis, spring(**OWN), dampers, [], [], [second])  # type: ignore[arg-type]
    assert having["second_positive"] == {"own valve"}
    out = [step(each, "Let the air out.", action="empty") for each in (1, 2, 3)]
    assert broken(out, spring(**OWN), having) == []
    assert [fault.code for fault in broken(out[:2], spring(**OWN), having)] == ["procedure-unsafe"]
    doubtful = KeptStep(out[2].step, ("negative",))
    assert "only two of them are emptied" in broken([*out[:2], doubtful], spring(**OWN), having)[0].text
    without: Any = properties(chassis, spring(), dampers, [], [])  # type: ignore[arg-type]
    assert without["second_positive"] == {"none"}
    open_valve = properties(chassis, spring(), dampers, [], [], [chamber("second positive", valve=None)])  # type: ignore[arg-type]
    assert open_valve["second_positive"] == {None}
