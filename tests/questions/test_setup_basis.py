"""The basis of a start pressure: each kind on its own, their order of precedence, and the gap if none is possible."""

from decimal import Decimal
from typing import Any

import pytest
from scipy.optimize import brentq

from tests.questions.setup_rows import (
    AREA_CM2,
    PA,
    PSI,
    ask,
    codes,
    fit,
    gaps,
    guide,
    load_n,
    raw_force,
    raw_start_psi,
    reading,
    spring,
)

BARE = spring(end_volume_ml=None, negative_volume_ml=None, port_travel_mm=None, geometry_basis=None)


def bases(answer: Any) -> list[str]:
    return [each["basis"] for each in answer["bases"]]


def test_the_guide_comes_first_unchanged_and_the_computed_beside_it() -> None:
    answer = ask(spring(), fit(), guide(70, 80, pressure="62"), rider_mass="75")
    assert bases(answer) == ["published", "computed"]
    assert answer["basis"] == "published"
    assert (answer["start_pressure"]["text"], answer["start_pressure"]["basis"]) == ("62 psi", "published")
    assert answer["bases"][0]["statements"] == ["guide-70"]
    assert answer["sag"]["percent"]["value"] == 20
    assert "bases-disagree" not in codes(answer)
    assert answer["curve"][0]["pressure"]["value"] == 62
    sag = brentq(lambda x: raw_force(x, 62 * PSI + PA) - load_n(75), 0.01, 0.1)
    assert answer["sag"]["expected"]["value"] == pytest.approx(1000 * sag, abs=0.051)


@pytest.mark.parametrize(("pressure", "disagree"), [("62", False), ("110", True), ("20", True)])
def test_published_and_computed_beyond_their_bands_are_both_shown_with_a_caution(pressure: str, disagree: bool) -> None:
    answer = ask(spring(), fit(), guide(pressure=pressure), rider_mass="75")
    assert len(answer["bases"]) == 2
    assert ("bases-disagree" in codes(answer)) is disagree


@pytest.mark.parametrize(("mass", "row"), [("70", "guide-70"), ("79.99", "guide-70"), ("80", "guide-80")])
def test_mass_brackets_are_half_open(mass: str, row: str) -> None:
    answer = ask(BARE, fit(), guide(70, 80), guide(80, 90), rider_mass=mass)
    assert [each["id"] for each in answer["published"]] == [row]


def test_a_guide_is_not_scaled_to_another_sag_or_other_spacers() -> None:
    other_sag = ask(BARE, fit(), guide(), rider_mass="75", sag="25")
    other_spacers = ask(BARE, fit(), guide(), rider_mass="75", spacers=2)
    for answer in (other_sag, other_spacers):
        assert "start_pressure" not in answer
        assert [each["id"] for each in answer["published"]] == ["guide-70"]
        assert "not scaled" in gaps(answer)["published"]
    assert ask(BARE, fit(), guide(), rider_mass="75", sag="20", spacers=1)["basis"] == "published"


def test_a_guide_without_gear_answers_only_where_any_gear_leaves_one_row() -> None:
    rows = [guide(low, low + 10, mass_is="without") for low in (60, 70)]
    sure = ask(BARE, fit(), *rows, rider_mass="79")  # 71 to 76 kg without 3 to 8 kg of gear
    assert (sure["basis"], [each["id"] for each in sure["published"]]) == ("published", ["guide-70"])
    assert "gear" in {each["name"] for each in sure["assumptions"]}
    either = ask(BARE, fit(), *rows, rider_mass="75")
    assert "start_pressure" not in either
    assert {each["id"] for each in either["published"]} == {"guide-60", "guide-70"}
    assert "without gear" in gaps(either)["rider-mass-without-gear"]


def test_two_guides_told_apart_by_a_damper_leave_it_undecided_and_unpublished() -> None:
    rows = [guide(damper=("damper-a",), pressure="70"), guide(damper=("damper-b",), pressure="80", id="guide-b")]
    answer = ask(BARE, fit(), *rows, rider_mass="75")
    assert [each["parameter"] for each in answer["undecided"]] == ["damper"]
    assert "start_pressure" not in answer
    assert ask(BARE, fit(), *rows, rider_mass="75", damper="damper-b")["start_pressure"]["value"] == 80


def test_two_own_sags_give_the_pressure_between_them() -> None:
    force = 400.0  # a load that the program does not know: one rider both times
    readings = [f"{sag}mm@{raw_start_psi(sag / 1000, force):.2f}psi" for sag in (30, 40)]
    answer = ask(BARE, fit(), sag="35mm", reading=readings)
    assert answer["basis"] == "measured from two sags"
    assert answer["start_pressure"]["value"] == pytest.approx(raw_start_psi(0.035, force), rel=0.02)
    assert answer["start_pressure"]["basis"] == "measured"
    assert "from the same point as both measured sags" in answer["sag"]["text"]
    far = ask(BARE, fit(), sag="50mm", reading=readings)
    assert "start_pressure" not in far
    assert "too far outside" in gaps(far)["two-sags"]


