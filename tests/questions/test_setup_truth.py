"""Everything shown with a figure is as true as the figure: limits, chambers, place, spacers, sources, readings."""

import math
from decimal import Decimal
from typing import Any

import pytest
from scipy.optimize import brentq

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Chassis, Fit
from app.questions.setup.parameters import SetupAsked
from app.questions.setup.setup import setup
from tests.questions.setup_rows import (
    AREA_CM2,
    CHASSIS,
    PA,
    PSI,
    ask,
    codes,
    coil,
    coil_fit,
    fit,
    gaps,
    guide,
    load_n,
    raw_force,
    raw_start_psi,
    rider_limit,
    spring,
)
from tests.questions.test_setup_coil import guide as coil_guide
from tests.questions.test_setup_coil import rows as coils

FORK = (spring(), fit())
BARE = spring(end_volume_ml=None, negative_volume_ml=None, port_travel_mm=None, geometry_basis=None)


def test_rider_and_place_are_in_what_was_asked() -> None:
    answer = ask(*FORK, rider_mass="176lb", altitude="2300", temperature="5", fill_altitude="400", sag="25", spacers=2)
    shown: Any = answer["asked"]
    assert (shown["rider_mass"]["text"], shown["altitude"]["text"]) == ("176 lb", "2300 m")
    assert (shown["temperature"]["value"], shown["fill_altitude"]["text"], shown["spacers"]) == (5, "400 m", 2)
    assert shown["sag"]["text"] == "25 %"


def test_above_the_mass_limit_the_headline_is_the_limit_and_there_is_no_pressure() -> None:
    within, over = (ask(*FORK, rider_limit(), guide(60, 130), rider_mass=mass) for mass in ("120", "121"))
    assert within["headline"]["what"] == "start-pressure"
    assert over["headline"]["what"] == "rider-mass-limit"
    assert "120 kg" in over["headline"]["text"]
    assert "121 kg" in over["headline"]["text"]
    assert not {"start_pressure", "basis", "band", "peak_pressure", "altitude"} & over.keys()
    assert not over["bases"]
    assert not over["curve"]
    heavy = ask(*coils(), rider_limit("90"), rider_mass="95")
    assert (heavy["headline"]["what"], "coil" in heavy) == ("rider-mass-limit", False)


def test_a_pressure_below_what_a_gauge_reads_is_said() -> None:
    light, usual = (ask(*FORK, rider_mass=mass) for mass in ("20", "80"))
    assert light["start_pressure"]["value"] < 20
    assert "below-gauge" in codes(light) - codes(usual)


def test_an_unknown_number_of_spacers_shows_every_line_alike() -> None:
    unknown = (spring(), fit(spacers_fitted=None))
    computed = ask(*unknown, rider_mass="80", sag="25")
    assert (computed["headline"]["what"], "start_pressure" in computed) == ("by-spacers", False)
    expected = [raw_start_psi(0.0375, load_n(80), count) for count in range(4)]
    assert [row["start_pressure"]["value"] for row in computed["by_spacers"]] == pytest.approx(expected, abs=0.51)
    published = ask(*unknown, guide(), rider_mass="75")
    assert [row["start_pressure"]["text"] for row in published["by_spacers"]] == ["70 psi"] * 4
    assert "spacers" in gaps(published)
    for count, row in enumerate(published["by_spacers"]):
        root = brentq(lambda x, k=count: raw_force(x, 70 * PSI + PA, k) - load_n(75), 0.001, 0.14)
        assert row["expected_sag"]["value"] == pytest.approx(1000 * root, abs=0.051)
    given = ask(*unknown, rider_mass="80", sag="25", spacers=2)
    assert given["start_pressure"] == given["by_spacers"][2]["start_pressure"]


def test_open_springs_are_answered_for_one_by_one_with_the_maximum_they_share() -> None:
    rows = (spring(150), spring(160, pressure_limit="100"), fit(150), fit(160, pressure_limit="105", spacer_limit=2))
    answer = ask(*rows, rider_mass="80")
    found = {each["fit"]["spring"]["id"]: each for each in answer["candidates"]}
    for travel in (150, 160):
        alone = ask(*rows, rider_mass="80", travel=str(travel))
        assert found[f"spring-{travel}"]["start_pressure"] == alone["start_pressure"]
        assert found[f"spring-{travel}"]["expected_sag"] == alone["sag"]["expected"]
    shared = answer["limits"]["shared"]
    assert (shared["pressure"]["max"], shared["spacers"]) == (100, 2)
    assert "100 psi" in answer["headline"]["text"]
    one_silent = ask(
        *rows[:2], rows[2], fit(160, pressure_limit=None), spring(160, pressure_limit=None), rider_mass="80"
    )
    assert "pressure" not in one_silent["limits"].get("shared", {})


OWN = {"negative": "own valve", "port_travel_mm": None, "negative_volume_ml": "33.0"}


