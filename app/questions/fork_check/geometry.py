"""How the fork changes the geometry of a frame, with bands; a missing value is a gap that says what to measure."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NotRequired

from typing_extensions import TypedDict

from app.catalogue.columns import write_number
from app.catalogue.tables import Frame
from app.physics.band import Band, Solutions, Uncertain, solved
from app.physics.frame_geometry import Geometry, along_steerer_m, wheel_radius_m, with_fork
from app.questions.answers.explained import Assumption, Formula, as_published
from app.questions.answers.gap import Gap
from app.questions.answers.views import figure, length, own_length
from app.questions.fork_check.permission import Length
from app.units.preferences import Units
from app.units.quantity import Quantity, computed, quantity
from app.units.table import Kind

METHOD = "how axle-to-crown was measured"
MM, DEGREE = 1e-3, math.pi / 180
TYRE_SPREAD_MM = 3.0  # how much lower or higher a tyre may stand under load; common practice, no source
FORMULA: Formula = {
    "text": "the frame turns rigidly about the rear axle until the front axle is one wheel radius above the ground; "
    "trail = (front radius·cos head angle − offset)/sin head angle",
    "source": "plane rigid-body geometry, closed form",
    "validity": "a rigid frame on level ground, side view; the sag of a rear shock is not modelled",
}


class GeometryView(TypedDict, total=False):
    """The geometry of a bicycle on level ground; values that the frame's data do not give are absent."""

    axle_to_crown: Quantity
    offset: Quantity
    head_angle: Quantity
    seat_angle: Quantity
    trail: Quantity
    wheelbase: Quantity
    bb_drop: Quantity
    bb_height: Quantity
    reach: Quantity
    stack: Quantity


class GeometryChange(TypedDict):
    """Before as published, after and change as computed; each band contains the true value 95 times in 100."""

    before: GeometryView
    after: GeometryView
    change: GeometryView
    biggest_uncertainty: NotRequired[str]
    formula: Formula
    assumptions: list[Assumption]


# Required inputs, and how a workshop finds them.
NEEDED: Mapping[str, tuple[str, str]] = {
    "axle_to_crown_mm": (
        "the fork length of the geometry",
        "measure the fork that was fitted, unloaded",
    ),
    "head_angle_deg": ("the head angle", "lay a digital level on the stanchion on level ground, unloaded"),
    "wheelbase_mm": ("the wheelbase", "measure front axle to rear axle, wheels straight, on level ground"),
    "offset_mm": ("the fork offset of the geometry", "read it off the fork that was fitted"),
    "wheel_front": ("the front wheel", "read the bead seat diameter off the tyre"),
    "wheel_rear": ("the rear wheel", "read the bead seat diameter off the tyre"),
    "tyre_front_mm": ("the height of the front tyre", "measure front axle to ground, less half the bead seat diameter"),
    "tyre_rear_mm": ("the height of the rear tyre", "measure rear axle to ground, less half the bead seat diameter"),
}
# Column of the frame, member of the answer, its kind and the factor to SI.
_OPTIONAL: tuple[tuple[str, str, Kind, float], ...] = (
    ("seat_angle_deg", "seat_angle", "angle", DEGREE),
    ("bb_drop_mm", "bb_drop", "length", MM),
    ("reach_mm", "reach", "length", MM),
    ("stack_mm", "stack", "length", MM),
)
_RESULTS: tuple[tuple[str, Kind, Callable[[Geometry], float | None]], ...] = (
    ("head_angle", "angle", lambda bike: bike.head_angle_rad),
    ("seat_angle", "angle", lambda bike: bike.seat_angle_rad),
    ("trail", "length", lambda bike: bike.trail_m),
    ("wheelbase", "length", lambda bike: bike.wheelbase_m),
    ("bb_drop", "length", lambda bike: bike.bb_drop_m),
    ("bb_height", "length", lambda bike: bike.bb_height_m),
    ("reach", "length", lambda bike: bike.reach_m),
    ("stack", "length", lambda bike: bike.stack_m),
)


@dataclass(frozen=True, slots=True)
class NewFork:
    """The fork as an input to the geometry."""

    length: Length
    offset_mm: float
    wheel_size: int


def geometry_gaps(frame: Frame) -> list[Gap]:
    """The missing inputs in the frame's data, each with the measurement that closes it."""
    return [
        {
            "what": column.replace("_mm", "").replace("_deg", "").replace("_", "-"),
            "about": frame.id,
            "why_needed": "the fork's effect on steering and stability depends on it",
            "text": f"The catalogue does not give {what}; {how}.",
        }
        for column, (what, how) in NEEDED.items()
        if getattr(frame, column) is None
    ]


