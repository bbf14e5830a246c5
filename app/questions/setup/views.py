"""The shape of the answer to `setup`. Unknown values are absent and named in `gaps`."""

from typing import Literal, NotRequired

from pydantic import TypeAdapter
from typing_extensions import TypedDict

from app.catalogue.tables import AirChamber
from app.questions.answers.explained import Assumption, Formula
from app.questions.answers.gap import Gap
from app.questions.answers.statement_views import AdjustmentView, GuideView
from app.questions.answers.views import Caution, ChassisRef, ScopeView, SourceRef, SpringRef, Undecided
from app.questions.sheet.fits import AskedView, FitView
from app.units.counts import Turns
from app.units.quantity import Quantity

Basis = Literal[
    "given", "published", "measured from two sags", "measured from one sag", "measured from one force",
    "measured geometry", "computed",
]  # fmt: skip

BandOfWhat = Literal["load", "expected_sag", "free_travel", "peak_pressure", "curve", "altitude", "coil"]


class SetupAskedView(AskedView):
    """The configuration, the rider and the place, as they were understood."""

    rider_mass: NotRequired[Quantity]
    bike_mass: NotRequired[Quantity]
    front_share: NotRequired[Quantity]
    head_angle: NotRequired[Quantity]
    sag: NotRequired[Quantity]
    spacers: NotRequired[int]
    pressure: NotRequired[Quantity]
    negative_pressure: NotRequired[Quantity]
    fill_altitude: NotRequired[Quantity]
    fill_temperature: NotRequired[Quantity]
    altitude: NotRequired[Quantity]
    temperature: NotRequired[Quantity]
    reading: NotRequired[list[str]]
    riding: NotRequired[str]
    condition: NotRequired[list[str]]


class Headline(TypedDict):
    """The first thing to do, in one sentence: fill to a pressure, observe a limit that forbids it, follow the words
    that the guide has in place of a figure, fit a coil, or close a gap.
    """

    what: Literal[
        "start-pressure", "rider-mass-limit", "coil", "instruction", "read-again", "by-spacers", "candidates", "none"
    ]
    text: str


class ChamberView(TypedDict):
    """A chamber with its own valve: its pressure and its maximum.

    `order` says which is filled first; it is absent if the catalogue does not say. `relative` says in words how the
    pressure depends on that of another chamber.
    """

    chamber: AirChamber
    pressure: NotRequired[Quantity]
    basis: NotRequired[Basis]
    relative: NotRequired[str]
    maximum: NotRequired[Quantity]
    within_limit: NotRequired[bool]
    order: NotRequired[int]
    source: NotRequired[SourceRef]
    statements: list[str]


class BandView(TypedDict):
    """How certain a value is: how often `min` and `max` of the quantity contain the true value, and what affects
    it most.
    """

    share_percent: float
    biggest: NotRequired[str]
    text: str


class BasisView(TypedDict):
    """A start pressure on one basis; `statements` are the catalogue rows it rests on."""

    basis: Basis
    start_pressure: Quantity
    band: NotRequired[BandView]
    within_limit: NotRequired[bool]
    statements: list[str]
    text: str


class BandOf(BandView):
    """The input that affects the bands in `min` and `max` most.

    `curve` is the force at full travel. In `by_spacers`, start pressure, peak pressure and curve are affected alike.
    `coil` is the sag of the softest coil.
    """

    of: BandOfWhat


class SagView(TypedDict):
    """The wanted sag, and the expected sag at the start pressure shown.

    `text` says which zero it counts from; `from_rest` is the reading of an O-ring pushed to the seal. `disagreement` is
    present if the guide's sag for this pressure lies outside the band of the expected one.
    """

    percent: Quantity
    travel: Quantity
    from_rest: NotRequired[Quantity]
    expected: NotRequired[Quantity]
    expected_percent: NotRequired[Quantity]
    disagreement: NotRequired[str]
    text: str


class CurvePointView(TypedDict):
    """A point of a spring curve: travel from full extension, force, gauge pressure of the positive chamber.

    `force` is fast beyond the sag, `slow_force` slow (isothermal) all the way. Bands are in `min` and `max`, not in
    `text`.
    """

    travel: Quantity
    force: Quantity
    slow_force: NotRequired[Quantity]
    pressure: NotRequired[Quantity]


class BySpacers(TypedDict):
    """One number of volume spacers. The fitted number begins at the start pressure shown, others at the pressure that
    gives the same sag under the same load.

    `progression` is force at full travel over force at sag.
    `within_limit` is absent if a limit is not stated.
    """

    spacers: int
    start_pressure: Quantity
    expected_sag: NotRequired[Quantity]
    peak_pressure: Quantity
    peak_force: Quantity
    progression: Quantity
    within_limit: NotRequired[bool]
    exceeds: list[Literal["spacer limit", "pressure limit"]]
    curve: list[CurvePointView]  # travel and force


class PressureLimit(TypedDict):
    """A maximum fill pressure: gauge, at full extension, so it is compared with the start pressure, never the peak."""

    of: Literal["fit", "spring", "chamber"]
    id: str
    scope: ScopeView
    limit: Quantity
    within: NotRequired[bool]
    source: NotRequired[SourceRef]


class SpacerLimit(TypedDict):
    """The maximum number of volume spacers for the fit."""

    limit: int
    within: NotRequired[bool]


class RiderLimit(TypedDict):
    """A limit of the rider's mass."""

    id: str
    scope: ScopeView
    limit: Quantity
    within: bool
    source: NotRequired[SourceRef]


