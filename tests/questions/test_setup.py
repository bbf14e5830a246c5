"""Set-up of an air spring against root finding on the raw formulas: start, curve, spacers, limits, altitude."""

import math

import pytest
from scipy.optimize import brentq

from app.errors import Invalid
from tests.questions.setup_rows import (
    PA,
    PSI,
    ask,
    codes,
    fit,
    gaps,
    load_n,
    raw_force,
    raw_start_psi,
    rider_limit,
    spring,
)

FORK = (spring(), fit())


@pytest.mark.parametrize(
    ("asked", "load", "sag_mm"),
    [
        ({"rider_mass": "80"}, load_n(80), 30.0),  # 20 % if not stated: common practice, no source
        ({"rider_mass": "80", "sag": "25"}, load_n(80), 37.5),
        ({"rider_mass": "80", "sag": "1.5in"}, load_n(80), 38.1),
        ({"rider_mass": "176lb", "sag": "25%"}, load_n(176 * 0.45359237), 37.5),
        ({"rider_mass": "95", "bike_mass": "12", "front_share": "46", "head_angle": "63.5", "sag": "30"},
         load_n(95, 12, 0.46, 63.5), 45.0),
    ],
)  # fmt: skip
def test_the_start_pressure_carries_the_load_at_the_sag(asked: dict[str, str], load: float, sag_mm: float) -> None:
    answer = ask(*FORK, **asked)
    expected = raw_start_psi(sag_mm / 1000, load)
    start = answer["start_pressure"]
    assert (answer["basis"], start["unit"], start["basis"]) == ("computed", "psi", "computed")
    assert start["value"] == pytest.approx(expected, abs=0.51)  # shown in whole psi
    assert start["min"] < expected < start["max"]
    assert answer["load"]["value"] == pytest.approx(load, abs=0.51)
    assert answer["sag"]["travel"]["value"] == pytest.approx(sag_mm, abs=0.051)
    assert answer["sag"]["percent"]["value"] == pytest.approx(sag_mm / 1.5, abs=0.051)
    known = "front_share" in asked  # then the share is known to 2 %, and friction matters most
    assert answer["band"]["biggest"] == ("friction" if known else "the share of the weight on the front wheel")


def test_what_is_given_narrows_the_band_and_is_no_assumption() -> None:
    bare = ask(*FORK, rider_mass="80", sag="25")
    known = ask(*FORK, rider_mass="80", sag="25", front_share="40", bike_mass="15", head_angle="66", friction="5")
    width = [each["start_pressure"]["max"] - each["start_pressure"]["min"] for each in (bare, known)]
    assert width[1] < 0.6 * width[0]
    names = [{each["name"] for each in answer["assumptions"]} for answer in (bare, known)]
    assert names[0] - names[1] == {"front_share", "bike_mass", "head_angle", "friction"}
    assert all("common practice" in each["text"] for each in bare["assumptions"] if each["name"] in names[0] - names[1])


def test_the_fork_rests_where_the_force_is_zero_and_the_ring_shows_the_rest_of_the_sag() -> None:
    answer = ask(*FORK, rider_mass="80", sag="25")
    start = answer["start_pressure"]["value"] * PSI + PA
    assert raw_force(0.0, start) < 0
    assert answer["curve"][0]["force"]["value"] < 0
    rest_mm = brentq(lambda x: raw_force(x, start), 0, 0.05) * 1000
    assert answer["free_travel"]["value"] == pytest.approx(rest_mm, abs=0.051)
    assert answer["sag"]["from_rest"]["value"] == pytest.approx(37.5 - rest_mm, abs=0.051)
    assert "full extension" in answer["sag"]["text"]


def test_the_curve_is_slow_to_the_sag_and_fast_beyond_and_ends_at_the_peak() -> None:
    answer = ask(*FORK, rider_mass="80", sag="25")
    start = answer["start_pressure"]["value"] * PSI + PA
    sag = brentq(lambda x: raw_force(x, start) - load_n(80), 0.02, 0.06)
    assert answer["sag"]["expected"]["value"] == pytest.approx(1000 * sag, abs=0.051)
    area, shaft = math.pi * 0.0315**2 / 4, math.pi * 0.010**2 / 4
    for point in answer["curve"]:
        x = point["travel"]["value"] / 1000
        assert point["slow_force"]["value"] == pytest.approx(raw_force(x, start), rel=2e-3, abs=1)
        if x <= sag:
            expected = raw_force(x, start)
        else:  # isothermal to the sag, then polytropic about it, 1.30 to 1.41 (Cengel & Boles)
            positive = [80e-6 - 8e-6 + area * (0.150 - at) for at in (0.0, 0.004, sag, x)]
            negative = [20e-6 + (area - shaft) * at for at in (0.0, 0.004, sag, x)]
            push = start * positive[0] / positive[2] * (positive[2] / positive[3]) ** 1.355
            pull = start * positive[0] / positive[1] * negative[1] / negative[2] * (negative[2] / negative[3]) ** 1.355
            expected = push * area - pull * (area - shaft) - shaft * PA
        assert point["force"]["value"] == pytest.approx(expected, rel=2e-3, abs=1)
    last = answer["curve"][-1]
    assert (last["travel"]["value"], last["pressure"]["value"]) == (150.0, answer["peak_pressure"]["value"])
    assert any(point["travel"]["value"] == answer["sag"]["expected"]["value"] for point in answer["curve"])
    assert answer["curve"][0]["pressure"]["value"] == answer["start_pressure"]["value"]


