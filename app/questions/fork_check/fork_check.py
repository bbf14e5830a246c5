"""Whether this frame permits that fork at that travel, why, by what margin, and the effect on the geometry."""

from dataclasses import dataclass
from decimal import Decimal
from typing import NotRequired

from pydantic import Field, TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.columns import write_number
from app.catalogue.present import present
from app.catalogue.rows import Snapshot
from app.catalogue.tables import Fit, Frame, Limit, Source
from app.errors import Invalid
from app.questions.answers.cautions import cautions
from app.questions.answers.gap import Gap
from app.questions.answers.open_choices import shown_undecided
from app.questions.answers.parameters import LookupParameters
from app.questions.answers.views import (
    Caution,
    ChassisRef,
    SourceRef,
    Undecided,
    axle_to_crown_ends,
    chassis_ref,
    length,
    source_ref,
)
from app.questions.configuration.chassis_context import ChassisContext, load_chassis
from app.questions.configuration.prevailing import undecided
from app.questions.configuration.region import Given, Region, given
from app.questions.fork_check.geometry import GeometryChange, NewFork, geometry_change, geometry_gaps
from app.questions.fork_check.permission import (
    USUAL_OFFSET_MM,
    Judged,
    Length,
    PermissionVerdict,
    ReasonCode,
    judge_length,
    judge_rest,
    overall,
    possible_mm,
)
from app.questions.sheet.fits import AskedView, asked_view, chosen_units, prevailing_fits
from app.units.measure import parse_measure
from app.units.preferences import Units
from app.units.quantity import Quantity, computed, quantity


class ForkCheckAsked(LookupParameters):
    """The parameters of `fork-check`: the fork as it would be built. Parameters left out are unknown."""

    chassis: str = Field(max_length=80, description="Id of the chassis.", examples=["example-chassis-b"])
    travel: str = Field(max_length=64, description="Its travel in mm, or with a unit.", examples=["160", "6.3in"])
    wheel_size: str | None = Field(
        None, max_length=12, description="Wheel: ISO 5775 bead seat diameter in mm, or 29, 27.5, 26.", examples=["622"]
    )
    offset: str | None = Field(
        None, max_length=64, description="Offset of the fork in mm, or with a unit.", examples=["44"]
    )


class FrameRef(TypedDict):
    """The frame in question."""

    id: str
    name: str
    size: NotRequired[str]
    source: NotRequired[SourceRef]


class ReasonView(TypedDict):
    """One reason that permits, forbids or leaves it open; `decides` is false if it is only information."""

    code: ReasonCode
    verdict: PermissionVerdict
    decides: bool
    text: str


class Margins(TypedDict, total=False):
    """How far the fork is inside the frame maker's limits; negative if outside. Axle-to-crown at its worst case."""

    travel_below_greatest: Quantity
    travel_above_least: Quantity
    axle_to_crown_below_greatest: Quantity


class AllowedTravel(TypedDict):
    """The travels of this chassis that this frame would allow; none if something else forbids the fork."""

    longest: NotRequired[Quantity]
    shortest: NotRequired[Quantity]
    text: str


class ForkCheckAnswer(TypedDict):
    """`allowed` with every reason, and the geometry if the frame's data are complete."""

    revision: int
    frame: FrameRef
    chassis: ChassisRef
    asked: AskedView
    allowed: PermissionVerdict
    reasons: list[ReasonView]
    margins: Margins
    allowed_travel: AllowedTravel
    geometry: NotRequired[GeometryChange]
    undecided: list[Undecided]
    gaps: list[Gap]
    cautions: list[Caution]


FORK_CHECK = TypeAdapter(ForkCheckAnswer)


@dataclass(slots=True)
class ForkCheck:
    """The known data of frame and fork; lengths in mm by travel."""

    frame: Frame
    context: ChassisContext
    where: Region
    travel_mm: float
    lengths: dict[float, Length | None]
    offset_mm: float | None
    wheel_size: int | None
    tyre_mm: float | None
    undecided: dict[str, list[str | int | float]]

    @property
    def fork(self) -> Length | None:
        """The length of the fork at the requested travel; None if none is listed."""
        return self.lengths.get(self.travel_mm)

    @property
    def longest_offset_mm(self) -> float:
        """The offset of the fork, or the longest possible one."""
        made = self.context.chassis.offsets_mm or (USUAL_OFFSET_MM,)
        return max(made) if self.offset_mm is None else self.offset_mm

    def judged(self, travel_mm: float) -> list[Judged]:
        """Every verdict at a travel."""
        offset = self.longest_offset_mm
        fork = self.lengths.get(travel_mm)
        lengths = judge_length(self.frame, travel_mm, fork, offset, listed=travel_mm in self.lengths)
        return [*lengths, *judge_rest(self.frame, self.context.chassis, self.wheel_size, self.tyre_mm)]


