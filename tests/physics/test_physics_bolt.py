"""Threads, proof loads and torques: every row of threads, property_classes, proof_loads and torque_examples."""

import math

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from physics_rows import Row, agrees, by_id, numbers, rows

from app.physics import bolt
from app.physics.bolt import Thread, parse_thread, stress_area_m2

TORQUE = by_id("torque_examples")
NOT_OURS = {
    "TQ05": "the recommended preload is a rule for design, not computed",
    "TQ23": "cadmium plating is no thread preparation of ours",
    "TQ24": "anti-seize compound is no thread preparation of ours",
    "TQ31": "standard deviation of the ten bolts of TQ30, which is used",
    "TQ62": "its inputs (TQ61) are not in the file",
    "TQ66": "its inputs (TQ65) are not in the file",
    "TQ76": "ratio of failure torque of handlebar joints: no test bench here",
    "TQ78": "tensile test of a fork: no test bench here",
}
NUT_FACTOR = ["TQ20", "TQ22", "TQ26", "TQ27", "TQ28", "TQ30"]
SHORT = ["TQ01", "TQ02", "TQ10", "TQ11", "TQ13", "TQ14", "TQ42", "TQ44", "TQ47", "TQ48", "TQ50", "TQ51", "TQ54", "TQ56"]
PRELOAD = ["TQ40", "TQ43", "TQ46", "TQ52", "TQ55"]
INVERSE = ["TQ58", "TQ59", "TQ60"]
LONG = ["TQ03", "TQ63", "TQ64"]
WRENCH = ["TQ67", "TQ68", "TQ70", "TQ71", "TQ72"]
RANGE = ["TQ74", "TQ75"]


def test_every_torque_row_is_used_or_named_as_not_ours() -> None:
    used = [*NUT_FACTOR, *SHORT, *PRELOAD, *INVERSE, *LONG, *WRENCH, *RANGE, *NOT_OURS]
    assert sorted(used) == sorted(TORQUE)


def plain(diameter: float) -> Thread:
    """A thread of a diameter in any unit; T = K*d*F needs nothing else."""
    return Thread(diameter, diameter / 8)


@pytest.mark.parametrize("row", rows("threads"), ids=lambda row: row["id"])
def test_thread_geometry(row: Row) -> None:
    """ISO 724 and ISO 68-1 to the printed digits, ISO 898-1 stress area to the row's tolerance."""
    thread = parse_thread(row["designation"])
    assert thread.diameter_m * 1000 == pytest.approx(float(row["d_mm"]))
    assert thread.pitch_m * 1000 == pytest.approx(float(row["pitch_mm"]))
    assert thread.pitch_diameter_m * 1000 == pytest.approx(float(row["d2_mm"]), rel=1e-6)
    assert thread.minor_diameter_m * 1000 == pytest.approx(float(row["d1_mm"]), rel=1e-6)
    assert thread.root_diameter_m * 1000 == pytest.approx(float(row["d3_mm"]), rel=1e-6)
    area_mm2 = stress_area_m2(thread) * 1e6
    assert area_mm2 == pytest.approx(float(row["As_computed_mm2"]), rel=1e-6)
    if row["As_iso898_nominal_mm2"]:
        assert area_mm2 == pytest.approx(float(row["As_iso898_nominal_mm2"]), rel=float(row["tolerance_rel"]))


@pytest.mark.parametrize(
    ("text", "diameter_mm", "pitch_mm"),
    [
        ("M5", 5, 0.8), (" M8x1 ", 8, 1), ("m8 x 1.25", 8, 1.25), ("M8×1", 8, 1), ("M8x1.25-6g", 8, 1.25),
        ("M14x1.5 LH", 14, 1.5), ("M3.5", 3.5, 0.6), ("M28x1", 28, 1), ("M6-6H", 6, 1),
    ],
)  # fmt: skip
def test_designations_that_are_read(text: str, diameter_mm: float, pitch_mm: float) -> None:
    thread = parse_thread(text)
    assert (thread.diameter_m * 1000, thread.pitch_m * 1000) == pytest.approx((diameter_mm, pitch_mm))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "M",
        "5",
        "M20.55x",
        "8V1-32",
        "1/4-20",
        "M28",
        "M8x3",
        "M0x1",
        "M8x0",
        "M-8",
        "M8x1e9",
        "Mx1",
        "M5" + " " * 99,
        "M" + "9" * 200,
    ],
)
def test_designations_that_are_refused(text: str) -> None:
    with pytest.raises(ValueError):
        parse_thread(text)


