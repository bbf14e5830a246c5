"""Oils: every row of viscosity_examples, iso3448 and fluid_level_examples, and a library as second opinion."""

import math

import pint
import pytest
from chemicals.viscosity import VI_Hs, VI_Ls, VI_nus
from chemicals.viscosity import viscosity_index as library_index
from hypothesis import given, settings
from hypothesis import strategies as st
from physics_rows import Row, by_id, numbers, rows

from app.physics import fluids
from app.physics.viscosity_index_table import ROWS

MM2 = 1e-6
OIL = by_id("viscosity_examples")
WALTHER = ["WA02", *(name for name in OIL if name.startswith("WA") and name not in ("WA01", "WA02"))]
INDEX = ["VI01", "VI02", "VI03"]
REFERENCE_OILS = ["VI20", "VI11", "VI21"]
NOT_OURS = {"DE02": "the linear estimate; the exact form DE01 is what we have"}


def test_every_oil_row_is_used_or_named_as_not_ours() -> None:
    assert sorted([*WALTHER, *INDEX, *REFERENCE_OILS, "WA01", "VI31", "DV01", "DE01", *NOT_OURS]) == sorted(OIL)


@pytest.mark.parametrize("name", WALTHER)
def test_viscosity_over_temperature(name: str) -> None:
    """ASTM D341-20, simple form."""
    given_ = numbers(OIL[name]["inputs"])
    celsius = float(OIL[name]["quantity"].split(" at ")[1].split()[0])
    found = fluids.viscosity_at_m2_s(given_["nu40"] * MM2, given_["nu100"] * MM2, celsius + 273.15)
    assert found / MM2 == pytest.approx(float(OIL[name]["value"]), rel=1e-6)


def test_the_worked_sheet_with_273() -> None:
    """WA01 takes T = t + 273, which moves the answer by 0.001 %."""
    found = fluids.viscosity_at_m2_s(32 * MM2, 5.4 * MM2, 353.15)
    assert found / MM2 == pytest.approx(float(OIL["WA01"]["value"]), rel=2e-5)


@settings(max_examples=80, deadline=None)
@given(st.floats(2.0, 40), st.floats(1.5, 12))
def test_the_curve_goes_through_both_points_and_falls(at_100: float, ratio: float) -> None:
    at_40 = at_100 * ratio
    curve = [fluids.viscosity_at_m2_s(at_40 * MM2, at_100 * MM2, k) / MM2 for k in (313.15, 343.15, 373.15 - 1e-9)]
    assert curve[0] == pytest.approx(at_40, rel=1e-9)
    assert curve[2] == pytest.approx(at_100, rel=1e-6)
    assert curve[0] > curve[1] > curve[2]


@pytest.mark.parametrize(
    ("at_40", "at_100", "celsius"),
    [(5, 5, 20), (4, 6, 20), (10, 1.9, 20), (10, 2.5, -41), (10, 2.5, 151), (10, 2.05, 110)],
)
def test_viscosity_outside_d341_is_refused(at_40: float, at_100: float, celsius: float) -> None:
    with pytest.raises(ValueError):
        fluids.viscosity_at_m2_s(at_40 * MM2, at_100 * MM2, celsius + 273.15)


@pytest.mark.parametrize("name", INDEX)
def test_viscosity_index_examples_of_the_standard(name: str) -> None:
    given_ = numbers(OIL[name]["inputs"])
    found = fluids.viscosity_index(given_["nu40"] * MM2, given_["nu100"] * MM2)
    assert round(found) == int(OIL[name]["value"])


@pytest.mark.parametrize("name", REFERENCE_OILS)
def test_reference_oils_above_70(name: str) -> None:
    low, high = fluids.index_reference_m2_s(numbers(OIL[name]["inputs"])["nu100"] * MM2)
    found = low if OIL[name]["quantity"] == "L" else high
    assert found / MM2 == pytest.approx(float(OIL[name]["value"]), rel=1e-9)


def test_the_table_is_that_of_the_library() -> None:
    """VI31: ASTM D2270 table 1 has 311 rows; chemicals 1.5 carries the same."""
    assert len(ROWS) == int(OIL["VI31"]["value"])
    assert list(ROWS) == list(zip(VI_nus, VI_Ls, VI_Hs, strict=True))


