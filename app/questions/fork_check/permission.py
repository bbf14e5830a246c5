"""Whether a frame permits a fork: one verdict for each thing its maker may have stated. Not stated is never permission.

Pure: works on loaded rows. A verdict that does not decide is shown because it matters for the work, not for the answer.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from app.catalogue.columns import write_number
from app.catalogue.tables import Chassis, Frame
from app.physics.frame_geometry import along_steerer_m, straight_m

PermissionVerdict = Literal["yes", "no", "not stated"]
ReasonCode = Literal[
    "travel-within-limits", "travel-above-limit", "travel-below-limit", "travel-limit-not-stated",
    "travel-minimum-not-stated", "no-fit-listed",
    "axle-to-crown-within-limit", "axle-to-crown-above-limit", "axle-to-crown-limit-not-stated",
    "axle-to-crown-unknown", "axle-to-crown-too-near-to-tell",
    "single-crown", "dual-crown-permitted", "dual-crown-forbidden", "dual-crown-not-stated", "crowns-unknown",
    "steerer-fits", "steerer-too-large", "steerer-differs", "steerer-not-stated",
    "wheel-as-stated", "wheel-differs", "wheel-not-stated", "tyre-limit", "tyre-limit-not-stated",
]  # fmt: skip
USUAL_OFFSET_MM = 44.0
_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")


@dataclass(frozen=True, slots=True)
class Judged:
    """One verdict; `decides` is false if it is only information."""

    code: ReasonCode
    verdict: PermissionVerdict
    text: str
    decides: bool = True


@dataclass(frozen=True, slots=True)
class Length:
    """Axle-to-crown of a fork in mm, as its source gives it: the range if sources leave it open."""

    least_mm: float
    greatest_mm: float


def overall(judged: Sequence[Judged]) -> PermissionVerdict:
    """`no` if anything forbids it, `yes` only if everything that decides permits it."""
    verdicts = {each.verdict for each in judged if each.decides}
    if "no" in verdicts:
        return "no"
    return "yes" if verdicts == {"yes"} else "not stated"


def judge_length(
    frame: Frame, travel_mm: float, fork: Length | None, offset_mm: float, *, listed: bool
) -> list[Judged]:
    """The verdicts on travel and axle-to-crown; `listed` says whether a fit of the chassis gives that travel."""
    judged = [*_travel(frame, travel_mm, fork), _axle_to_crown(frame, fork, offset_mm)]
    if not listed:
        text = f"no spring is listed that gives this chassis {write_number(travel_mm)} mm of travel"
        judged.append(Judged("no-fit-listed", "not stated", text))
    return judged


def judge_rest(frame: Frame, chassis: Chassis, wheel_size: int | None, fork_tyre_mm: float | None) -> list[Judged]:
    """The verdicts on crowns, steerer, wheel and tyre, at any travel."""
    return [_crowns(frame, chassis), _steerer(frame, chassis), _wheel(frame, wheel_size), _tyre(frame, fork_tyre_mm)]


def _travel(frame: Frame, travel_mm: float, fork: Length | None) -> Iterator[Judged]:
    least, most, shown = frame.travel_min_mm, frame.travel_max_mm, write_number(travel_mm)
    if most is None:
        yield Judged("travel-limit-not-stated", "not stated", "the frame maker does not state a maximum fork travel")
    elif travel_mm > most:
        text = f"the frame permits at most {write_number(most)} mm of fork travel, not {shown} mm"
        yield Judged("travel-above-limit", "no", text)
    if least is not None and travel_mm < least:
        text = f"the frame needs at least {write_number(least)} mm of fork travel, not {shown} mm"
        yield Judged("travel-below-limit", "no", text)
    elif most is not None and travel_mm <= most:
        ends = f"at most {write_number(most)}" if least is None else f"{write_number(least)}–{write_number(most)}"
        yield Judged("travel-within-limits", "yes", f"{shown} mm of travel; the frame permits {ends} mm")
    if least is None:
        given = frame.axle_to_crown_mm
        shorter = fork is None or given is None or fork.least_mm < float(given)
        why = "and this fork may be shorter than the one that the frame's geometry is given for" if shorter else (
            "but this fork is no shorter than the one that the frame's geometry is given for"
        )  # fmt: skip
        text = f"the frame maker does not state a minimum fork travel, {why}"
        yield Judged("travel-minimum-not-stated", "not stated", text, decides=shorter)


def method_difference_mm(length_mm: float, offset_mm: float) -> float:
    """The most by which the straight line from axle to crown can exceed the length along the steerer."""
    return 1000 * straight_m(length_mm / 1000, offset_mm / 1000) - length_mm


def _axle_to_crown(frame: Frame, fork: Length | None, offset_mm: float) -> Judged:
    limit = frame.axle_to_crown_max_mm
    if limit is None:
        text = "the frame maker does not state a maximum axle-to-crown; the travel limit covers it"
        return Judged("axle-to-crown-limit-not-stated", "not stated", text, decides=False)
    if fork is None:
        text = f"the frame permits at most {limit} mm axle to crown; that of this fork is not in the catalogue"
        return Judged("axle-to-crown-unknown", "not stated", text)
    low, high = possible_mm(fork, offset_mm, frame.axle_to_crown_measured)
    shown = write_number(fork.greatest_mm)
    if low > float(limit):
        text = f"the frame permits at most {limit} mm axle to crown, not {shown} mm"
        return Judged("axle-to-crown-above-limit", "no", text)
    if high > float(limit):
        spread = f"lies between {low:.1f} and {high:.1f} mm by the frame maker's way of measuring"
        why = (
            "how it was measured"
            if fork.least_mm == fork.greatest_mm
            else "how it was measured, and what was not given"
        )
        text = f"too near the frame's limit of {limit} mm to tell: axle to crown {spread}, because {why} is open"
        return Judged("axle-to-crown-too-near-to-tell", "not stated", text)
    text = f"{shown} mm axle to crown; the frame permits at most {limit} mm"
    return Judged("axle-to-crown-within-limit", "yes", text)


def possible_mm(fork: Length, offset_mm: float, measured: str | None) -> tuple[float, float]:
    """The range of axle-to-crown that the fork may have when measured the frame maker's way; the catalogue does
    not give the fork's way.
    """
    low, high = fork.least_mm, fork.greatest_mm
    if measured != "straight":
        low = 1000 * along_steerer_m(low / 1000, offset_mm / 1000)
    if measured != "along the steerer":
        high += method_difference_mm(high, offset_mm)
    return low, high


def _crowns(frame: Frame, chassis: Chassis) -> Judged:
    if chassis.crowns == "single":
        return Judged("single-crown", "yes", "the fork has a single crown")
    if frame.dual_crown == "yes":
        return Judged("dual-crown-permitted", "yes", "the frame permits a dual crown fork")
    if chassis.crowns is None:
        return Judged("crowns-unknown", "not stated", "whether the fork has one crown or two is not in the catalogue")
    if frame.dual_crown == "no":
        return Judged("dual-crown-forbidden", "no", "the frame forbids a dual crown fork")
    return Judged("dual-crown-not-stated", "not stated", "whether the frame permits a dual crown fork is not stated")


def _steerer(frame: Frame, chassis: Chassis) -> Judged:
    if frame.steerer is None or not chassis.steerers:
        owner = "the frame takes" if frame.steerer is None else "the fork has"
        return Judged("steerer-not-stated", "not stated", f"which steerer {owner} is not stated")
    made = " or ".join(chassis.steerers)
    if frame.steerer in chassis.steerers:
        others = "" if len(chassis.steerers) == 1 else f" (the fork was made with {made})"
        return Judged("steerer-fits", "yes", f"the frame takes a {frame.steerer} steerer{others}")
    text = f"the frame takes a {frame.steerer} steerer, the fork was made with {made}"
    if all(_larger(steerer, frame.steerer) for steerer in chassis.steerers):
        return Judged("steerer-too-large", "no", text)
    return Judged("steerer-differs", "not stated", f"{text}: whether a reducing headset is permitted is not stated")


def _larger(fork: str, frame: str) -> bool:
    """Whether some diameter of the fork's steerer is larger than the frame's there; a straight steerer has one
    diameter.
    """
    mine, theirs = ([float(number) for number in _NUMBER.findall(text)] for text in (fork, frame))
    if not mine or not theirs:
        return False
    return mine[0] > theirs[0] or mine[-1] > theirs[-1]


def _wheel(frame: Frame, wheel_size: int | None) -> Judged:
    stated = frame.wheel_front
    if stated is None:
        text = "the frame's front wheel size is not stated"
        return Judged("wheel-not-stated", "not stated", text, decides=False)
    if wheel_size is None:
        text = f"the frame is specified with a {stated} mm front wheel; the fork's wheel size is not given"
        return Judged("wheel-not-stated", "not stated", text)
    if stated == wheel_size:
        return Judged("wheel-as-stated", "yes", f"{wheel_size} mm front wheel, as specified for the frame")
    text = f"the frame is specified with a {stated} mm front wheel; whether it permits {wheel_size} mm is not stated"
    return Judged("wheel-differs", "not stated", text)


def _tyre(frame: Frame, fork_tyre_mm: float | None) -> Judged:
    limits = {"frame": frame.tyre_front_max_mm, "fork": fork_tyre_mm}
    known = {owner: float(limit) for owner, limit in limits.items() if limit is not None}
    missing = [owner for owner in limits if owner not in known]
    limits_text = "; ".join(
        f"the {owner} takes a front tyre of at most {write_number(mm)} mm" for owner, mm in known.items()
    )
    lacking = "".join(f"{'; ' if limits_text else ''}the tyre size for the {owner} is not stated" for owner in missing)
    if missing:
        return Judged("tyre-limit-not-stated", "not stated", limits_text + lacking, decides=False)
    return Judged("tyre-limit", "yes", limits_text, decides=False)