def fork_check(snapshot: Snapshot, frame: str, asked: ForkCheckAsked) -> ForkCheckAnswer:
    """The answer at one revision. Raises NotFound, Gone, and Invalid for a configuration the chassis cannot have."""
    units = chosen_units(asked)
    wanted = given(travel=asked.travel, wheel_size=asked.wheel_size)
    check = gather(snapshot, present(snapshot, Frame, frame), asked.chassis, wanted, asked.offset)
    judged = check.judged(check.travel_mm)
    sources = dict(check.context.sources) | snapshot.many(Source, {check.frame.source} - {None})  # type: ignore[arg-type]
    answer: ForkCheckAnswer = {
        "revision": snapshot.revision,
        "frame": _frame_ref(check.frame, sources),
        "chassis": chassis_ref(check.context.chassis, check.context.maker),
        "asked": asked_view(wanted, check.where, units),
        "allowed": overall(judged),
        "reasons": [_reason(each) for each in judged],
        "margins": _margins(check, units),
        "allowed_travel": _allowed_travel(check, units),
        "undecided": shown_undecided(check.undecided, check.context),
        "gaps": _gaps(check),
        "cautions": cautions(
            "frame-limit", "damaged-parts", "not-in-the-catalogue", "computed",
            *(["undecided"] if check.undecided else []), sources=sources.values(),
        ),
    }  # fmt: skip
    if check.fork is not None and not geometry_gaps(check.frame):
        fork = NewFork(check.fork, _offset_of_geometry(check), check.wheel_size or check.frame.wheel_front or 0)
        try:
            answer["geometry"] = geometry_change(check.frame, fork, units)
        except ValueError as impossible:
            answer["gaps"].append(_impossible(check.frame, str(impossible)))
    return answer


def gather(snapshot: Snapshot, frame: Frame, chassis: str, wanted: Given, offset: str | None = None) -> ForkCheck:
    """Frame and chassis with the fits of each travel. Raises NotFound, Gone, Invalid."""
    context = load_chassis(snapshot, chassis)
    offered = snapshot.where(Fit, "chassis", chassis)
    where = context.region(wanted, offered)
    shown = prevailing_fits(context, offered, wanted, where)
    whole = Given(wheel_size=wanted.wheel_size)
    every = prevailing_fits(context, offered, whole, context.region(whole, offered))
    lengths: dict[float, Length | None] = {}
    for travel in sorted({each.statement.travel_mm for each in every} | {each.statement.travel_mm for each in shown}):
        stated = [axle_to_crown_ends(each.statement) for each in every if each.statement.travel_mm == travel]
        known = [float(end) for ends in stated if ends is not None for end in ends]
        lengths[travel] = Length(min(known), max(known)) if known and None not in stated else None
    open_in = {}
    if len({axle_to_crown_ends(each.statement) for each in shown}) > 1:
        open_in = undecided(shown, where, context.choices(where, offered))
    wheels = where.wheel_sizes
    if wheels is not None and len(wheels) > 1:
        open_in["wheel_size"] = sorted(wheels)
    chosen = _offset(context, offset)
    if chosen is None and context.chassis.offsets_mm:
        open_in["offset"] = list(context.chassis.offsets_mm)
    return ForkCheck(
        frame=frame,
        context=context,
        where=where,
        travel_mm=where.travel[0],
        lengths=lengths,
        offset_mm=chosen,
        wheel_size=next(iter(wheels)) if wheels is not None and len(wheels) == 1 else None,
        tyre_mm=_tyre_limit(context, where),
        undecided=open_in,
    )


def _offset(context: ChassisContext, text: str | None) -> float | None:
    """The fork's offset in mm: as given, or the only one it was made with.

    Raises Invalid for an offset that it was not made with.
    """
    made = context.chassis.offsets_mm or ()
    if text is None:
        return made[0] if len(made) == 1 else None
    read = parse_measure(
        text, kind="length", usual="mm", parameter="offset", minimum=Decimal(0), maximum=Decimal(150)
    )  # fmt: skip
    value, half = float(read.value), float(read.half_last_digit)
    near = [each for each in made if abs(each - value) <= half]
    if made and not near:
        closest = min(made, key=lambda each: abs(each - value))
        words = " or ".join(write_number(each) for each in made)
        sentence = f"{context.chassis.name} was made with an offset of {words} mm"
        raise Invalid.one("offset-outside", sentence, parameter="offset", suggestion=write_number(closest))
    return near[0] if near else value