def test_a_hole_takes_its_area_off() -> None:
    thread = parse_thread("M10x1")
    assert stress_area_m2(thread, 0.004) == pytest.approx(stress_area_m2(thread) - math.pi * 0.002**2, rel=1e-12)
    for hole_m in (0.0, 0.00878, math.nan):
        with pytest.raises(ValueError, match="hole"):
            stress_area_m2(thread, hole_m)


@pytest.mark.parametrize("row", rows("property_classes"), ids=lambda row: row["id"])
def test_proof_stress_of_every_class(row: Row) -> None:
    """ISO 898-1:2013 table 3; stainless classes (ISO 3506-1) have none and are not judged."""
    diameter_m = 0.020 if row["diameter_range"] == "d>16" else 0.016
    if row["proof_stress_Sp_MPa"]:
        found = bolt.proof_stress_pa(row["property_class"], diameter_m)
        assert found == pytest.approx(float(row["proof_stress_Sp_MPa"]) * 1e6, rel=1e-12)
    else:
        with pytest.raises(ValueError, match="not judged"):
            bolt.proof_stress_pa(row["property_class"], diameter_m)


def test_proof_stress_is_refused_outside_the_standard() -> None:
    with pytest.raises(ValueError, match="up to 16 mm"):
        bolt.proof_stress_pa("9.8", 0.018)
    with pytest.raises(ValueError, match=r"M1\.6 to M39"):
        bolt.proof_stress_pa("8.8", 0.042)


@pytest.mark.parametrize(
    "row", [row for row in rows("proof_loads") if row["kind"] == "proof_load_Fp"], ids=lambda row: row["id"]
)
def test_printed_proof_loads_are_the_whole_of_the_proof_load(row: Row) -> None:
    """ISO 898-1:2013 tables 5 and 7. The row's tolerance is for the nominal area, which is rounded to three digits."""
    thread = Thread(float(row["designation"].split("x")[0][1:]) / 1000, float(row["pitch_mm"]) / 1000)
    stress = bolt.proof_stress_pa(row["property_class"], thread.diameter_m)
    share = bolt.share_of_proof_load(float(row["value"]), thread, stress)
    nominal_area = float(row["computed_As_nom_times_stress"]) / stress
    rounding = abs(stress_area_m2(thread) / nominal_area - 1)
    assert rounding < 5e-3
    assert share == pytest.approx(1, rel=float(row["tolerance_rel"]) + rounding)


@pytest.mark.parametrize("name", SHORT)
def test_torque_from_preload(name: str) -> None:
    given_ = numbers(TORQUE[name]["inputs"])
    diameter = given_.get("d", given_.get("D", 0.0)) / (1000 if "mm" in TORQUE[name]["inputs"] else 1)
    force = given_.get("F", given_.get("P", 0.0)) * (1000 if "kip" in TORQUE[name]["inputs"] else 1)
    agrees(TORQUE[name], bolt.torque_nm(force, plain(diameter), given_["K"]))


@pytest.mark.parametrize("name", INVERSE)
def test_preload_from_torque(name: str) -> None:
    given_ = numbers(TORQUE[name]["inputs"])
    agrees(TORQUE[name], bolt.preload_n(given_["T"], plain(given_["d"] / 1000), given_["K"]))


@pytest.mark.parametrize("name", PRELOAD)
def test_three_quarters_of_the_proof_load(name: str) -> None:
    """As is computed here, and the printed nominal there: 5e-3."""
    designation, _, property_class = TORQUE[name]["inputs"].split(";")[0].split()
    thread = parse_thread(designation)
    stress = bolt.proof_stress_pa(property_class, thread.diameter_m)
    assert bolt.share_of_proof_load(float(TORQUE[name]["value"]), thread, stress) == pytest.approx(0.75, rel=5e-3)


def test_the_long_form_of_shigley_example_8_3() -> None:
    """TQ03: collar 0.625*d is a bearing face of 1.25*d; mean diameter (d + dr)/2."""
    root = math.sqrt(4 * 0.351 / math.pi)
    torque = bolt.torque_by_friction_nm(25000.0, 1 / 16, (0.75 + root) / 2, 0.15, 0.15, 1.25 * 0.75)
    agrees(TORQUE["TQ03"], torque)


