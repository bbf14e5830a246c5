"""Preload on the sheet: Shigley's example, ISO 898-1 proof loads, and every reason why it is not judged."""

import csv
import math
from pathlib import Path
from typing import Any

import pytest

from app.catalogue.catalogue import Catalogue
from app.catalogue.tables import Chassis, Fastener, Row, Source, Torque
from app.database.connections import Database
from app.questions.answers.preload import PreloadView, preload
from app.questions.sheet.sheet import SheetAsked, sheet
from app.units.preferences import Units
from tests.questions.storing import store

INCH_M, LBF_N = 0.0254, 4.4482216152605  # exact: NIST SP 811 (2008), B.8
PROOF_LOADS = Path(__file__).parents[1] / "reference" / "proof_loads.csv"
FOOT_BOLT: dict[str, Any] = {
    "id": "foot-bolt", "chassis": "fork", "position": "foot bolt", "kind": "bolt", "thread": "M8x1.25",
    "property_class": "8.8", "material": "steel", "counterpart_material": "aluminium", "standard": "ISO 4762",
}  # fmt: skip
TORQUE: dict[str, Any] = {
    "id": "torque", "chassis": "fork", "fastener": "foot-bolt", "value": "10", "unit": "N·m", "thread_prep": "dry",
}  # fmt: skip


def of(on_torque: dict[str, Any] | None = None, on_fastener: dict[str, Any] | None = None) -> PreloadView:
    torque = Torque.checked({**TORQUE, **(on_torque or {})})
    return preload(torque, Fastener.checked({**FOOT_BOLT, **(on_fastener or {})}), Units())


def proof_load(name: str) -> float:
    """ISO 898-1:2013, tables 5 and 7, as printed; the rows say that they are from memory, checked by As·Sp."""
    (load,) = (float(row["value"]) for row in csv.DictReader(PROOF_LOADS.open(newline="")) if row["id"] == name)
    return load


def test_the_clamp_force_is_that_of_the_short_formula() -> None:
    # Shigley 9e, example 8-3: K = 0.2, F = 25 kip, d = 0.75 in need 3750 lbf·in; the same K and d = 20 mm
    force = 25_000 * LBF_N
    torque = 3750 * LBF_N * INCH_M * (0.020 / (0.75 * INCH_M))
    shown = of({"value": f"{torque:.3f}"}, {"thread": "M20x2.5"})
    assert shown["preload"]["value"] == pytest.approx(force, abs=10)
    assert shown["preload"]["min"] < force < shown["preload"]["max"]
    # scatter of 35 % for a torque wrench on dry threads (NSTS 08307, from memory)
    assert shown["preload"]["max"] == pytest.approx(1.35 * force, abs=10)
    assert shown["preload"]["min"] == pytest.approx(0.65 * force, abs=10)


def test_the_share_is_of_the_printed_proof_load() -> None:
    # printed proof loads of ISO 898-1 are rounded, up to 0.5 % off
    shown = of()
    force = shown["preload"]["value"]
    assert force == pytest.approx(10 / (0.2 * 0.008), abs=5)
    assert shown["share_of_proof_load"]["value"] / 100 == pytest.approx(force / proof_load("PL_M8x1.25_8.8"), rel=6e-3)
    assert shown["proof_load"] == "within"
    assert "not_judged" not in shown


def equivalent_share(torque_nm: float, nut_factor: float, hole_mm: float) -> float:
    """Share of 90 % of yield of an M8 of class 8.8 (640 MPa), by VDI 2230-1:2003, equations R8/2 and R13/1.

    d2 = 7.188 mm and d3 = 6.466 mm (ISO 724); the head bears on a mean diameter of 1.3 d.
    """
    force = torque_nm / (nut_factor * 0.008)
    friction = (nut_factor * 8 - 1.25 / (2 * math.pi)) / (0.577 * 7.188 + 0.65 * 8)
    core = (7.188 + 6.466) / 2
    tension = force / (math.pi / 4 * (core**2 - hole_mm**2))
    torsion = (
        force * 7.188 / 2 * (1.25 / (math.pi * 7.188) + 1.155 * friction) / (math.pi / 12 * (core**3 - hole_mm**3))
    )
    return math.sqrt(tension**2 + 3 * torsion**2) / (0.9 * 640)


@pytest.mark.parametrize(
    ("value", "judgement"), [("15", "within"), ("19", "may exceed"), ("30", "may exceed"), ("46", "exceeds")]
)
def test_a_bolt_is_judged_with_torsion_and_scatter(value: str, judgement: str) -> None:
    # As of M8 is 36.6 mm², less a hole of 3 mm; Sp of class 8.8 is 580 MPa up to 16 mm (ISO 898-1:2013, tables 3 and 4)
    shown = of({"value": value}, {"through_hole_mm": "3"})
    area = 36.6 - 3.14159 / 4 * 9
    share = float(value) / (0.2 * 0.008) / (580 * area)
    assert shown["share_of_proof_load"]["value"] == pytest.approx(100 * share, rel=2e-3)
    nominal, low, high = (equivalent_share(float(value), nut, 3) for nut in (0.2, 0.2 / 0.65, 0.2 / 1.35))
    with_torsion = shown["share_of_yield_limit"]
    assert with_torsion["value"] == pytest.approx(100 * nominal, rel=3e-3)
    assert with_torsion["max"] == pytest.approx(100 * high, rel=6e-3)
    expected = "exceeds" if max(low, 0.65 * share) > 1 else "may exceed" if max(high, 1.35 * share) > 1 else "within"
    assert shown["proof_load"] == expected == judgement