class SharedLimits(TypedDict):
    """The strictest maximum among all candidates; absent if one of them states none."""

    pressure: NotRequired[Quantity]
    spacers: NotRequired[int]
    text: str


class SetupLimits(TypedDict):
    """Limits that must not be exceeded, and whether they are."""

    pressure: list[PressureLimit]
    spacers: NotRequired[SpacerLimit]
    shared: NotRequired[SharedLimits]
    rider_mass: list[RiderLimit]
    text: str


class TravelChange(TypedDict):
    """Whether the pressure can stay the same if the travel is changed within the family of springs."""

    same_pressure: bool
    siblings: list[SpringRef]
    text: str


class AltitudeView(TypedDict):
    """The pressure to fill so that the fork carries the same load at the same sag where it is ridden, and the gauge
    reading there.

    The mass of air is constant, and the fork is at full extension both times. `lower_leg_push` is the force with which
    lower legs closed where it was filled push outward where it is ridden.
    """

    fill_altitude: Quantity
    altitude: Quantity
    fill_temperature: Quantity
    temperature: Quantity
    fill_to: Quantity
    reading_there: Quantity
    negative_fill_to: NotRequired[Quantity]
    second_positive_fill_to: NotRequired[Quantity]
    fill_within_limit: NotRequired[bool]
    lower_leg_push: NotRequired[Quantity]
    text: str


class LowerLegAir(TypedDict):
    """Air trapped in both lower legs, which the curve leaves out: its force at the sag and at full travel, from
    a slow stroke to a fast one.
    """

    at_sag: NotRequired[Quantity]
    at_full_travel: NotRequired[Quantity]
    text: str


class SetupCandidate(TypedDict):
    """One fit that the fork may have, and its start pressure."""

    fit: FitView
    basis: NotRequired[Basis]
    start_pressure: NotRequired[Quantity]
    expected_sag: NotRequired[Quantity]
    coil: NotRequired[SpringRef]
    limits: SetupLimits


class CoilSag(TypedDict):
    """The sag at a preload; no sag if the load is unknown.

    `topped_out`: the preload alone carries the load. A sag above 100 % bottoms out.
    """

    preload: Quantity
    travel: NotRequired[Quantity]
    percent: NotRequired[Quantity]
    topped_out: NotRequired[bool]


class CoilView(TypedDict):
    """A coil spring that fits: its rate, its sag, and its straight line of force at minimum preload."""

    spring: SpringRef
    rate: Quantity
    least_preload: CoilSag
    greatest_preload: NotRequired[CoilSag]
    curve: list[CurvePointView]


class Coil(TypedDict):
    """The rate that gives the sag, and the next springs for this fork.

    `fit` is the spring to fit: the guide's (`published_choice`), else the listed one whose sag comes nearest
    (`calculated_choice`). `headline` says so, and names the conflict if the two differ. `calculated_percent` is at the
    minimum preload. `preload_text` says why the sag at the published turns is not computed.
    """

    fit: NotRequired[SpringRef]
    headline: NotRequired[str]
    rate_wanted: NotRequired[Quantity]
    band: NotRequired[BandView]
    preload: NotRequired[Quantity]
    softer: NotRequired[SpringRef]
    stiffer: NotRequired[SpringRef]
    published_choice: NotRequired[SpringRef]
    published_turns: NotRequired[Turns]
    at_published_turns: NotRequired[CoilSag]
    preload_text: NotRequired[str]
    calculated_choice: NotRequired[SpringRef]
    calculated_percent: NotRequired[Quantity]
    fitted: NotRequired[SpringRef]
    springs: list[CoilView]
    text: str


class SetupAnswer(TypedDict):
    """The start pressure or coil, its uncertainty, and the spring's behaviour.

    `curve`, `free_travel`, `peak_pressure`, `peak_force`, `by_spacers` and the expected sag are all at
    `start_pressure`. There is no start pressure for a rider above the mass limit. `adjusted` has the rows of
    `published` to which `adjustments` of the given conditions are added. `example_readings` are two plausible
    readings for this fork.
    """

    revision: int
    chassis: ChassisRef
    asked: SetupAskedView
    configuration: AskedView
    headline: Headline
    fit: NotRequired[FitView]
    spacers: NotRequired[int]
    basis: NotRequired[Basis]
    start_pressure: NotRequired[Quantity]
    band: NotRequired[BandView]
    chambers: NotRequired[list[ChamberView]]
    bases: list[BasisView]
    candidates: NotRequired[list[SetupCandidate]]
    published: list[GuideView]
    adjustments: list[AdjustmentView]
    adjusted: NotRequired[list[GuideView]]
    sag: NotRequired[SagView]
    load: NotRequired[Quantity]
    free_travel: NotRequired[Quantity]
    peak_pressure: NotRequired[Quantity]
    peak_force: NotRequired[Quantity]
    curve: list[CurvePointView]
    by_spacers: list[BySpacers]
    lower_leg_air: NotRequired[LowerLegAir]
    coil: NotRequired[Coil]
    limits: SetupLimits
    altitude: NotRequired[AltitudeView]
    example_readings: NotRequired[list[str]]
    travel_change: NotRequired[TravelChange]
    assumptions: list[Assumption]
    formula: list[Formula]
    validity: str
    bands: list[BandOf]
    undecided: list[Undecided]
    gaps: list[Gap]
    cautions: list[Caution]


SETUP = TypeAdapter(SetupAnswer)