def geometry_change(frame: Frame, fork: NewFork, units: Units) -> GeometryChange:
    """Before, after and change for a frame without geometry gaps.

    Raises ValueError for data that no bicycle can have.
    """
    bikes = _solved(frame, fork)
    before, after = bikes.turned.middle
    shown_after = _published_fork(fork, units)
    change: GeometryView = {}
    biggest: str | None = None
    for name, kind, read in _RESULTS:
        if read(before) is None or read(after) is None:
            continue
        after_band, change_band = bikes.bands(read)
        unit = "°" if kind == "angle" else "mm"
        shown_after[name] = _computed(kind, after_band, unit, units)  # type: ignore[literal-required]
        change[name] = _computed(kind, change_band, unit, units)  # type: ignore[literal-required]
        if name == "head_angle":
            biggest = change_band.biggest
    answer: GeometryChange = {
        "before": _before(frame, bikes.turned, units),
        "after": shown_after,
        "change": change,
        "formula": FORMULA,
        "assumptions": _assumptions(frame, fork, units),
    }
    if biggest is not None:
        answer["biggest_uncertainty"] = biggest
    return answer


Pair = tuple[Geometry, Geometry]
"""The bicycle before and after the change of fork."""


@dataclass(frozen=True, slots=True)
class _Bikes:
    """The bicycle for every input at either end, and for either way of measuring the fork: one or the other, not
    something between.
    """

    turned: Solutions[Pair]
    by_method: list[Pair]

    def bands(self, read: Callable[[Geometry], float | None]) -> tuple[Band, Band]:
        """The bands of a figure after the change, and of how much it changed."""
        return (
            self._whichever(lambda pair: _read(read, pair[1])),
            self._whichever(lambda pair: _read(read, pair[1]) - _read(read, pair[0])),
        )

    def _whichever(self, figure: Callable[[Pair], float]) -> Band:
        found = self.turned.band(figure)
        ends = [figure(pair) - found.value for pair in self.by_method]
        widest = max((max(0.0, *each[1:3]) - min(0.0, *each[1:3]) for each in found.moves), default=0.0)
        biggest = METHOD if max(ends) - min(ends) > widest else found.biggest
        return replace(found, low=found.low + min(ends), high=found.high + max(ends), biggest=biggest)


def _solved(frame: Frame, fork: NewFork) -> _Bikes:
    inputs = _inputs(frame, fork)
    at = {each.name: each.value for each in inputs}
    turned = solved(lambda values: _bikes(frame, fork, values), inputs)
    return _Bikes(turned, [_bikes(frame, fork, {**at, METHOD: shift}) for shift in _methods(frame, fork)])


def _inputs(frame: Frame, fork: NewFork) -> list[Uncertain]:
    """Every figure in SI with its uncertainty."""
    inputs = [
        as_published("wheelbase", frame["wheelbase_mm"], MM),
        as_published("head angle", frame["head_angle_deg"], DEGREE),
        as_published("axle-to-crown of the frame's geometry", frame["axle_to_crown_mm"], MM),
        as_published("offset of the frame's geometry", frame["offset_mm"], MM),
        Uncertain("front tyre", float(frame["tyre_front_mm"]) * MM, TYRE_SPREAD_MM * MM),
        Uncertain("rear tyre", float(frame["tyre_rear_mm"]) * MM, TYRE_SPREAD_MM * MM),
        Uncertain("axle-to-crown of the fork", _middle(fork.length) * MM, _half(fork.length) * MM),
        Uncertain(METHOD, 0.0, 0.0),
    ]
    for column, name, _, factor in _OPTIONAL:
        if getattr(frame, column) is not None:
            inputs.append(as_published(name, getattr(frame, column), factor))
    if frame.chainstay_mm is not None:
        inputs.append(as_published("chainstay", frame.chainstay_mm, MM))
    return inputs


def _methods(frame: Frame, fork: NewFork) -> tuple[float, ...]:
    """The correction to the fork's length along the steerer, in m, for either way of measuring.

    The frame's way of measuring is assumed for the fork too, because the catalogue does not give the fork's.
    """
    length = _middle(fork.length) * MM
    longer = length - along_steerer_m(length, fork.offset_mm * MM)
    return {"along the steerer": (-longer, 0.0), "straight": (0.0, longer)}.get(
        frame.axle_to_crown_measured or "", (-longer, 0.0, longer)
    )


def _middle(length: Length) -> float:
    return (length.least_mm + length.greatest_mm) / 2


def _half(length: Length) -> float:
    """Half the spread between sources, and half a millimetre for their last digit."""
    return (length.greatest_mm - length.least_mm) / 2 + 0.5