def test_each_number_of_spacers_carries_the_same_load_at_the_same_sag() -> None:
    answer = ask(*FORK, rider_mass="80", sag="25")
    rows, sag = answer["by_spacers"], answer["sag"]["expected"]["value"]
    assert [row["spacers"] for row in rows] == [0, 1, 2, 3]
    for row in rows:
        expected = raw_start_psi(0.0375, load_n(80), row["spacers"])
        assert row["start_pressure"]["value"] == pytest.approx(expected, abs=0.51)
        assert row["within_limit"] is True
        at_sag = next(point for point in row["curve"] if point["travel"]["value"] == sag)
        assert at_sag["force"]["value"] == pytest.approx(load_n(80), abs=0.51)
        assert row["expected_sag"]["value"] == pytest.approx(sag, abs=0.11)
        assert row["progression"]["value"] == pytest.approx(row["peak_force"]["value"] / load_n(80), rel=5e-3)
    peaks = [row["peak_pressure"]["value"] for row in rows]
    assert peaks == sorted(peaks)
    assert len(set(peaks)) == 4


def test_the_same_pressure_gives_the_same_sag_in_millimetres_within_a_family() -> None:
    family = (spring(140), spring(150), spring(160), fit(140), fit(150), fit(160))
    answers = {travel: ask(*family, rider_mass="80", sag="38mm", travel=str(travel)) for travel in (140, 150, 160)}
    assert len({answer["start_pressure"]["value"] for answer in answers.values()}) == 1
    told = answers[150]["travel_change"]
    assert told["same_pressure"] is True
    assert [each["id"] for each in told["siblings"]] == ["spring-140", "spring-160"]
    assert "same sag in millimetres" in told["text"]
    by_spacers = ask(spring(travel_set_by="travel spacer"), fit(travel_spacers=0), rider_mass="80")["travel_change"]
    assert by_spacers["same_pressure"] is False
    assert "measure again" in by_spacers["text"]


def test_a_start_pressure_over_the_limit_is_said_and_never_clamped() -> None:
    heavy = ask(*FORK, rider_mass="115", sag="14")
    expected = raw_start_psi(0.021, load_n(115))
    assert expected > 120
    assert heavy["start_pressure"]["value"] == pytest.approx(expected, abs=0.51)
    assert [(each["of"], each["within"]) for each in heavy["limits"]["pressure"]] == [("fit", False), ("spring", False)]
    assert "over-pressure-limit" in codes(heavy)
    assert "above" in heavy["limits"]["text"]
    assert all(row["within_limit"] is False and "pressure limit" in row["exceeds"] for row in heavy["by_spacers"])


def test_the_peak_is_not_compared_with_the_fill_limit() -> None:
    answer = ask(*FORK, rider_mass="80", sag="25")
    assert answer["peak_pressure"]["value"] > 2 * 110
    assert "over-pressure-limit" not in codes(answer)
    assert all(each["within"] for each in answer["limits"]["pressure"])


@pytest.mark.parametrize(("limit", "within"), [("79", True), ("78", False)])
def test_the_limit_holds_at_its_boundary(limit: str, within: bool) -> None:
    expected = raw_start_psi(0.0375, load_n(95))
    assert 78 < expected < 79
    answer = ask(spring(), fit(pressure_limit=limit), rider_mass="95", sag="25")
    assert answer["limits"]["pressure"][0]["within"] is within
    assert ("over-pressure-limit" in codes(answer)) is not within


def test_more_spacers_than_permitted_are_computed_and_warned_of() -> None:
    answer = ask(*FORK, rider_mass="80", sag="25", spacers=5)
    assert answer["spacers"] == 5
    assert answer["limits"]["spacers"] == {"limit": 3, "within": False}
    assert [row["exceeds"] for row in answer["by_spacers"]] == [[], [], [], [], ["spacer limit"], ["spacer limit"]]
    assert "over-spacer-limit" in codes(answer)


