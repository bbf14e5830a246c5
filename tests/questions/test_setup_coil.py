"""Coil springs: the rate for a sag by Hooke's law, the next springs either side, and the guide's choice."""

from typing import Any

import pytest

from app.catalogue.tables import Guide
from tests.questions.setup_rows import ask, codes, coil, coil_fit, gaps, load_n

COILS = [(name, rate) for name, rate in (("soft", "5.3"), ("medium", "6.2"), ("firm", "7.2"), ("stout", "8.4"))]


def rows(**more: Any) -> list[Any]:
    return [*(coil(name, rate, **more) for name, rate in COILS), *(coil_fit(name) for name, _ in COILS)]


def guide(choice: str, sag: str = "25") -> Guide:
    own = {
        "id": "guide", "chassis": "fork", "chamber": "coil", "rider_mass_from": "70", "rider_mass_to": "90",
        "mass_unit": "kg", "mass_is": "with gear", "sag_percent": sag, "spring_choice": choice, "source": "doc",
    }  # fmt: skip
    return Guide.checked(own)


def test_the_rate_is_the_load_over_sag_and_preload_and_its_neighbours_are_named() -> None:
    answer = ask(*rows(), rider_mass="84", sag="30")
    wanted = load_n(84) / (48.0 + 2.0)  # N/mm, with minimum preload of 2 mm
    assert answer["coil"]["rate_wanted"]["value"] == pytest.approx(wanted, abs=0.0051)
    assert answer["coil"]["rate_wanted"]["min"] < wanted < answer["coil"]["rate_wanted"]["max"]
    assert (answer["coil"]["softer"]["id"], answer["coil"]["stiffer"]["id"]) == ("medium", "firm")
    assert (answer["basis"], answer["undecided"]) == ("computed", [])
    assert "start_pressure" not in answer


def test_each_spring_shows_the_sag_it_gives_at_either_end_of_its_preload() -> None:
    springs = ask(*rows(), rider_mass="84", sag="30")["coil"]["springs"]
    assert [each["spring"]["id"] for each in springs] == [name for name, _ in COILS]
    for each, (_, rate) in zip(springs, COILS, strict=True):
        least, greatest = each["least_preload"], each["greatest_preload"]
        assert least["travel"]["value"] == pytest.approx(load_n(84) / float(rate) - 2, abs=0.051)
        assert greatest["travel"]["value"] == pytest.approx(load_n(84) / float(rate) - 12, abs=0.051)
        ends = [point["force"]["value"] for point in each["curve"]]
        assert ends == pytest.approx([float(rate) * 2, float(rate) * 162], abs=0.51)


def test_beyond_the_offer_there_is_no_neighbour() -> None:
    assert "softer" not in ask(*rows(), rider_mass="40", sag="40")["coil"]
    assert "stiffer" not in ask(*rows(), rider_mass="140", sag="20")["coil"]


def test_a_given_spring_is_the_fitted_one_among_all_that_fit() -> None:
    answer = ask(*rows(), rider_mass="84", sag="30", spring="firm")
    assert answer["coil"]["fitted"]["id"] == "firm"
    assert len(answer["coil"]["springs"]) == 4
    assert answer["curve"] == answer["coil"]["springs"][2]["curve"]
    assert answer["fit"]["spring"]["id"] == "firm"


def test_the_guide_names_its_spring_and_a_far_one_is_cautioned() -> None:
    near = ask(*rows(), guide("medium", sag="30"), rider_mass="84")
    assert (near["basis"], near["coil"]["published_choice"]["id"]) == ("published", "medium")
    assert "bases-disagree" not in codes(near)
    far = ask(*rows(), guide("stout", sag="35"), rider_mass="72")
    assert "bases-disagree" in codes(far)
    other_sag = ask(*rows(), guide("medium", sag="30"), rider_mass="84", sag="20")
    assert "published_choice" not in other_sag["coil"]


def test_what_is_not_stated_of_a_coil_is_a_gap_or_an_assumption() -> None:
    answer = ask(*rows(preload_min_mm=None, preload_max_mm=None), rider_mass="84", sag="30")
    assert answer["coil"]["rate_wanted"]["value"] == pytest.approx(load_n(84) / 48.0, abs=0.0051)
    assert "preload" in {each["name"] for each in answer["assumptions"]}
    unknown = coil("odd", "6").replaced(rate=None, rate_unit=None)
    nameless = ask(coil("soft", "5.3"), unknown, coil_fit("soft"), coil_fit("odd"), rider_mass="84")
    assert "rate of odd" in gaps(nameless)["rate"]
    assert "rate_wanted" not in ask(*rows())["coil"]


def test_another_travel_of_a_coil_is_measured_again() -> None:
    assert "measure again" in ask(*rows(), rider_mass="84")["travel_change"]["text"]