def _offset_of_geometry(check: ForkCheck) -> float:
    """The offset for the geometry: the fork's, or of those it was made with the nearest to the frame's."""
    if check.offset_mm is not None:
        return check.offset_mm
    frames = float(check.frame.offset_mm or Decimal(str(USUAL_OFFSET_MM)))
    return min(check.context.chassis.offsets_mm or (frames,), key=lambda each: abs(each - frames))


def _tyre_limit(context: ChassisContext, where: Region) -> float | None:
    """The widest front tyre for the fork in mm, if one limit applies to the whole request."""
    limits = context.prevailing(context.snapshot.where(Limit, "chassis", context.chassis.id), where)
    widths = [
        float(each.statement.max)
        for each in limits
        if each.statement.subject == "tyre width" and each.statement.unit == "mm" and each.statement.max is not None
    ]
    return min(widths, default=None)


def _frame_ref(frame: Frame, sources: dict[str, Source]) -> FrameRef:
    shown: FrameRef = {"id": frame.id, "name": frame.name}
    if frame.size is not None:
        shown["size"] = frame.size
    if (source := source_ref(frame, sources)) is not None:
        shown["source"] = source
    return shown


def _reason(judged: Judged) -> ReasonView:
    return {"code": judged.code, "verdict": judged.verdict, "decides": judged.decides, "text": judged.text}


def _margins(check: ForkCheck, units: Units) -> Margins:
    frame, margins = check.frame, Margins()
    travel = _exactly(check.travel_mm)
    if frame.travel_max_mm is not None:
        margins["travel_below_greatest"] = _exact_margin(_exactly(frame.travel_max_mm) - travel, units)
    if frame.travel_min_mm is not None:
        margins["travel_above_least"] = _exact_margin(travel - _exactly(frame.travel_min_mm), units)
    limit = frame.axle_to_crown_max_mm
    if limit is not None and check.fork is not None:
        if frame.axle_to_crown_measured == "along the steerer":
            # Whichever way the fork was measured, along the steerer it is no longer than the figure given.
            margin = _exact_margin(limit - _exactly(check.fork.greatest_mm), units)
        else:
            _, worst = possible_mm(check.fork, check.longest_offset_mm, frame.axle_to_crown_measured)
            margin = _margin(float(limit) - worst, units)
        margins["axle_to_crown_below_greatest"] = margin
    return margins


def _exactly(stored: float) -> Decimal:
    """The decimal that a stored figure was written as."""
    return Decimal(write_number(stored))


def _exact_margin(mm: Decimal, units: Units) -> Quantity:
    """The difference of two published figures: exact in millimetres, rounded down in any other unit."""
    return quantity("length", mm, "mm", to=units, rounding="maximum", basis="computed")


def _margin(mm: float, units: Units) -> Quantity:
    """A margin computed with a root, rounded down so that it never looks larger than it is."""
    step = Decimal("0.1") if units.usual("length", "mm").name == "mm" else None
    return computed("length", mm / 1000, "mm", to=units, rounding="maximum", step=step)


def _allowed_travel(check: ForkCheck, units: Units) -> AllowedTravel:
    allowed = [travel for travel in check.lengths if overall(check.judged(travel)) == "yes"]
    name = check.context.chassis.name
    if not allowed:
        hint = f" Give {' and '.join(check.undecided)}: it may decide." if check.undecided else ""
        return {"text": f"No travel that {name} offers is known to be allowed in this frame.{hint}"}
    return {
        "longest": length(max(allowed), units),
        "shortest": length(min(allowed), units),
        "text": f"Of the travels that {name} offers this frame would allow "
        f"{', '.join(write_number(travel) for travel in allowed)} mm.",
    }


def _impossible(frame: Frame, why: str) -> Gap:
    """A gap for data of a frame and a fork that no bicycle can have together, even at an end of their spreads."""
    return {
        "what": "geometry",
        "about": frame.id,
        "why_needed": "the fork's effect on steering and stability depends on it",
        "text": f"The geometry cannot be computed: {why} Check the frame's figures and the fork's axle-to-crown.",
    }


def _gaps(check: ForkCheck) -> list[Gap]:
    found: list[Gap] = []
    if check.travel_mm in check.lengths and check.fork is None:
        found.append(
            {
                "what": "axle-to-crown",
                "about": check.context.chassis.id,
                "why_needed": "it decides whether the frame permits the fork, and how the geometry changes",
                "text": (
                    "The catalogue does not give the axle-to-crown of this fork at this travel. Measure it "
                    "unloaded, from the centre of the axle to the crown race seat, and note whether along the "
                    "steerer or in a straight line."
                ),
            }
        )
    return found + geometry_gaps(check.frame)