def test_an_unstated_limit_is_a_gap_and_nothing_is_within_it() -> None:
    answer = ask(spring(pressure_limit=None), fit(pressure_limit=None, spacer_limit=None), rider_mass="80", sag="25")
    assert {"spacer-limit", "pressure-limit"} <= gaps(answer).keys()
    assert [row["spacers"] for row in answer["by_spacers"]] == [0, 1]
    assert all("within_limit" not in row for row in answer["by_spacers"])
    assert "does not mean" in answer["limits"]["text"]


def test_a_rider_over_the_mass_limit_is_warned_of() -> None:
    within, over = (ask(*FORK, rider_limit(), rider_mass=mass, sag="30") for mass in ("120", "120.1"))
    assert [each["limits"]["rider_mass"][0]["within"] for each in (within, over)] == [True, False]
    assert "over-rider-mass-limit" in codes(over) - codes(within)


def test_altitude_and_temperature_follow_gay_lussac_and_the_standard_atmosphere() -> None:
    answer = ask(*FORK, rider_mass="80", sag="25", altitude="3000", temperature="5", pressure_unit="kPa")
    start = raw_start_psi(0.0375, load_n(80)) * PSI
    there_pa = 70121.0  # ISO 2533 at 3000 m geometric, table value 70 121 Pa (as in atmosphere.csv)
    block = answer["altitude"]
    shaft = math.pi * 0.010**2 / 4
    coefficient = (load_n(80) + shaft * PA) / (start + PA)  # F = c·P - As·pa
    needed = (load_n(80) + shaft * there_pa) / coefficient  # carries the load at that sag up there
    reading = needed - there_pa
    fill = needed * 293.15 / 278.15 - PA
    assert block["reading_there"]["value"] == pytest.approx(reading / 1000, abs=0.6)
    assert block["fill_to"]["value"] == pytest.approx(fill / 1000, abs=0.6)
    assert {"fill_temperature", "fill_altitude"} <= {each["name"] for each in answer["assumptions"]}
    assert "altitude" not in ask(*FORK, rider_mass="80", sag="25")


def test_units_are_as_wished() -> None:
    answer = ask(*FORK, rider_mass="80", sag="25", units="metric", length_unit="in", force_unit="lbf")
    assert answer["start_pressure"]["value"] == pytest.approx(raw_start_psi(0.0375, load_n(80)) * PSI / 1e5, abs=0.051)
    assert (answer["sag"]["travel"]["unit"], answer["load"]["unit"]) == ("in", "lbf")


@pytest.mark.parametrize(
    ("asked", "parameter", "said"),
    [
        ({"rider_mass": "10"}, "rider_mass", "at least 20 kg"),
        ({"rider_mass": "80psi"}, "rider_mass", "not of mass"),
        ({"bike_mass": "200"}, "bike_mass", "at most 60 kg"),
        ({"front_share": "0.4"}, "front_share", "at least 20 %"),
        ({"sag": "70"}, "sag", "at most 60 %"),
        ({"sag": "120mm"}, "sag", "between 7.5 and 90 mm for 150 mm of travel"),
        ({"head_angle": "20"}, "head_angle", "at least 55"),
        ({"friction": "500"}, "friction", "at most 200 N"),
        ({"altitude": "9000"}, "altitude", "at most 5000 m"),
        ({"fill_altitude": "-1"}, "fill_altitude", "at least 0 m"),
        ({"temperature": "100"}, "temperature", "at most 70"),
        ({"fill_temperature": "-60"}, "fill_temperature", "at least -50"),
        ({"reading": ["38mm"]}, "reading", "joined by @"),
        ({"reading": ["38mm@1psi"]}, "reading", "5 to 600 psi"),
        ({"spacers": 10, "rider_mass": "80"}, "spacers", "0 to 9"),
        ({"travel": "200"}, "travel", "not 200 mm"),
    ],
)
def test_out_of_range_names_the_parameter_and_the_range(asked: dict[str, object], parameter: str, said: str) -> None:
    with pytest.raises(Invalid) as refused:
        ask(*FORK, **asked)
    fault = refused.value.faults[0]
    assert fault.parameter == parameter
    assert said in fault.text


def test_a_sag_above_the_point_of_rest_is_refused_with_the_least_that_is_possible() -> None:
    far_port = spring(port_travel_mm="30")
    with pytest.raises(Invalid) as refused:
        ask(far_port, fit(), rider_mass="80", sag="5")
    assert refused.value.faults[0].parameter == "sag"
    assert "more than" in refused.value.faults[0].text