def own_valve_sag_mm(positive_psi: float, negative_psi: float) -> float:
    """Both chambers by Boyle's law, each filled at full extension."""
    area, ring = AREA_CM2 * 1e-4, AREA_CM2 * 1e-4 - math.pi * 0.005**2
    full = 72e-6 + area * 0.150

    def force(x: float) -> float:
        push = (positive_psi * PSI + PA) * full / (full - area * x) * area
        return (
            push - (negative_psi * PSI + PA) * 33e-6 / (33e-6 + ring * x) * ring - math.pi * 0.005**2 * PA - load_n(75)
        )

    return float(brentq(force, 0.0, 0.149)) * 1000


def test_a_negative_chamber_of_its_own_valve_is_computed_and_both_are_in_the_headline() -> None:
    rows = (spring(**OWN), fit(), guide(pressure="90"), guide(id="negative", chamber="negative", pressure="80"))
    answer = ask(*rows, rider_mass="75")
    assert answer["sag"]["expected"]["value"] == pytest.approx(own_valve_sag_mm(90, 80), abs=0.051)
    both = {each["chamber"]: each for each in answer["chambers"]}
    assert (both["positive"]["pressure"]["text"], both["negative"]["pressure"]["text"]) == ("90 psi", "80 psi")
    assert (both["positive"]["maximum"]["text"], both["negative"]["basis"]) == ("≤ 110 psi", "published")
    assert answer["headline"]["text"] == "Fill positive 90 psi, negative 80 psi (published)."
    assert "order" not in both["positive"]
    assert "filling-order" in gaps(answer)
    other = ask(*rows, rider_mass="75", pressure="95", negative_pressure="60")
    assert other["sag"]["expected"]["value"] == pytest.approx(own_valve_sag_mm(95, 60), abs=0.051)
    computed = ask(spring(**OWN), fit(), rider_mass="75", sag="25", negative_pressure="80")
    start = computed["start_pressure"]["value"]
    assert own_valve_sag_mm(start, 80) == pytest.approx(37.5, abs=0.4)  # shown in whole psi
    assert "negative-pressure" in gaps(ask(spring(**OWN), fit(), rider_mass="75"))


def test_a_climb_needs_no_refilling_and_keeps_the_sag() -> None:
    """Filled at sea level to the stated pressure and sealed, the fork carries the load at 2,300 m within half a
    millimetre."""
    answer = ask(*FORK, rider_mass="80", sag="25", altitude="2300", pressure_unit="kPa")
    there = 76600.0  # ISO 2533 at 2,300 m: 766 hPa
    fill = answer["altitude"]["fill_to"]["value"] * 1000 + PA

    def left(x: float) -> float:
        """The force at 2,300 m of the air filled at sea level; only the outside pressure changes."""
        return raw_force(x, fill) + math.pi * 0.005**2 * (PA - there) - load_n(80)

    assert float(brentq(left, 0.01, 0.1)) * 1000 == pytest.approx(37.5, abs=0.3)
    assert answer["altitude"]["reading_there"]["value"] == pytest.approx((fill - there) / 1000, abs=1)
    assert abs(answer["altitude"]["fill_to"]["value"] - answer["start_pressure"]["value"]) < 6
    assert "need not refill for a climb" in answer["altitude"]["text"]
    assert "fill_altitude" in {each["name"] for each in answer["assumptions"]}


def test_a_guide_filled_at_altitude_takes_more_gauge_pressure_for_the_same_force() -> None:
    answer = ask(*FORK, guide(), rider_mass="75", fill_altitude="2300", altitude="2300")
    assert answer["altitude"]["fill_to"]["value"] == pytest.approx(70 + (PA - 76600) / PSI, abs=1.1)


def test_closed_lower_legs_push_out_at_altitude() -> None:
    row = Chassis.checked({**CHASSIS, "stanchion_diameter_mm": 35.0})
    block: Any = ask(row, *FORK, rider_mass="80", altitude="2300")["altitude"]
    push = 2 * math.pi / 4 * 0.035**2 * (PA - 76600)
    assert block["lower_leg_push"]["value"] == pytest.approx(push, abs=1)
    assert "let it out where you ride" in block["text"]
    assert "lower_leg_push" not in ask(row, *FORK, rider_mass="80", temperature="0")["altitude"]


def test_words_about_sources_are_true() -> None:
    silent = ask(BARE, fit(), guide(sag_percent=None), rider_mass="75")
    assert silent["basis"] == "published"
    assert "guide" not in silent["sag"]["text"]
    stated = ask(BARE, fit(), guide(), rider_mass="75")
    assert stated["sag"]["text"].startswith("As stated in the guide")
    shares = [each["text"] for each in ask(*FORK, rider_mass="80")["assumptions"] if each["name"] == "front_share"]
    assert "±5 percentage points" in shares[0]
    coil = ask(*coils(), rider_mass="84", sag="30")
    assert "shock-pump-only" not in codes(coil)
    said = " ".join([coil["validity"], coil["limits"]["text"], *(each["text"] for each in coil["cautions"])])
    assert "Air" not in said
    assert "extension" not in said


