"""Rotation of a frame: every row of geometry_examples, scipy on coordinates, and general properties."""

import math
from dataclasses import replace

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from physics_rows import Row, by_id, numbers, rows
from scipy.optimize import brentq

from app.physics.frame_geometry import Geometry, along_steerer_m, straight_m, wheel_radius_m, with_fork

ROWS = by_id("geometry_examples")
CASE_A = Geometry(
    wheelbase_m=1.200, head_angle_rad=math.radians(66), axle_to_crown_m=0.550, offset_m=0.044, rear_radius_m=0.370,
    front_radius_m=0.370, seat_angle_rad=math.radians(75), chainstay_m=0.435, bb_drop_m=0.030, reach_m=0.460,
    stack_m=0.620,
)  # fmt: skip


def test_every_row_is_used() -> None:
    used = {name for name in ROWS if ROWS[name]["kind"] in ("rotation", "wheel radius estimate", "invariant")}
    bead_seats = {name for name in ROWS if ROWS[name]["kind"] == "bead seat diameter"}  # standards, not physics
    assert used | bead_seats | {"GEA_small"} == set(ROWS)
    assert {name for name in used if name.startswith("GEI")} == {f"GEI{number}" for number in range(1, 8)}


def shown(after: Geometry, quantity: str) -> float:
    """A quantity of a row, in mm or degrees."""
    if quantity.startswith("d_"):
        return shown(after, quantity[2:]) - shown(CASE_A, quantity[2:])
    value: float = getattr(after, f"{quantity}_rad" if quantity.endswith("angle") else f"{quantity}_m")
    return math.degrees(value) if quantity.endswith("angle") else value * 1000


@pytest.mark.parametrize(
    "row", [row for row in rows("geometry_examples") if row["kind"] == "rotation"], ids=lambda r: r["id"]
)
def test_rotation_rows(row: Row) -> None:
    change_m = float(row["change"].split("axle-to-crown ")[1].split()[0]) / 1000
    after = with_fork(CASE_A, CASE_A.axle_to_crown_m + change_m)
    assert shown(after, row["quantity"]) == pytest.approx(float(row["value"]), abs=float(row["tolerance_abs"]))


def test_the_first_order_estimate_is_near() -> None:
    row = ROWS["GEA_small"]
    after = with_fork(CASE_A, 0.570)
    assert shown(after, "d_head_angle") == pytest.approx(float(row["value"]), abs=float(row["tolerance_abs"]))


@pytest.mark.parametrize("name", ["GEWR1", "GEWR2", "GEWR3"])
def test_wheel_radius(name: str) -> None:
    given_ = numbers(ROWS[name]["inputs"])
    found = wheel_radius_m(given_["BSD"] / 1000, given_["tyre section height"] / 1000)
    assert found * 1000 == pytest.approx(float(ROWS[name]["value"]), abs=1e-9)


frames = st.builds(
    Geometry,
    wheelbase_m=st.floats(1.0, 1.35),
    head_angle_rad=st.floats(math.radians(60), math.radians(72)),
    axle_to_crown_m=st.floats(0.45, 0.60),
    offset_m=st.floats(0.030, 0.060),
    rear_radius_m=st.floats(0.33, 0.38),
    front_radius_m=st.floats(0.33, 0.38),
    seat_angle_rad=st.floats(math.radians(68), math.radians(80)),
    chainstay_m=st.floats(0.42, 0.46),
    bb_drop_m=st.floats(-0.02, 0.08),
    reach_m=st.floats(0.38, 0.52),
    stack_m=st.floats(0.55, 0.68),
)
always = settings(max_examples=80, deadline=None)


def as_tuple(geometry: Geometry) -> list[float]:
    return [getattr(geometry, name) for name in Geometry.__slots__]


@always
@given(frames, st.floats(-0.06, 0.06), st.floats(-0.01, 0.01))
def test_there_and_back_returns_the_geometry(frame: Geometry, change: float, offset: float) -> None:
    """GEI1, GEI2, mixed wheels and another offset included."""
    assert as_tuple(with_fork(frame, frame.axle_to_crown_m)) == pytest.approx(as_tuple(frame), abs=1e-12)
    there = with_fork(frame, frame.axle_to_crown_m + change)
    back = with_fork(there, frame.axle_to_crown_m)
    assert as_tuple(back) == pytest.approx(as_tuple(frame), abs=1e-12)
    other = with_fork(frame, frame.axle_to_crown_m + change, frame.offset_m + offset, front_radius_m=0.35)
    home = with_fork(other, frame.axle_to_crown_m, frame.offset_m, front_radius_m=frame.front_radius_m)
    assert as_tuple(home) == pytest.approx(as_tuple(frame), abs=1e-12)


@always
@given(frames, st.floats(0.001, 0.06))
def test_a_longer_fork_slackens_and_lifts(frame: Geometry, change: float) -> None:
    """GEI3, GEI4, GEI5."""
    after = with_fork(frame, frame.axle_to_crown_m + change)
    assert after.head_angle_rad < frame.head_angle_rad
    assert after.trail_m > frame.trail_m
    assert after.bb_height_m is not None
    assert frame.bb_height_m is not None
    assert after.bb_height_m > frame.bb_height_m
    assert after.reach_m is not None
    assert after.stack_m is not None
    assert after.reach_m < (frame.reach_m or 0)
    assert after.stack_m > (frame.stack_m or 0)


@always
@given(frames, st.floats(0.001, 0.01))
def test_more_offset_at_equal_head_angle_is_less_trail(frame: Geometry, more: float) -> None:
    """GEI6."""
    assert replace(frame, offset_m=frame.offset_m + more).trail_m < frame.trail_m


