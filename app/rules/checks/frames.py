"""Frames: the published geometry closes, and the frame allows the fork it is drawn with."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from app.catalogue.tables import Frame, is_row_of
from app.physics.frame_geometry import along_steerer_m
from app.rules.checks.envelope import FORM
from app.rules.finding import Severity
from app.rules.registry import Violation, edit, rule
from app.rules.view import RowView

NEEDED = (
    "wheelbase_mm", "head_angle_deg", "axle_to_crown_mm", "offset_mm", "chainstay_mm", "bb_drop_mm", "reach_mm",
    "stack_mm",
)  # fmt: skip
CLOSES_MM, OPEN_MM = 3.0, 6.0  # gap allowed beyond rounding in printed geometry; common practice, no source
FRONT_CENTRE_MM = (350.0, 1000.0)  # bottom bracket to front axle; common practice, no source
HEAD_TUBE_MM = (40.0, 320.0)


@dataclass(frozen=True, slots=True)
class _Closing:
    """Distance of the top of the head tube from the steering axis, and its height above the crown, in mm."""

    off: float
    above: float


def _closing(given: dict[str, float], straight: bool) -> _Closing:
    """Side view, x forward, y up, origin at the rear axle: the fork from the front axle up, the frame from the bottom
    bracket up. Both meet on the steering axis, u = (-cos, sin) of the head angle. Source: plane geometry."""
    angle = math.radians(given["head_angle_deg"])
    length, offset = given["axle_to_crown_mm"], given["offset_mm"]
    along = along_steerer_m(length, offset) if straight else length
    along -= given["geometry_sag_mm"]
    forward, rise = given["wheelbase_mm"], given["rise"]
    crown_x = forward - offset * math.sin(angle) - along * math.cos(angle)
    crown_y = rise - offset * math.cos(angle) + along * math.sin(angle)
    drop = given["bb_drop_mm"]
    bracket_x = math.sqrt(given["chainstay_mm"] ** 2 - drop**2)
    x, y = bracket_x + given["reach_mm"] - crown_x, given["stack_mm"] - drop - crown_y
    return _Closing(x * math.sin(angle) + y * math.cos(angle), -x * math.cos(angle) + y * math.sin(angle))


def _given(row: Frame) -> tuple[dict[str, float], dict[str, float]] | None:
    """The figures of a frame, and how much each may be rounded; None if a needed one is missing."""
    fields: dict[str, Any] = row.values()
    if any(fields[name] is None for name in NEEDED):
        return None
    names = (*NEEDED, "geometry_sag_mm")
    given = {name: float(fields[name] or 0) for name in names}
    fits = given["axle_to_crown_mm"] > given["offset_mm"] and given["chainstay_mm"] > abs(given["bb_drop_mm"])
    if not fits or not 0 < given["head_angle_deg"] < 90:
        return None  # other rules report this
    half = {name: _half_step(fields[name]) for name in names}
    wheels = (row.wheel_front, row.tyre_front_mm, row.wheel_rear, row.tyre_rear_mm)
    if None in wheels:
        if row.wheel_front != row.wheel_rear:
            return None
        given["rise"] = 0.0
    else:
        front = (row.wheel_front or 0) / 2 + float(row.tyre_front_mm or 0)
        given["rise"] = front - (row.wheel_rear or 0) / 2 - float(row.tyre_rear_mm or 0)
    return given, half


def _half_step(figure: Decimal | None) -> float:
    exponent = 0 if figure is None else figure.as_tuple().exponent
    return 0.0 if figure is None else 0.5 * 10.0 ** int(exponent)


def _rounded(given: dict[str, float], half: dict[str, float], straight: bool) -> float:
    """How far rounding of the printed figures can move the closing point: the sum of the effects of each."""
    at = _closing(given, straight).off
    return sum(abs(_closing({**given, name: given[name] + step}, straight).off - at) for name, step in half.items())


@rule(
    "frame-does-not-close",
    shape="row",
    nature="implausible",
    tables=(Frame,),
    silenced_by=(*FORM, "dimension-implausible", "frame-contradicts-itself"),
    passes=edit("frames", "frame-a", offset_mm="44", wheelbase_mm="1200", chainstay_mm="435", bb_drop_mm="35",
                reach_mm="447", stack_mm="629", wheel_front="622", wheel_rear="622"),
    fails=edit("frames", "frame-a", offset_mm="44", wheelbase_mm="1200", chainstay_mm="435", bb_drop_mm="35",
               reach_mm="474", stack_mm="629", wheel_front="622", wheel_rear="622"),
)  # fmt: skip
def frame_does_not_close(view: RowView, today: date) -> Iterator[Violation]:
    """Wheelbase, angles, reach, stack and fork of a frame do not fit together: no such frame can be built.

    Drawn from the rear axle, the top of the head tube must end on the steering axis of the fork. If it is further off
    than rounding and a few millimetres explain, a figure belongs to another size, or two digits are swapped.

    Fix: check the geometry against that line of the page, and the fork it is given for; if it is printed so, copy its
    words into as_printed.
    """
    row = view.row
    assert is_row_of(row, Frame)
    found = _given(row)
    if found is None:
        return
    given, half = found
    ways = [row.axle_to_crown_measured == "straight"]
    if row.axle_to_crown_measured in (None, "not stated"):
        ways = [False, True]
    over = min((abs((each := _closing(given, way)).off) - _rounded(given, half, way), each.off) for way in ways)
    if over[0] > CLOSES_MM:
        severity: Severity = "reject" if over[0] > OPEN_MM else "warn"
        text = f"the head tube ends {abs(over[1]):.0f} mm {'ahead of' if over[1] > 0 else 'behind'} the steering axis"
        doubted = tuple((row, name) for name in NEEDED)
        yield Violation(row, "reach_mm", text, severity=severity, figures=doubted)
        return
    above = _closing(given, ways[0]).above
    if not HEAD_TUBE_MM[0] <= above <= HEAD_TUBE_MM[1]:
        text = f"the head tube would be {above:.0f} mm long"
        yield Violation(row, "stack_mm", text, figures=tuple((row, name) for name in NEEDED))


@rule(
    "frame-contradicts-itself",
    shape="row",
    tables=(Frame,),
    silenced_by=(*FORM, "dimension-implausible"),
    passes=edit("frames", "frame-a", axle_to_crown_max_mm="545"),
    fails=edit("frames", "frame-a", axle_to_crown_max_mm="544"),
)
def frame_contradicts_itself(view: RowView, today: date) -> Iterator[Violation]:
    """A frame does not allow the fork that its own geometry is given for, or two of its lengths cannot both be right.

    A frame's geometry is printed for a fork that fits it. The bottom bracket is never further from the rear axle than
    the chainstay is long, and the front axle is in front of the bottom bracket.

    Fix: check the lengths against the page; two cells may be swapped.
    """
    row = view.row
    assert is_row_of(row, Frame)
    most, own = row.axle_to_crown_max_mm, row.axle_to_crown_mm
    if most is not None and own is not None and own > most:
        yield Violation(row, "axle_to_crown_max_mm", f"at most {most} mm, but the geometry is for {own} mm")
        return
    sag, travel = row.geometry_sag_mm, row.travel_max_mm
    if sag is not None and travel is not None and float(sag) >= travel:
        yield Violation(row, "geometry_sag_mm", f"a sag of {sag} mm in {travel:g} mm of travel")
        return
    chainstay, wheelbase, drop = row.chainstay_mm, row.wheelbase_mm, row.bb_drop_mm
    if chainstay is None:
        return
    if drop is not None and abs(drop) >= chainstay:
        yield Violation(row, "bb_drop_mm", f"a drop of {drop} mm on a chainstay of {chainstay} mm")
    elif wheelbase is not None:
        ahead = float(wheelbase) - math.sqrt(float(chainstay) ** 2 - float(drop or 0) ** 2)
        if not FRONT_CENTRE_MM[0] <= ahead <= FRONT_CENTRE_MM[1]:
            text = f"{wheelbase} mm on a chainstay of {chainstay} mm puts the front axle {ahead:.0f} mm ahead of the "
            yield Violation(row, "wheelbase_mm", text + "bottom bracket")