def test_the_headline_of_a_coil_is_a_listed_spring_with_the_conflict_in_words() -> None:
    agreed = ask(*coils(), rider_mass="84", sag="30")["coil"]
    assert agreed["fit"]["id"] == agreed["calculated_choice"]["id"]
    conflict = ask(*coils(), coil_guide("stout", sag="35").replaced(preload_turns=Decimal(0)), rider_mass="72")
    coil = conflict["coil"]
    assert (coil["fit"]["id"], coil["calculated_choice"]["id"]) == ("stout", "soft")
    gives = (load_n(72) / 5.3 - 2) / 160 * 100
    assert coil["calculated_percent"]["value"] == pytest.approx(gives, abs=0.051)
    assert f"{coil['calculated_percent']['value']:g} %" in coil["headline"]
    assert "Fit stout (published" in coil["headline"]
    assert "says soft" in coil["headline"]
    assert conflict["headline"]["text"] == coil["headline"]
    assert coil["at_published_turns"]["preload"]["value"] == 2
    assert coil["at_published_turns"]["travel"]["value"] == pytest.approx(load_n(72) / 8.4 - 2, abs=0.051)


@pytest.mark.parametrize("preload_max", ["12", None])
def test_the_sag_of_a_coil_is_never_shown_for_another_preload_than_the_published_one(preload_max: str | None) -> None:
    """Four turns are an unknown length: the sag lies between those at both ends of the preload, and the answer says
    so, rather than giving the one at minimum preload beside "4 turns"."""
    fitted = coil("medium", "6.2", preload_max_mm=preload_max)
    rows = [fitted, coil_fit("medium"), coil_guide("medium", sag="30").replaced(preload_turns=Decimal(4))]
    shown = ask(*rows, rider_mass="84")["coil"]
    assert "preload 4 turns in from minimum preload" in shown["headline"]
    assert "at_published_turns" not in shown
    assert "does not say how far one turn" in shown["preload_text"]
    least, greatest = ((load_n(84) / 6.2 - preload) / 160 * 100 for preload in (2, 12))
    if preload_max is None:
        assert f"at most {least:.1f} %" in shown["headline"]
    else:
        assert f"{greatest:.1f} to {least:.1f} % (maximum to minimum preload)" in shown["headline"]


def test_a_preload_as_published_is_exact() -> None:
    shown = ask(*coils(), rider_mass="84", sag="30")["coil"]
    for preload in (shown["preload"], shown["springs"][0]["least_preload"]["preload"]):
        assert (preload["text"], preload.get("basis")) == ("2 mm", None)


def test_one_reading_on_a_known_spring_is_enough() -> None:
    force = 400.0  # a load that is not given
    read = raw_start_psi(0.034, force)
    answer = ask(*FORK, sag="30mm", reading=[f"34mm@{read:.2f}psi"])
    assert answer["basis"] == "measured from one sag"
    assert answer["start_pressure"]["value"] == pytest.approx(raw_start_psi(0.030, force), abs=0.6)
    assert "second-sag" in gaps(ask(BARE, fit(), sag="30mm", reading=["34mm@70psi"]))


def test_readings_too_near_are_no_headline_but_a_request_to_read_again() -> None:
    asked: dict[str, Any] = {"sag": "34mm", "rider_mass": "80", "friction": "150"}
    asked["reading"] = ["36mm@72psi", "33mm@74psi"]
    near = ask(BARE, fit(), **asked)
    width = near["bases"][0]["start_pressure"]["max"] - near["bases"][0]["start_pressure"]["min"]
    assert width > 0.5 * near["bases"][0]["start_pressure"]["value"]
    assert "start_pressure" not in near
    assert near["headline"]["what"] == "read-again"
    assert "a tenth apart" in near["headline"]["text"]
    assert "a tenth apart" in gaps(near)["read-again"]
    with_geometry = ask(*FORK, **asked)
    assert with_geometry["basis"] == "computed"
    assert with_geometry["bases"][-1]["basis"] == "measured from two sags"


def test_the_example_readings_of_every_fork_of_the_demo_answer_for_it(loaded: Catalogue) -> None:
    tried = 0
    with loaded.snapshot() as snapshot:
        for row in {(each.chassis, each.spring): each for each in snapshot.all(Fit)}.values():
            common: dict[str, Any] = {"travel": f"{row.travel_mm:g}", "spring": row.spring}
            empty = setup(snapshot, row.chassis, SetupAsked(**common))
            if "example_readings" not in empty:
                continue
            tried += 1
            answer = setup(snapshot, row.chassis, SetupAsked(**common, reading=empty["example_readings"]))
            assert answer.get("basis") == "measured from two sags", (row.id, empty["example_readings"], answer["gaps"])
            limit = min((each["limit"]["max"] for each in answer["limits"]["pressure"]), default=math.inf)
            assert answer["start_pressure"]["value"] < limit
    assert tried > 20


def test_a_limit_is_shown_with_the_scope_that_limits_it() -> None:
    limit = rider_limit().replaced(variant=("light",))
    variant_fit = fit(wheel_size=(622,))
    answer = ask(spring(), variant_fit, limit, rider_mass="80", wheel_size="622")
    assert answer["limits"]["pressure"][0]["scope"] == {"wheel_size": [622]}
    shown = [each["scope"] for each in answer["limits"]["rider_mass"]]
    assert shown == [{"variant": ["light"]}]