@always
@given(frames, st.floats(0.01, 0.06))
def test_sag_is_a_shorter_fork(frame: Geometry, sag: float) -> None:
    """GEI7; a fork with exactly the sag that the geometry was measured with changes nothing."""
    sagged = with_fork(frame, frame.axle_to_crown_m, sag_after_m=sag)
    shorter = with_fork(frame, frame.axle_to_crown_m - sag)
    assert sagged.head_angle_rad == pytest.approx(shorter.head_angle_rad, abs=1e-14)
    assert sagged.head_angle_rad > frame.head_angle_rad
    same = with_fork(frame, frame.axle_to_crown_m, sag_before_m=sag, sag_after_m=sag)
    assert as_tuple(same) == pytest.approx(as_tuple(frame), abs=1e-12)


@always
@given(frames, st.floats(-0.05, 0.05), st.floats(0.33, 0.38), st.floats(0.33, 0.38))
def test_the_closed_form_by_scipy_on_coordinates(frame: Geometry, change: float, front: float, rear: float) -> None:
    """Mixed wheels: points of the frame and fork placed in the plane; brentq finds the turn."""
    up_axis = complex(-math.cos(frame.head_angle_rad), math.sin(frame.head_angle_rad))
    axle = complex(frame.wheelbase_m, frame.front_radius_m - frame.rear_radius_m) - change * up_axis

    def off_ground(turn: float) -> float:
        return (axle * complex(math.cos(turn), math.sin(turn))).imag - (front - rear)

    turn = brentq(off_ground, -0.5, 0.5, xtol=1e-14)
    turning = complex(math.cos(turn), math.sin(turn))
    after = with_fork(frame, frame.axle_to_crown_m + change, front_radius_m=front, rear_radius_m=rear)
    assert after.head_angle_rad == pytest.approx(frame.head_angle_rad - turn, abs=1e-9)
    assert after.wheelbase_m == pytest.approx((axle * turning).real, abs=1e-9)
    drop, chainstay = frame.bb_drop_m or 0.0, frame.chainstay_m or 0.0
    bracket = complex(math.sqrt(chainstay**2 - drop**2), -drop) * turning
    assert after.bb_height_m == pytest.approx(rear + bracket.imag, abs=1e-9)
    head_tube = complex(frame.reach_m or 0.0, frame.stack_m or 0.0) * turning
    assert (after.reach_m, after.stack_m) == pytest.approx((head_tube.real, head_tube.imag), abs=1e-9)


@always
@given(st.floats(0.4, 0.6), st.floats(-0.06, 0.06))
def test_straight_and_along_the_steerer(along: float, offset: float) -> None:
    straight = straight_m(along, offset)
    assert straight == pytest.approx(math.hypot(along, offset), rel=1e-14)
    assert along_steerer_m(straight, offset) == pytest.approx(along, rel=1e-12)


def test_what_is_unknown_stays_unknown() -> None:
    bare = Geometry(1.2, math.radians(66), 0.55, 0.044, 0.37, 0.37)
    after = with_fork(bare, 0.57)
    assert after.head_angle_rad == with_fork(CASE_A, 0.57).head_angle_rad
    assert (after.seat_angle_rad, after.bb_drop_m, after.bb_height_m, after.reach_m, after.stack_m) == (None,) * 5
    without_chainstay = with_fork(replace(CASE_A, chainstay_m=None), 0.57)
    assert (without_chainstay.bb_drop_m, without_chainstay.bb_height_m) == (None, None)


@pytest.mark.parametrize(
    "change",
    [
        {"wheelbase_m": 0.0},
        {"head_angle_rad": 66.0},
        {"seat_angle_rad": 0.0},
        {"bb_drop_m": 0.435},
        {"front_radius_m": -1},
    ],
    ids=str,
)
def test_a_frame_that_cannot_exist_is_refused(change: dict[str, float]) -> None:
    with pytest.raises(ValueError):
        replace(CASE_A, **change)


def test_a_fork_that_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot touch the ground"):
        with_fork(CASE_A, 0.55, front_radius_m=2.0)
    with pytest.raises(ValueError, match="sag"):
        with_fork(CASE_A, 0.55, sag_after_m=0.55)
    with pytest.raises(ValueError, match="longer than the offset"):
        along_steerer_m(0.04, 0.044)
    with pytest.raises(ValueError, match="tyre"):
        wheel_radius_m(0.622, 0.0)


def test_dimensions_hold_with_quantities() -> None:
    of = pint.UnitRegistry().Quantity
    frame = Geometry(
        of(120.0, "cm"), math.radians(66), of(550.0, "mm"), of(44.0, "mm"), of(370.0, "mm"), of(370.0, "mm"),
        None, of(435.0, "mm"), of(30.0, "mm"), of(46.0, "cm"), of(620.0, "mm"),
    )  # fmt: skip
    after = with_fork(frame, of(0.57, "m"))
    bare = with_fork(CASE_A, 0.57)
    assert after.wheelbase_m.to("m").magnitude == pytest.approx(bare.wheelbase_m, rel=1e-12)
    assert float(after.head_angle_rad) == pytest.approx(bare.head_angle_rad, rel=1e-12)
    assert after.trail_m.to("m").magnitude == pytest.approx(bare.trail_m, rel=1e-12)
    assert after.bb_drop_m.to("m").magnitude == pytest.approx(bare.bb_drop_m, rel=1e-12)
