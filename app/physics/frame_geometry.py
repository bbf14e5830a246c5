"""The geometry of a frame with another fork: a rigid rotation about the rear axle. ValueError for impossible frames.

Side view, x forward, y up, origin at the rear axle. Angles are from the horizontal. The frame is rigid: the sag of a
rear shock is not modelled. Any consistent unit of length will do.
"""

import math
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Geometry:
    """A bicycle standing on level ground.

    wheelbase_m: horizontal, axle to axle; head_angle_rad; axle_to_crown_m along the steering axis
    (see along_steerer_m); offset_m of the front axle from the steering axis; wheel radii to the ground. The rest may
    be unknown (None): seat_angle_rad, chainstay_m with bb_drop_m (below the rear axle), reach_m with stack_m.
    ValueError outside validity.
    """

    wheelbase_m: float
    head_angle_rad: float
    axle_to_crown_m: float
    offset_m: float
    rear_radius_m: float
    front_radius_m: float
    seat_angle_rad: float | None = None
    chainstay_m: float | None = None
    bb_drop_m: float | None = None
    reach_m: float | None = None
    stack_m: float | None = None

    def __post_init__(self) -> None:
        lengths = (self.wheelbase_m, self.axle_to_crown_m, self.rear_radius_m, self.front_radius_m)
        if not all(length > 0 for length in lengths):
            raise ValueError("Wheelbase, axle-to-crown and wheel radii must be greater than zero.")
        for angle in (self.head_angle_rad, self.seat_angle_rad):
            if angle is not None and not 0 < angle < math.pi / 2:
                raise ValueError("Head angle and seat angle must lie between 0 and 90 degrees.")
        if self.chainstay_m is not None and self.bb_drop_m is not None and not self.chainstay_m > abs(self.bb_drop_m):
            raise ValueError("The chainstay must be longer than the drop of the bottom bracket.")

    @property
    def trail_m(self) -> float:
        """(Rf*cos(head angle) - offset)/sin(head angle): ground trail, plane geometry."""
        return (self.front_radius_m * math.cos(self.head_angle_rad) - self.offset_m) / math.sin(self.head_angle_rad)

    @property
    def bb_height_m(self) -> float | None:
        """Rear radius less the drop of the bottom bracket."""
        return None if self.bb_drop_m is None else self.rear_radius_m - self.bb_drop_m


def along_steerer_m(straight_m: float, offset_m: float) -> float:
    """Axle-to-crown along the steering axis from the straight line axle to crown: sqrt(straight^2 - offset^2).

    0 <= |offset| < straight, else ValueError (Pythagoras).
    """
    if not straight_m > abs(offset_m):
        raise ValueError("The straight axle-to-crown must be longer than the offset.")
    length: float = (straight_m**2 - offset_m**2) ** 0.5
    return length


def straight_m(along_steerer_m: float, offset_m: float) -> float:
    """The inverse of along_steerer_m: sqrt(along^2 + offset^2); along > 0."""
    if not along_steerer_m > 0:
        raise ValueError("The axle-to-crown must be greater than zero.")
    length: float = (along_steerer_m**2 + offset_m**2) ** 0.5
    return length


def wheel_radius_m(bead_seat_diameter_m: float, tyre_height_m: float) -> float:
    """Half the bead seat diameter (ISO 5775) plus the height of the tyre; unloaded, so an estimate. Both > 0."""
    if not (bead_seat_diameter_m > 0 and tyre_height_m > 0):
        raise ValueError("Bead seat diameter and tyre height must be greater than zero.")
    return bead_seat_diameter_m / 2 + tyre_height_m


def with_fork(
    before: Geometry,
    axle_to_crown_m: float,
    offset_m: float | None = None,
    *,
    sag_before_m: float | None = None,
    sag_after_m: float | None = None,
    front_radius_m: float | None = None,
    rear_radius_m: float | None = None,
) -> Geometry:
    """Geometry of the same frame with another fork, and other wheels if given; closed form.

    In the frame's own axes the front axle goes from f = (W, Rf - Rr) to f - da*u + do*n, with u = (-cos, sin) of the
    head angle up the steering axis, n = (sin, cos) forward across it. The frame then turns about the rear axle by
    phi = asin((Rf' - Rr')/|f'|) - atan2(f'), until the front axle is Rf' above the ground: head and seat angle fall
    by phi, points of the frame turn by phi. Source: plane rigid-body geometry.

    `before` was measured with `sag_before_m` of fork sag (axle_to_crown_m is always the unsagged length), and the
    answer is at `sag_after_m`; both lengths shorten by their sag. None is no sag. The returned axle_to_crown_m is
    unsagged. ValueError when sag exceeds the fork, or the front axle cannot reach the ground.
    """
    offset = before.offset_m if offset_m is None else offset_m
    rear = before.rear_radius_m if rear_radius_m is None else rear_radius_m
    front = before.front_radius_m if front_radius_m is None else front_radius_m
    longer = _less_sag(axle_to_crown_m, sag_after_m) - _less_sag(before.axle_to_crown_m, sag_before_m)
    sine, cosine = math.sin(before.head_angle_rad), math.cos(before.head_angle_rad)
    forward = before.wheelbase_m + longer * cosine + (offset - before.offset_m) * sine
    up = before.front_radius_m - before.rear_radius_m - longer * sine + (offset - before.offset_m) * cosine
    reach_of_axle = (forward**2 + up**2) ** 0.5
    rise = (front - rear) / reach_of_axle
    if not (forward > 0 and abs(rise) < 1):
        raise ValueError("With this fork the front wheel cannot touch the ground ahead of the rear axle.")
    turn = math.asin(rise) - math.atan(up / forward)
    return _turned(
        replace(
            before,
            wheelbase_m=reach_of_axle * math.cos(math.asin(rise)),
            axle_to_crown_m=axle_to_crown_m,
            offset_m=offset,
            rear_radius_m=rear,
            front_radius_m=front,
        ),
        turn,
    )


def _less_sag(axle_to_crown_m: float, sag_m: float | None) -> float:
    if sag_m is None:
        return axle_to_crown_m
    if not 0 <= sag_m < axle_to_crown_m:
        raise ValueError("The sag must lie between zero and the axle-to-crown.")
    return axle_to_crown_m - sag_m


def _turned(geometry: Geometry, turn_rad: float) -> Geometry:
    """Angles and points of the frame turned by `turn_rad` (front up is positive); wheels and fork are unchanged."""
    sine, cosine = math.sin(turn_rad), math.cos(turn_rad)
    drop, chainstay = geometry.bb_drop_m, geometry.chainstay_m
    if drop is not None and chainstay is not None:
        drop = drop * cosine - (chainstay**2 - drop**2) ** 0.5 * sine
    else:
        drop = None
    reach, stack = geometry.reach_m, geometry.stack_m
    if reach is not None and stack is not None:
        reach, stack = reach * cosine - stack * sine, reach * sine + stack * cosine
    else:
        reach = stack = None
    return replace(
        geometry,
        head_angle_rad=geometry.head_angle_rad - turn_rad,
        seat_angle_rad=None if geometry.seat_angle_rad is None else geometry.seat_angle_rad - turn_rad,
        bb_drop_m=drop,
        reach_m=reach,
        stack_m=stack,
    )
