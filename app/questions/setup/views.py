"""The shape of the answer to `setup`. What cannot be known is absent and stands under `gaps`."""

from typing import Literal, NotRequired

from pydantic import TypeAdapter
from typing_extensions import TypedDict

from app.questions.answers.explained import Assumption, Formula
from app.questions.answers.gap import Gap
from app.questions.answers.statement_views import GuideView
from app.questions.answers.views import Caution, ChassisRef, SourceRef, SpringRef, Undecided
from app.questions.sheet.fits import AskedView, FitView
from app.units.quantity import Quantity

Basis = Literal["published", "measured from two sags", "measured from one force", "measured geometry", "computed"]

BandOfWhat = Literal["load", "free_travel", "peak_pressure", "curve", "altitude", "coil"]


class BandView(TypedDict):
    """How sure a value is: `min` and `max` of the quantity beside it hold the true one so often; what moves it most."""

    share_percent: float
    biggest: NotRequired[str]
    text: str


class BasisView(TypedDict):
    """A start pressure on one basis; `statements` are the rows of the catalogue it rests on."""

    basis: Basis
    start_pressure: Quantity
    band: NotRequired[BandView]
    within_limit: NotRequired[bool]
    statements: list[str]
    text: str


class BandOf(BandView):
    """What moves the bands of a figure of the answer, which stand in `min` and `max`. `curve` is the force at full
    travel; by spacers start pressure, peak pressure and curve are moved alike; `coil` is the sag of the softest."""

    of: BandOfWhat


class SagView(TypedDict):
    """The wanted sag. `text` says from which zero it counts; `from_rest` is what a ring pushed to the seal shows."""

    percent: float
    travel: Quantity
    from_rest: NotRequired[Quantity]
    text: str


class CurvePointView(TypedDict):
    """A point of a spring curve: travel from full extension, force, gauge pressure of the positive chamber. The band
    stands in `min` and `max`, and not in `text`."""

    travel: Quantity
    force: Quantity
    pressure: NotRequired[Quantity]


class BySpacers(TypedDict):
    """One number of volume spacers at the same load and sag. `progression` is force at full travel over force at sag,
    `progression_min` and `progression_max` its band; `within_limit` is absent where a limit is not stated."""

    spacers: int
    start_pressure: Quantity
    peak_pressure: Quantity
    peak_force: Quantity
    progression: float
    progression_min: NotRequired[float]
    progression_max: NotRequired[float]
    within_limit: NotRequired[bool]
    exceeds: list[Literal["spacer limit", "pressure limit"]]
    curve: list[CurvePointView]  # travel and force


class PressureLimit(TypedDict):
    """A maximum fill pressure: gauge, at full extension, so it is compared with the start pressure, never the peak."""

    of: Literal["fit", "spring"]
    id: str
    limit: Quantity
    within: NotRequired[bool]
    source: NotRequired[SourceRef]


class SpacerLimit(TypedDict):
    """The most volume spacers the fit may carry."""

    limit: int
    within: NotRequired[bool]


class RiderLimit(TypedDict):
    """A limit of the rider's mass."""

    id: str
    limit: Quantity
    within: bool
    source: NotRequired[SourceRef]


class SetupLimits(TypedDict):
    """What must not be exceeded, and whether it is."""

    pressure: list[PressureLimit]
    spacers: NotRequired[SpacerLimit]
    rider_mass: list[RiderLimit]
    text: str


class TravelChange(TypedDict):
    """Whether the pressure may be kept when the travel is changed within the family of springs."""

    same_pressure: bool
    siblings: list[SpringRef]
    text: str


class AltitudeView(TypedDict):
    """What the gauge shows at the place of riding after filling in the workshop, and what to fill for the pressure
    there. Constant mass of air, fork at full extension both times."""

    fill_altitude: Quantity
    altitude: Quantity
    fill_temperature: Quantity
    temperature: Quantity
    reading_there: Quantity
    fill_to: Quantity
    fill_within_limit: NotRequired[bool]
    text: str


class CoilSag(TypedDict):
    """The sag at a preload; no sag where the load is not known. `topped_out`: the preload alone carries the load. A sag
    above 100 % bottoms out."""

    preload: Quantity
    travel: NotRequired[Quantity]
    percent: NotRequired[float]
    topped_out: NotRequired[bool]


class CoilView(TypedDict):
    """A coil spring that fits: its rate, the sag it gives, and its straight line of force at least preload."""

    spring: SpringRef
    rate: Quantity
    least_preload: CoilSag
    greatest_preload: NotRequired[CoilSag]
    curve: list[CurvePointView]


class Coil(TypedDict):
    """The rate that gives the sag, and the springs of this fork next to it. `published_choice` is the guide's."""

    rate_wanted: NotRequired[Quantity]
    band: NotRequired[BandView]
    preload: NotRequired[Quantity]
    softer: NotRequired[SpringRef]
    stiffer: NotRequired[SpringRef]
    published_choice: NotRequired[SpringRef]
    fitted: NotRequired[SpringRef]
    springs: list[CoilView]
    text: str


class SetupAnswer(TypedDict):
    """What to start from, how sure that is, and what the spring then does.

    `curve`, `free_travel`, `peak_pressure` and `by_spacers` are computed at `curve_start_pressure`, which gives `load`
    at the sag: slowly up to the sag, fast beyond it.
    """

    revision: int
    chassis: ChassisRef
    configuration: AskedView
    fit: NotRequired[FitView]
    spacers: NotRequired[int]
    basis: NotRequired[Basis]
    start_pressure: NotRequired[Quantity]
    band: NotRequired[BandView]
    bases: list[BasisView]
    published: list[GuideView]
    sag: NotRequired[SagView]
    load: NotRequired[Quantity]
    curve_start_pressure: NotRequired[Quantity]
    free_travel: NotRequired[Quantity]
    peak_pressure: NotRequired[Quantity]
    curve: list[CurvePointView]
    by_spacers: list[BySpacers]
    coil: NotRequired[Coil]
    limits: SetupLimits
    altitude: NotRequired[AltitudeView]
    travel_change: NotRequired[TravelChange]
    assumptions: list[Assumption]
    formula: list[Formula]
    validity: str
    bands: list[BandOf]
    undecided: list[Undecided]
    gaps: list[Gap]
    cautions: list[Caution]


SETUP = TypeAdapter(SetupAnswer)