def test_the_long_form_of_iso_16047_and_its_inverse() -> None:
    pitch_diameter = parse_thread("M6").pitch_diameter_m  # the row prints it to six digits, which move the torque 6e-8
    inputs = (0.001, pitch_diameter, 0.12, 0.12, 8.3e-3)
    torque = bolt.torque_by_friction_nm(8000.0, *inputs)
    agrees(TORQUE["TQ63"], torque)
    assert bolt.preload_by_friction_n(torque, *inputs) == pytest.approx(8000.0, rel=1e-12)
    assert torque == pytest.approx(float(TORQUE["TQ64"]["value"]), rel=3e-3)  # short form of VDI 2230-1, same inputs


@pytest.mark.parametrize(
    "bad", [(0.0, 5e-3, 0.1, 0.1, 8e-3), (1e-3, 5e-3, 0.6, 0.1, 8e-3), (1e-3, 5e-3, 0.1, -0.1, 8e-3)]
)
def test_the_long_form_refuses_what_cannot_be(bad: tuple[float, float, float, float, float]) -> None:
    with pytest.raises(ValueError):
        bolt.torque_by_friction_nm(1000.0, *bad)


@pytest.mark.parametrize("name", WRENCH)
def test_a_wrench_with_an_adapter(name: str) -> None:
    given_ = numbers(TORQUE[name]["inputs"])
    setting = bolt.wrench_setting_nm(given_["T"], given_["L"] / 1000, given_["E"] / 1000, math.radians(given_["θ"]))
    agrees(TORQUE[name], setting)


def test_an_adapter_that_points_back_past_the_handle_is_refused() -> None:
    assert bolt.wrench_setting_nm(10.0, 0.25, 0.05, math.pi) == pytest.approx(12.5)
    with pytest.raises(ValueError, match="past the handle"):
        bolt.wrench_setting_nm(10.0, 0.25, 0.25, math.pi)


def test_the_range_of_a_wrench() -> None:
    """TQ74 deviation of a type II wrench above 10 N·m; TQ75 the lowest test point of the 2003 edition."""
    usual = bolt.wrench_check(7.0, 2.0, 25.0)
    assert (usual.in_range, usual.in_lowest_fifth) == (True, False)
    assert usual.deviation == float(TORQUE["TQ74"]["value"])
    lowest = float(TORQUE["TQ75"]["value"]) * 25.0
    assert bolt.wrench_check(lowest, 2.0, 25.0).in_lowest_fifth is False
    assert bolt.wrench_check(lowest - 0.01, 2.0, 25.0).in_lowest_fifth is True
    assert bolt.wrench_check(1.9, 2.0, 25.0).in_range is False
    assert bolt.wrench_check(25.1, 2.0, 25.0).in_range is False
    assert bolt.wrench_check(5.0, 2.0, 10.0).deviation == 0.06
    with pytest.raises(ValueError):
        bolt.wrench_check(5.0, 10.0, 2.0)


def test_nut_factors_are_those_of_the_sources() -> None:
    value = {name: float(TORQUE[name]["value"]) for name in NUT_FACTOR}
    factors = bolt.NUT_FACTORS
    assert factors["oiled"].nominal == value["TQ22"]
    assert factors["greased"].nominal == value["TQ26"]
    assert factors["dry"].nominal == value["TQ27"]
    assert factors["dry"].low < value["TQ20"] < factors["dry"].high
    assert factors["dry"].nominal / factors["dry"].low - 1 == pytest.approx(value["TQ28"])
    assert set(factors) == {"dry", "oiled", "greased", "low threadlocker", "medium threadlocker"}
    assert {factors[name].low for name in ("oiled", "greased")} == {0.11}  # VDI 2230-1, table A5: friction 0.08
    for factor in factors.values():
        assert 0.10 <= factor.low < factor.nominal < factor.high <= 0.31  # Speck p. 85: 0.10 to 0.30
        assert factor.source


def test_the_scatter_of_oiled_bolts_covers_measured_ones() -> None:
    """TQ30: ten lubricated bolts at 90 N·m held 30.3 to 40.5 kN, 34.18 kN in the mean (Shigley table 8-14)."""
    mean = float(TORQUE["TQ30"]["value"]) * 1000
    thread = plain(90.0 / (0.18 * mean))
    found = bolt.preload_by_preparation(90.0, thread, "oiled")
    assert found.nominal_n == pytest.approx(mean)
    assert found.low_n < 30.3e3 < 40.5e3 < found.high_n