def test_a_bolt_within_its_proof_load_may_yield_by_torsion() -> None:
    """20 N·m on that bolt are within the proof load in tension alone, even at the end of the scatter."""
    shown = of({"value": "20"}, {"through_hole_mm": "3"})
    assert shown["share_of_proof_load"]["max"] < 100 < shown["share_of_yield_limit"]["max"]
    assert shown["proof_load"] == "may exceed"


def test_limits_of_the_torque_widen_the_ends() -> None:
    narrow, wide = of(), of({"min": "9", "max": "11"})
    assert wide["preload"]["value"] == narrow["preload"]["value"]
    assert wide["preload"]["min"] == pytest.approx(0.9 * narrow["preload"]["min"], abs=10)
    assert wide["preload"]["max"] == pytest.approx(1.1 * narrow["preload"]["max"], abs=10)


@pytest.mark.parametrize(
    ("on_torque", "on_fastener", "reason"),
    [
        ({"thread_prep": None}, {}, "prepared"),
        ({"value": None, "unit": None}, {}, "torque is not stated"),
        ({}, {"thread": None}, "thread is not stated"),
        ({}, {"thread": "1/4-20 UNC"}, "not a known ISO metric thread"),
        ({}, {"material": None}, "material is not stated"),
        ({}, {"material": "aluminium"}, "aluminium"),
        ({}, {"kind": "set screw"}, "set screw"),
    ],
)
def test_without_what_it_needs_there_is_no_clamp_force(
    on_torque: dict[str, Any], on_fastener: dict[str, Any], reason: str
) -> None:
    shown = of(on_torque, on_fastener)
    assert shown["proof_load"] == "not judged"
    assert any(reason in each for each in shown["not_judged"])
    assert "preload" not in shown
    assert "share_of_proof_load" not in shown


@pytest.mark.parametrize(
    ("on_fastener", "reason"),
    [
        ({"property_class": None}, "property class is not stated"),
        ({"property_class": "A2-70"}, "no proof stress"),  # ISO 3506-1 gives stainless steel none
        ({"property_class": "8", "kind": "nut"}, "no proof stress"),
        ({"standard": None}, "hole"),
    ],
)
def test_without_strength_or_hole_the_share_is_not_judged(on_fastener: dict[str, Any], reason: str) -> None:
    shown = of({}, on_fastener)
    assert shown["preload"]["value"] == pytest.approx(6250, abs=5)
    assert shown["proof_load"] == "not judged"
    assert any(reason in each for each in shown["not_judged"])
    assert "share_of_proof_load" not in shown


def test_the_wrench_is_marked_from_the_torque_to_five_times_it() -> None:
    # ISO 6789:2003 tests a wrench from a fifth of its maximum
    wrench = of({"min": "9", "max": "11"})["wrench"]["marked_maximum"]
    assert (wrench["min"], wrench["max"], wrench["unit"]) == (11, 45, "N·m")


def test_a_counterpart_is_said_not_to_be_judged_and_rows_of_standards_are_linked() -> None:
    shown = of()
    assert any("aluminium" in each["text"] for each in shown["assumptions"])
    assert {link["href"] for link in shown["standards"]} == {
        "/v1/standards/threads", "/v1/standards/property-classes", "/v1/standards/key-sizes",
    }  # fmt: skip
    assert all(link["row"] for link in shown["standards"])


def test_the_sheet_has_it_only_when_asked(database: Database) -> None:
    rows: list[Row] = [
        Source.checked(id="doc", title="Invented", kind="manual", invented=True),
        Chassis.checked(id="fork", maker="maker", name="Fork", model_year_from=2020, model_year_to=2024),
        Fastener.checked(FOOT_BOLT),
        Torque.checked({**TORQUE, "source": "doc"}),
    ]
    store(database, rows)
    catalogue = Catalogue(database)
    plain = catalogue.answer(lambda at: sheet(at, "fork", SheetAsked()))
    asked = catalogue.answer(lambda at: sheet(at, "fork", SheetAsked(detail="preload", units="imperial")))
    assert "preload" not in plain["torques"][0]
    assert asked["torques"][0]["preload"]["preload"]["unit"] == "lbf"
    assert asked["torques"][0]["preload"]["wrench"]["marked_maximum"]["unit"] == "in·lbf"
    assert "computed" in {each["code"] for each in asked["cautions"]}