def _bikes(frame: Frame, fork: NewFork, values: Mapping[str, float]) -> Pair:
    """The bicycle as the frame's maker gives it, and with the fork; both lengths are along the steerer."""
    given, new = values["axle-to-crown of the frame's geometry"], values["axle-to-crown of the fork"]
    new_offset = fork.offset_mm * MM
    if frame.axle_to_crown_measured == "straight":
        given = along_steerer_m(given, values["offset of the frame's geometry"])
        new = along_steerer_m(new, new_offset)
    wheel_front, wheel_rear = frame.wheel_front, frame.wheel_rear
    if wheel_front is None or wheel_rear is None:
        raise ValueError("The wheels of the frame must be known.")
    before = Geometry(
        wheelbase_m=values["wheelbase"],
        head_angle_rad=values["head angle"],
        axle_to_crown_m=given,
        offset_m=values["offset of the frame's geometry"],
        rear_radius_m=wheel_radius_m(wheel_rear * MM, values["rear tyre"]),
        front_radius_m=wheel_radius_m(wheel_front * MM, values["front tyre"]),
        seat_angle_rad=values.get("seat_angle"),
        chainstay_m=values.get("chainstay"),
        bb_drop_m=values.get("bb_drop"),
        reach_m=values.get("reach"),
        stack_m=values.get("stack"),
    )
    sag = None if frame.geometry_sag_mm is None else float(frame.geometry_sag_mm) * MM
    after = with_fork(
        before,
        new + values[METHOD],
        new_offset,
        sag_before_m=sag,
        sag_after_m=sag,
        front_radius_m=wheel_radius_m(fork.wheel_size * MM, values["front tyre"]),
    )
    return before, after


def _read(read: Callable[[Geometry], float | None], bike: Geometry) -> float:
    value = read(bike)
    if value is None:
        raise ValueError("The geometry does not give this.")
    return value


def _computed(kind: Kind, found: Band, unit: str, units: Units) -> Quantity:
    step = Decimal("0.1") if units.usual(kind, unit).name in ("°", "mm") else None
    return computed(kind, found.value, unit, band=(found.low, found.high), to=units, step=step)


def _published_fork(fork: NewFork, units: Units) -> GeometryView:
    """Length and offset as published; if sources leave the length open, both ends."""
    ends = [Decimal(write_number(each)) for each in (fork.length.least_mm, fork.length.greatest_mm)]
    low, high = (None, None) if ends[0] == ends[1] else ends
    value = ends[0] if low is None else None
    return {
        "axle_to_crown": quantity("length", value, "mm", minimum=low, maximum=high, to=units, basis="published"),
        "offset": quantity("length", Decimal(write_number(fork.offset_mm)), "mm", to=units, basis="published"),
    }


def _before(frame: Frame, turned: Solutions[Pair], units: Units) -> GeometryView:
    """The maker's figures, and derived values with the band from their last digits and the tyres."""
    shown: GeometryView = {}
    columns: tuple[tuple[str, str, Kind, str], ...] = (
        ("axle_to_crown", "axle_to_crown_mm", "length", "mm"),
        ("offset", "offset_mm", "length", "mm"),
        ("head_angle", "head_angle_deg", "angle", "°"),
        ("wheelbase", "wheelbase_mm", "length", "mm"),
        *((name, column, kind, "°" if kind == "angle" else "mm") for column, name, kind, _ in _OPTIONAL),
    )
    for name, column, kind, unit in columns:
        if (found := figure(frame, kind, column, unit, units)) is not None:
            shown[name] = {**found, "basis": "published"}  # type: ignore[literal-required]
    for name, kind, read in _RESULTS:
        if name in ("trail", "bb_height") and read(turned.middle[0]) is not None:
            its_band = turned.band(lambda pair, read=read: _read(read, pair[0]))  # type: ignore[misc]
            shown[name] = _computed(kind, its_band, "mm", units)  # type: ignore[literal-required]
    return shown


def _assumptions(frame: Frame, fork: NewFork, units: Units) -> list[Assumption]:
    measured = frame.axle_to_crown_measured or "not stated"
    how = measured if measured != "not stated" else "along the steerer"
    sag: Assumption = {
        "name": "fork sag",
        "text": "the same before and after, as in the frame's published geometry",
    }
    if (stated := figure(frame, "length", "geometry_sag_mm", "mm", units)) is None:
        sag["assumed"] = "fully extended"
    else:
        sag["value"] = stated
    return [
        {
            "name": "axle-to-crown measured",
            "assumed": how,
            "text": (
                f"the same for both forks; for the frame it is {measured}, for the fork the catalogue does not "
                "say, and the band covers the difference"
            ),
        },
        sag,
        {
            "name": "published figures",
            "text": ("each to half a unit of its last digit; bands contain the true value 95 times in 100"),
        },
        {"name": "offset", "value": length(float(fork.offset_mm), units), "text": "of the fork"},
        {
            "name": "tyres",
            "value": own_length(TYRE_SPREAD_MM, units),
            "text": (
                "heights from the frame's published geometry, unchanged with the new fork, up or down by this much: "
                "common practice, no source"
            ),
        },
    ]