def test_of_several_sags_the_pair_nearest_the_wanted_one_is_used() -> None:
    readings = [f"{sag}mm@{raw_start_psi(sag / 1000, 400):.2f}psi" for sag in (22, 34, 40, 44)]
    best = ask(BARE, fit(), sag="36mm", reading=readings)
    alone = ask(BARE, fit(), sag="36mm", reading=[readings[0], readings[3]])
    width = [each["start_pressure"]["max"] - each["start_pressure"]["min"] for each in (best, alone)]
    assert width[0] <= width[1]
    assert best["start_pressure"]["value"] == pytest.approx(raw_start_psi(0.036, 400), rel=0.02)


def listed_sags(mass: str = "80", spacers: int = 1) -> list[Any]:
    force = load_n(float(mass))
    return [
        reading(
            f"sag-{sag}", at_travel_mm=str(sag), pressure=f"{raw_start_psi(sag / 1000, force):.1f}",
            rider_mass=mass, mass_unit="kg", spacers=spacers,
        )
        for sag in (30, 40)
    ]  # fmt: skip


def test_listed_sags_answer_for_a_rider_of_that_mass_with_those_spacers_only() -> None:
    answer = ask(BARE, fit(), *listed_sags(), rider_mass="80.5", sag="35mm")
    assert (answer["basis"], answer["bases"][0]["statements"]) == ("measured from two sags", ["sag-30", "sag-40"])
    assert "start_pressure" not in ask(BARE, fit(), *listed_sags(), rider_mass="84", sag="35mm")
    assert "start_pressure" not in ask(BARE, fit(), *listed_sags(spacers=0), rider_mass="80", sag="35mm")


def listed_force(**more: Any) -> Any:
    force = raw_force(0.035, 70 * PSI + PA)
    own = {"at_travel_mm": "35", "pressure": "70", "force": f"{force:.1f}", "force_unit": "N", "direction": "mean"}
    return reading(**{"id": "force", **own, **more})


def test_one_force_is_scaled_to_the_load_at_its_own_travel_only() -> None:
    answer = ask(BARE, fit(), listed_force(), rider_mass="80", sag="35mm")
    assert (answer["basis"], answer["bases"][0]["statements"]) == ("measured from one force", ["force"])
    assert answer["start_pressure"]["value"] == pytest.approx(raw_start_psi(0.035, load_n(80)), abs=0.6)
    assert "start_pressure" not in ask(BARE, fit(), listed_force(), rider_mass="80", sag="37mm")
    no_shaft = ask(BARE.replaced(shaft_diameter_mm=None), fit(), listed_force(), rider_mass="80", sag="35mm")
    assert "Measure the shaft" in gaps(no_shaft)["shaft-diameter"]


def test_a_force_in_and_out_loses_its_friction_and_one_direction_alone_widens_the_band() -> None:
    true = raw_force(0.035, 70 * PSI + PA)
    pair = [
        listed_force(force=f"{true + 15:.1f}", direction="compressing"),
        listed_force(force=f"{true - 15:.1f}", direction="extending", id="out"),
    ]
    asked = {"rider_mass": "80", "sag": "35mm", "pressure_unit": "kPa"}  # whole psi would hide the difference
    both = ask(BARE, fit(), *pair, **asked)["start_pressure"]
    alone = ask(BARE, fit(), pair[0], **asked)["start_pressure"]
    assert both["value"] == pytest.approx(raw_start_psi(0.035, load_n(80)) * PSI / 1000, abs=0.6 * PSI / 1000)
    assert alone["max"] - alone["min"] > both["max"] - both["min"]


def gauge_readings() -> list[tuple[float, float]]:
    """(travel mm, psi) of three slow readings of the raw spring, by bookkeeping of the air (Boyle; mass conserved)."""
    area, ring = AREA_CM2 * 1e-4, AREA_CM2 * 1e-4 - 3.141592653589793 * 0.005**2
    positive = [72e-6 + area * (0.150 - x) for x in (0.0, 0.004, 0.100)]
    negative = [20e-6 + ring * x for x in (0.0, 0.004)]
    filled = 95 * PSI + PA
    at_port = (filled * positive[0] + PA * negative[1]) / (positive[1] + negative[1])
    cycled = at_port * positive[1] / positive[0]
    held = cycled * positive[0] / positive[2]
    return [(0, (filled - PA) / PSI), (0, (cycled - PA) / PSI), (100, (held - PA) / PSI)]


NO_VOLUMES = spring(end_volume_ml=None, negative_volume_ml=None)


def test_three_own_gauge_readings_find_the_spring_and_everything_it_does() -> None:
    readings = [f"{travel}mm@{psi:.4f}psi" for travel, psi in gauge_readings()]
    answer = ask(NO_VOLUMES, fit(), rider_mass="80", sag="25", reading=readings)
    assert bases(answer) == ["measured geometry"]
    assert answer["start_pressure"]["value"] == pytest.approx(raw_start_psi(0.0375, load_n(80)), abs=0.6)
    assert "geometry" not in gaps(answer)
    expected = [raw_start_psi(0.0375, load_n(80), spacers) for spacers in range(4)]
    assert [row["start_pressure"]["value"] for row in answer["by_spacers"]] == pytest.approx(expected, abs=0.6)