@pytest.mark.parametrize(
    ("designation", "friction", "force_kn"),
    [("M8", 0.08, 19.5), ("M8", 0.12, 18.6), ("M8", 0.16, 17.6), ("M10", 0.12, 29.6), ("M6", 0.12, 10.2)],
)
def test_ninety_per_cent_of_yield_at_the_printed_assembly_preload(
    designation: str, friction: float, force_kn: float
) -> None:
    """VDI 2230-1:2003, table A1, class 8.8 (from memory): at the printed preload the stress is 0.9 of 640 MPa."""
    stress = bolt.equivalent_stress_pa(force_kn * 1000, parse_thread(designation), friction)
    assert bolt.share_of_yield_limit(stress, 640e6) == pytest.approx(1, rel=6e-3)


def test_a_nut_factor_of_one_fifth_is_a_friction_of_0_15() -> None:
    """Shigley 9e, section 8-8: K = 0.20 for friction 0.15 in thread and collar."""
    assert bolt.thread_friction(0.20, parse_thread("M12")) == pytest.approx(0.15, abs=0.004)
    assert bolt.thread_friction(0.05, parse_thread("M1.6")) == pytest.approx(0.017, abs=0.005)


def test_torsion_of_a_hollow_bolt_by_hand() -> None:
    """M10 with a 5 mm hole, 10 kN, friction 0.12; d0 = 8.593 mm, A0 = 38.4 mm², Wp = 133.4 mm³, lever 0.864 mm."""
    stress = bolt.equivalent_stress_pa(10e3, parse_thread("M10"), 0.12, 0.005)
    assert stress == pytest.approx((260.7e6**2 + 3 * 64.8e6**2) ** 0.5, rel=5e-3)


def test_an_unknown_preparation_is_refused() -> None:
    with pytest.raises(ValueError, match="one of: dry, oiled"):
        bolt.preload_by_preparation(5.0, plain(0.005), "wet")


@pytest.mark.parametrize("designation", ["M5", "M8x1", "M10x1", "M30x1", "M48x1.5"])
def test_no_torque_of_the_tables_comes_near_the_strength_of_a_thread(designation: str) -> None:
    thread = parse_thread(designation)
    bears = bolt.torque_bearable_nm(thread)
    assert bears == pytest.approx(0.30 * thread.diameter_m * 970e6 * stress_area_m2(thread), rel=1e-12)
    assert bolt.share_of_proof_load(bolt.preload_n(bears, thread, 0.30), thread, 970e6) == pytest.approx(1)


def test_the_strength_of_m5_by_hand() -> None:
    """0.30 * 5 mm * 13800 N (printed proof load of M5 class 12.9, ISO 898-1) = 20.7 N·m."""
    assert bolt.torque_bearable_nm(parse_thread("M5")) == pytest.approx(20.7, rel=6e-3)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.001, 0.05), st.floats(0.05, 0.24), st.floats(0, 100), st.floats(0.05, 0.5))
def test_torque_and_preload_invert_each_other(diameter: float, pitch: float, torque: float, factor: float) -> None:
    thread = Thread(diameter, pitch * diameter)
    assert bolt.torque_nm(bolt.preload_n(torque, thread, factor), thread, factor) == pytest.approx(torque, rel=1e-12)


@pytest.mark.parametrize("factor", [0.04, 0.51, math.nan])
def test_a_nut_factor_out_of_the_world_is_refused(factor: float) -> None:
    with pytest.raises(ValueError, match="nut factor"):
        bolt.preload_n(5.0, plain(0.005), factor)


def test_dimensions_hold_with_quantities() -> None:
    of = pint.UnitRegistry().Quantity
    thread = Thread(of(8.0, "mm"), of(1.0, "mm"))
    bare = parse_thread("M8x1")
    force = bolt.preload_n(of(65.0, "inch*lbf"), thread, 0.2)
    torque = 65 * 0.1129848290276167
    assert force.to("N").magnitude == pytest.approx(bolt.preload_n(torque, bare, 0.2), rel=1e-12)
    share = bolt.share_of_proof_load(force, thread, of(970.0, "MPa"), of(3.0, "mm"))
    assert share.to("").magnitude == pytest.approx(
        bolt.share_of_proof_load(force.to("N").magnitude, bare, 970e6, 0.003), rel=1e-12
    )
    long = bolt.torque_by_friction_nm(force, of(1.0, "mm"), thread.pitch_diameter_m, 0.12, 0.12, of(11.0, "mm"))
    assert long.check("[length]*[force]")
    setting = bolt.wrench_setting_nm(of(7.0, "N*m"), of(10.0, "inch"), of(30.0, "mm"), of(45.0, "degree"))
    assert setting.to("N*m").magnitude == pytest.approx(bolt.wrench_setting_nm(7.0, 0.254, 0.03, math.pi / 4))
