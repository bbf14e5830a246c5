"""The tables of standards against the reference files, and their computed columns against the formulas behind them."""

import csv
import math
import re
from pathlib import Path

import ambiance
import pytest

from app.errors import NotFound
from app.standards import (
    key_size,
    property_class,
    table,
    tables,
    thread,
)
from app.standards.tables import rows
from app.units.table import find

REFERENCE = Path(__file__).parents[1] / "reference"


def reference(name: str) -> list[dict[str, str]]:
    with (REFERENCE / f"{name}.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


# Our table, the reference file, and which of our columns corresponds to which of its columns.
MIRRORED: list[tuple[str, str, dict[str, str]]] = [
    ("threads", "threads", {
        "designation": "designation", "diameter_mm": "d_mm", "pitch_mm": "pitch_mm", "series": "series",
        "pitch_diameter_mm": "d2_mm", "minor_diameter_mm": "d1_mm", "root_diameter_mm": "d3_mm",
        "stress_area_computed_mm2": "As_computed_mm2", "stress_area_mm2": "As_iso898_nominal_mm2",
        "tap_drill_mm": "tap_drill_approx_mm",
    }),
    ("property-classes", "property_classes", {
        "property_class": "property_class", "tensile_nominal_mpa": "Rm_nominal_MPa", "tensile_min_mpa": "Rm_min_MPa",
        "yield_nominal_mpa": "yield_nominal_MPa", "yield_min_mpa": "yield_min_MPa",
        "proof_stress_mpa": "proof_stress_Sp_MPa",
    }),
    ("proof-loads", "proof_loads", {
        "designation": "designation", "pitch_mm": "pitch_mm", "property_class": "property_class", "load_n": "value",
    }),
    ("retaining-rings", "retaining_rings", {
        "bore_mm": "bore_d1_mm", "ring_thickness_mm": "ring_thickness_s_mm",
        "groove_diameter_mm": "groove_diameter_d2_mm",
        "groove_diameter_tolerance_mm": "groove_d2_tol_plus_mm", "groove_width_min_mm": "groove_width_m_min_mm",
        "groove_depth_mm": "groove_depth_t_mm", "edge_margin_min_mm": "edge_margin_n_min_mm",
        "free_diameter_mm": "free_diameter_d3_mm", "fitted_diameter_mm": "fit_diameter_d4_mm",
    }),
    ("o-rings", "orings", {
        "dash_size": "dash_size", "inside_diameter_mm": "inside_diameter_mm", "cross_section_mm": "cross_section_mm",
        "inside_diameter_tolerance_mm": "id_tol_mm", "cross_section_tolerance_mm": "cs_tol_mm",
        "inside_diameter_in": "inside_diameter_in", "cross_section_in": "cross_section_in",
    }),
    ("viscosity-classes", "iso3448", {
        "iso_vg": "iso_vg", "midpoint_mm2_per_s": "midpoint_mm2_s", "min_mm2_per_s": "min_mm2_s",
        "max_mm2_per_s": "max_mm2_s", "temperature_c": "temperature_degC",
    }),
    ("grease-grades", "nlgi", {
        "nlgi": "nlgi_grade", "worked_penetration_min": "worked_penetration_min",
        "worked_penetration_max": "worked_penetration_max",
    }),
    ("engine-oil-grades", "sae_j300", {
        "grade": "grade", "viscosity_100_min_mm2_per_s": "nu100_min_mm2_s",
        "viscosity_100_below_mm2_per_s": "nu100_max_exclusive_mm2_s",
    }),
    ("atmosphere", "atmosphere", {
        "altitude_m": "altitude_m", "pressure_geometric_pa": "pressure_geometric_Pa",
        "pressure_geopotential_pa": "pressure_geopotential_Pa", "temperature_k": "temperature_geometric_K",
        "density_kg_per_m3": "density_geometric_kg_m3",
    }),
]  # fmt: skip


@pytest.mark.parametrize(
    ("ours", "theirs", "columns"), MIRRORED, ids=lambda each: each if isinstance(each, str) else ""
)
def test_our_rows_are_the_reference_rows(ours: str, theirs: str, columns: dict[str, str]) -> None:
    published = [row for row in reference(theirs) if row.get("dash_size", "any")]
    assert len(rows(ours)) == len(published)
    for row, outside in zip(rows(ours), published, strict=True):
        for column, their_column in columns.items():
            cell = row.get(column, "")
            expected: str | float = outside[their_column]
            if not isinstance(cell, str):
                expected = float(outside[their_column])
            assert cell == expected, (row["id"], column)
        assert row["source"] == outside["source"]
        assert row["verified"] == outside["verified"]


def test_classes_hold_over_the_diameters_of_the_reference() -> None:
    for row, outside in zip(rows("property-classes"), reference("property_classes"), strict=True):
        written = {"d<=16": (None, 16), "d>16": (16, None)}.get(outside["diameter_range"], (None, None))
        assert (row.get("diameter_over_mm"), row.get("diameter_to_mm")) == written


def test_bead_seats_are_those_of_the_reference() -> None:
    outside = {
        (int(row["value"]), row["inputs"].removeprefix("trade name "))
        for row in reference("geometry_examples")
        if row["kind"] == "bead seat diameter"
    }
    assert {(row["bead_seat_diameter_mm"], row["trade_names"]) for row in rows("bead-seats")} == outside


def test_squeeze_is_that_of_the_reference() -> None:
    outside = []
    for row in reference("orings"):
        if not row["dash_size"]:
            least, most = re.search(r"([\d.]+)-([\d.]+) %", row["notes"]).groups()  # type: ignore[union-attr]
            outside.append((float(row["cross_section_mm"]), float(least), float(most)))
    columns = ("cross_section_mm", "squeeze_min_percent", "squeeze_max_percent")
    assert [tuple(row[column] for column in columns) for row in rows("o-ring-squeeze")] == outside


def test_stress_areas_follow_from_the_thread_geometry() -> None:
    """ISO 68-1, ISO 724: d2 = d - 0.75 H, d3 = d - 17/12 H; ISO 898-1: As = (π/4)((d2 + d3)/2)²."""
    for row in rows("threads"):
        diameter, pitch = float(row["diameter_mm"]), float(row["pitch_mm"])
        height = math.sqrt(3) / 2 * pitch
        d2, d3 = diameter - 0.75 * height, diameter - 17 / 12 * height
        area = math.pi / 4 * ((d2 + d3) / 2) ** 2
        assert float(row["pitch_diameter_mm"]) == pytest.approx(d2, rel=1e-6)
        assert float(row["root_diameter_mm"]) == pytest.approx(d3, rel=1e-6)
        assert float(row["stress_area_computed_mm2"]) == pytest.approx(area, rel=1e-6)
        if "stress_area_mm2" in row:
            assert float(row["stress_area_mm2"]) == pytest.approx(area, rel=5e-3)


def test_proof_loads_are_stress_area_times_proof_stress() -> None:
    """ISO 898-1 rounds by its own habit: 0.6 % at most (M6 class 8.8: 11600 N printed, 11658 N computed)."""
    checked = 0
    for row in rows("proof-loads"):
        found = thread(f"{str(row['designation']).split('x')[0]}x{row['pitch_mm']}")
        assert found is not None
        strength = property_class(str(row["property_class"]), found.diameter_mm)
        assert strength is not None
        stress = strength.proof_stress_mpa if row["kind"] == "proof load" else strength.tensile_min_mpa
        assert stress is not None
        assert float(row["load_n"]) == pytest.approx(found.stress_area_mm2 * stress, rel=6e-3), row["id"]
        checked += 1
    assert checked > 100


def test_the_atmosphere_agrees_with_a_second_library() -> None:
    for row in rows("atmosphere"):
        air = ambiance.Atmosphere(float(row["altitude_m"]))
        assert float(row["pressure_geometric_pa"]) == pytest.approx(float(air.pressure[0]), rel=1e-6)
        assert float(row["temperature_k"]) == pytest.approx(float(air.temperature[0]), rel=1e-6)


@pytest.mark.parametrize(
    ("written", "designation", "area"),
    [
        ("M8", "M8", 36.6), ("M8x1.25", "M8", 36.6), ("m8×1.25", "M8", 36.6), ("M8-1.25", "M8", 36.6),
        ("M8 x 1", "M8x1", 39.2),
        ("M6x0.75", "M6x0.75", 22.03149), ("M5x0.80", "M5", 14.2), ("M24x1", "M24x1", 417.7116),
    ],
)  # fmt: skip
def test_a_thread_is_found_however_it_is_written(written: str, designation: str, area: float) -> None:
    """Nominal stress areas of ISO 898-1 if tabulated, otherwise computed."""
    found = thread(written)
    assert found is not None
    assert (found.designation, found.stress_area_mm2, found.tabulated) == (designation, area, True)


def test_a_thread_outside_the_table_is_computed_and_says_so() -> None:
    """ISO 724: M30 with 0.75 pitch has d2 = 30 - 0.649519·0.75 and d3 = 30 - 1.226869·0.75."""
    cap = thread("M30x0.75")
    assert cap is not None
    assert cap.pitch_diameter_mm == pytest.approx(29.512861, abs=1e-5)
    assert cap.root_diameter_mm == pytest.approx(29.079848, abs=1e-5)
    assert not cap.tabulated


@pytest.mark.parametrize(
    "written", ["", "8", "M", "M9999", "M8x9", "M8x0", "M31", "1/4-20", "M8x1" * 9, "M8\x00", "Mx1", "M٨"]
)
def test_what_is_no_metric_thread_is_none(written: str) -> None:
    assert thread(written) is None


def test_classes_depend_on_the_diameter_and_stainless_has_no_proof_stress() -> None:
    """ISO 898-1:2013 table 3; ISO 3506-1 gives no proof stress."""
    stresses = {
        (name, diameter): found.proof_stress_mpa if (found := property_class(name, diameter)) else "none"
        for name, diameter in [
            ("8.8", 16.0),
            ("8.8", 16.1),
            ("9.8", 16.0),
            ("9.8", 20.0),
            ("12.9", 30.0),
            ("A2-70", 6.0),
        ]
    }
    assert list(stresses.values()) == [580, 600, 650, "none", 970, None]
    assert property_class("a4-80", 5.0) is not None
    assert property_class("7.7", 5.0) is None


@pytest.mark.parametrize(
    ("standard", "designation", "key"),
    [
        ("ISO 4762", "M5", 4), ("ISO 4762", "M6", 5), ("ISO 4762", "M8x1", 6), ("ISO 7380", "M5", 3),
        ("ISO 7380-1:2011", "M4", 2.5),
        ("iso 10642", "M6", 4), ("ISO 4026", "M4", 2), ("ISO 4026", "M3", 1.5), ("ISO 4762", "M7", None),
        ("ISO 4017", "M6", None),
        ("ISO 4762", "bolt", None),
    ],
)  # fmt: skip
def test_keys_of_socket_screws(standard: str, designation: str, key: float | None) -> None:
    """Values from memory; bd-warehouse 0.4.0 has the same, or the socket width just above the key."""
    found = key_size(standard, designation)
    assert (found.key_mm if found else None) == key


def test_within_a_standard_a_larger_screw_never_takes_a_smaller_key() -> None:
    standards = list(dict.fromkeys(row["standard"] for row in rows("key-sizes")))
    assert standards == ["ISO 4762", "ISO 7380", "ISO 10642", "ISO 4026"]
    for standard in standards:
        sizes = [(row["diameter_mm"], row["key_mm"]) for row in rows("key-sizes") if row["standard"] == standard]
        assert sizes == sorted(sizes)
        assert all(float(key) < float(diameter) for diameter, key in sizes)


def test_every_key_from_memory_says_so() -> None:
    assert all(str(row["verified"]).startswith("memory") for row in rows("key-sizes"))


def test_every_table_is_described_whole() -> None:
    files = {path.stem for path in (Path(__file__).parents[2] / "app" / "standards" / "data").iterdir()}
    assert {each["name"] for each in tables()} == files
    for each in tables():
        whole = table(each["name"])
        names = [column["name"] for column in each["columns"]]
        assert names[0] == "id"
        assert names[-3:] == ["source", "verified", "notes"]
        assert len(whole["rows"]) == each["rows_total"] > 0
        assert all(re.fullmatch(r"[a-z0-9][a-z0-9-]{0,79}", str(row["id"])) for row in whole["rows"])
        assert len({row["id"] for row in whole["rows"]}) == len(whole["rows"])
        for row in whole["rows"]:
            assert row["source"]
            assert row["verified"]
            assert "" not in row.values()
            assert set(row) <= set(names)


def test_every_unit_of_a_column_is_in_the_unit_table() -> None:
    units = {column["unit"] for each in tables() for column in each["columns"] if "unit" in column}
    assert {unit for unit in units if not find(unit)} == {"0.1 mm"}  # the unit of penetration


def test_a_table_that_is_not_there_is_refused_with_the_nearest_names() -> None:
    with pytest.raises(NotFound) as refused:
        table("thread")
    assert refused.value.extra["candidates"][0]["id"] == "threads"
    for hostile in ("../tables", "", "x" * 10_000, "threads.csv", "\x00"):
        with pytest.raises(NotFound):
            table(hostile)


def test_answers_are_the_callers_own() -> None:
    table("threads")["rows"][0]["designation"] = "spoilt"
    assert table("threads")["rows"][0]["designation"] == "M3"