@settings(max_examples=150, deadline=None)
@given(st.floats(2.05, 120), st.floats(2.5, 12))
def test_viscosity_index_by_a_library(at_100: float, ratio: float) -> None:
    at_40 = at_100 * ratio
    found = fluids.viscosity_index(at_40 * MM2, at_100 * MM2)
    assert found == pytest.approx(library_index(at_40 * MM2, at_100 * MM2), rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("row", rows("iso3448"), ids=lambda row: row["id"])
def test_iso_classes_with_their_ends(row: Row) -> None:
    """ISO 3448:1992 table 1: both ends belong to the class, a hair beyond does not."""
    vg, low, high = int(row["iso_vg"]), float(row["min_mm2_s"]), float(row["max_mm2_s"])
    for inside in (low, float(row["midpoint_mm2_s"]), high):
        assert fluids.iso_class(inside * MM2).vg == vg
    assert fluids.iso_class(low * (1 - 1e-6) * MM2).vg is None
    assert fluids.iso_class(high * (1 + 1e-6) * MM2).vg is None


@pytest.mark.parametrize(
    ("viscosity", "below", "above"), [(12, 10, 15), (1.5, None, 2), (4000, 3200, None), (18, 15, 22)]
)
def test_a_gap_between_classes_names_its_neighbours(viscosity: float, below: int | None, above: int | None) -> None:
    assert fluids.iso_class(viscosity * MM2) == fluids.IsoClass(None, below, above)


def test_neighbours_of_a_class() -> None:
    assert fluids.iso_class(15 * MM2) == fluids.IsoClass(15, 10, 22)


def test_density_and_dynamic_viscosity() -> None:
    assert fluids.density_kg_m3(850.0, 313.15) == pytest.approx(float(OIL["DE01"]["value"]), rel=1e-8)
    assert fluids.density_kg_m3(850.0, 313.15) == pytest.approx(float(OIL["DE02"]["value"]), rel=2e-3)
    assert fluids.density_kg_m3(850.0, 288.15) == 850.0
    found = fluids.dynamic_viscosity_pa_s(15 * MM2, 850.0)
    assert found * 1000 == pytest.approx(float(OIL["DV01"]["value"]), rel=1e-12)


@pytest.mark.parametrize("row", rows("fluid_level_examples"), ids=lambda row: row["id"])
def test_levels_and_volumes(row: Row) -> None:
    given_ = {name: value / 1000 for name, value in numbers(row["inputs"]).items()}
    expected, tolerance = float(row["value"]), float(row["tolerance_rel"])
    if row["quantity"] == "level height":
        found = fluids.level_m(given_["V"] / 1000, given_["D"], given_["d"]) * 1000
    elif row["quantity"] == "volume":
        found = fluids.volume_m3(given_["h"], given_["D"], given_["d"]) * 1e6
    else:
        found = fluids.air_above_m3(0.150, 0.030, 0.032) * 1e6
    assert found == pytest.approx(expected, rel=tolerance)


@settings(max_examples=50, deadline=None)
@given(st.floats(0, 1e-3), st.floats(0.01, 0.06), st.floats(0, 0.99))
def test_level_and_volume_invert_each_other(volume: float, bore: float, rod: float) -> None:
    level = fluids.level_m(volume, bore, rod * bore)
    assert fluids.volume_m3(level, bore, rod * bore) == pytest.approx(volume, rel=1e-9)


def test_fluids_refuse_what_cannot_be() -> None:
    for refused in (
        lambda: fluids.level_m(1e-6, 0.03, 0.03),
        lambda: fluids.level_m(-1e-6, 0.03),
        lambda: fluids.volume_m3(math.nan, 0.03),
        lambda: fluids.air_above_m3(0.1, 0.11, 0.03),
        lambda: fluids.density_kg_m3(0.85, 313.15),
        lambda: fluids.density_kg_m3(850.0, 40.0),
        lambda: fluids.iso_class(0.0),
        lambda: fluids.viscosity_index(10 * MM2, 1.5 * MM2),
        lambda: fluids.dynamic_viscosity_pa_s(15 * MM2, 0.0),
    ):
        with pytest.raises(ValueError):
            refused()


def test_dimensions_of_a_level() -> None:
    of = pint.UnitRegistry().Quantity
    level = fluids.level_m(of(10.0, "mL"), of(32.0, "mm"), of(1.0, "cm"))
    assert level.to("mm").magnitude == pytest.approx(13.7796488, rel=1e-8)