def test_listed_gauge_readings_come_before_the_computed() -> None:
    rows = [
        reading(f"gauge-{n}", state=state, at_travel_mm=f"{travel:g}", pressure=f"{psi:.3f}")
        for n, (state, (travel, psi)) in enumerate(
            zip(("filled", "extended, after cycling", "held compressed"), gauge_readings(), strict=True)
        )
    ]
    answer = ask(spring(), fit(), *rows, rider_mass="80", sag="25")
    assert bases(answer) == ["measured geometry", "computed"]
    assert answer["bases"][0]["statements"] == ["gauge-0", "gauge-1", "gauge-2"]


def test_readings_that_cannot_belong_together_are_a_gap_that_says_why() -> None:
    answer = ask(NO_VOLUMES, fit(), rider_mass="80", sag="25", reading=["0mm@90psi", "0mm@80psi", "100mm@60psi"])
    assert any("third reading" in each["text"] for each in answer["gaps"])
    assert "start_pressure" not in answer


@pytest.mark.parametrize("negative", ["coil", "none"])
def test_what_is_not_modelled_is_a_gap_and_no_number(negative: str) -> None:
    answer = ask(spring(negative=negative), fit(), rider_mass="80", sag="25")
    assert "start_pressure" not in answer
    assert not answer["curve"]
    assert "only negative chambers filled with air" in gaps(answer)["geometry"]


def test_unknown_geometry_names_what_is_missing_and_the_shortest_measurement() -> None:
    answer = ask(BARE, fit(), rider_mass="80")
    assert "positive chamber's volume" in gaps(answer)["geometry"]
    assert "reading=34mm@55psi&reading=28mm@62psi" in gaps(answer)["start-pressure"]
    assert not answer["bases"]


def test_without_a_rider_nothing_is_weighed() -> None:
    answer = ask(spring(), fit(), guide())
    assert "start_pressure" not in answer
    assert "rider_mass" in gaps(answer)["rider-mass"]


def test_unknown_spacers_are_asked_for_not_assumed() -> None:
    answer = ask(spring(), fit(spacers_fitted=None), rider_mass="80")
    assert "start_pressure" not in answer
    assert "Give spacers" in gaps(answer)["spacers"]
    assert ask(spring(), fit(spacers_fitted=None), rider_mass="80", spacers=0)["spacers"] == 0
    assert ask(spring(), fit(spacers_fitted=None, spacer_limit=0), rider_mass="80")["spacers"] == 0


def test_travel_spacers_leave_the_volumes_unknown() -> None:
    spaced = spring(travel_set_by="travel spacer")
    assert "with this travel's travel spacers" in gaps(ask(spaced, fit(travel_spacers=1), rider_mass="80"))["geometry"]
    assert ask(spaced, fit(travel_spacers=0), rider_mass="80")["basis"] == "computed"


def test_several_springs_or_travels_are_undecided_and_nothing_is_computed() -> None:
    several = (spring(150), spring(160), fit(150), fit(160), spring(150, id="spring-new"))
    answer = ask(*several, rider_mass="80")
    assert {each["parameter"]: each["values"] for each in answer["undecided"]}["travel"] == ["150", "160"]
    assert "start_pressure" not in answer
    new = fit(150, id="fit-new", spring="spring-new")
    answer = ask(*several, new, rider_mass="80", travel="150")
    assert {each["parameter"]: each["values"] for each in answer["undecided"]} == {
        "spring": ["spring-150", "spring-new"]
    }
    assert "start_pressure" not in answer
    assert ask(*several, new, rider_mass="80", travel="150", spring="spring-new")["basis"] == "computed"


def test_fits_that_differ_only_in_the_wheel_are_one_set_up() -> None:
    wheels = [fit(150, id=f"fit-{wheel}", wheel_size=(wheel,)) for wheel in (584, 622)]
    answer = ask(spring(), *wheels, rider_mass="80")
    assert answer["basis"] == "computed"
    assert answer["undecided"] == []
    limits = [wheels[0], wheels[1].replaced(pressure_limit=Decimal("90"))]
    answer = ask(spring(), *limits, rider_mass="80")
    assert [each["parameter"] for each in answer["undecided"]] == ["wheel_size"]
    assert "start_pressure" not in answer


def test_no_fit_is_a_gap() -> None:
    answer = ask(spring(), fit(), travel="140", rider_mass="80")
    assert "No fit" in gaps(answer)["fit"]
    assert "start_pressure" not in answer


def test_the_raw_spring_of_these_tests_rests_where_its_own_force_is_zero() -> None:
    """Checks the formulas of the tests themselves: the closed form is a root, whatever the root finder."""
    start = raw_start_psi(0.0375, 400) * PSI + PA
    assert brentq(lambda x: raw_force(x, start) - 400, 0.01, 0.1) == pytest.approx(0.0375, abs=1e-6)
